package diagnose

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"makebreak/analyze"
	"makebreak/rig/words"
)

// Findings says in plain words what a run's symptoms mean and where to look first,
// the gravest and most frequent first. cycles is how many were run. It is a pure
// function of the symptoms, so a log that holds them can be reported at any time.
func Findings(plan *analyze.Plan, symptoms []analyze.Symptom, cycles int) []analyze.Finding {
	var g Gathering
	for _, s := range symptoms {
		g.Add(s)
	}
	return g.Findings(plan, cycles)
}

// Findings is what Findings says of the symptoms gathered. More may be added
// afterwards.
func (all *Gathering) Findings(plan *analyze.Plan, cycles int) []analyze.Finding {
	groups := all.sorted()
	hide(plan, groups)
	var found []analyze.Finding
	for _, g := range groups {
		if g.hidden {
			continue
		}
		say, ok := sayings[g.kind]
		if !ok {
			say = sayOffLimit
		}
		g.some = g.often(plan, cycles)
		text := say(plan, g)
		if g.some != "" {
			text += " Seen " + g.some + "."
		}
		found = append(found, analyze.Finding{Signal: g.signal, Verdict: g.kind.Verdict(), Text: text})
	}
	return found
}

// gathered is all symptoms of one kind, signal and other signal.
type gathered struct {
	kind          analyze.Kind
	signal, other string
	n             int
	events        []string // in order of appearance
	perEvent      map[string]int
	cycles        []int   // the first few
	inCycles      int     // how many different ones
	lo, hi        float64 // of the values
	limit         float64
	hidden        bool
	some          string // how often, empty for every time
}

// Gathering takes in symptoms one by one, so that those of a run of any length
// need little memory.
type Gathering struct {
	index  map[gatheredKey]*gathered
	groups []*gathered
}

type gatheredKey struct {
	kind          analyze.Kind
	signal, other string
}

// Add takes in a symptom. Those of one cycle come together.
func (all *Gathering) Add(s analyze.Symptom) {
	k := gatheredKey{s.Kind, s.Signal, s.Other}
	g := all.index[k]
	if g == nil {
		if all.index == nil {
			all.index = map[gatheredKey]*gathered{}
		}
		g = &gathered{kind: s.Kind, signal: s.Signal, other: s.Other, perEvent: map[string]int{},
			lo: math.Inf(1), hi: math.Inf(-1), limit: s.Limit}
		all.index[k] = g
		all.groups = append(all.groups, g)
	}
	g.add(s)
}

// sorted returns the groups, the gravest and most frequent first.
func (all *Gathering) sorted() []*gathered {
	groups := slices.Clone(all.groups)
	sort.SliceStable(groups, func(i, j int) bool {
		a, b := groups[i], groups[j]
		if ra, rb := a.kind.Verdict().Gravity(), b.kind.Verdict().Gravity(); ra != rb {
			return ra > rb
		}
		return a.n > b.n
	})
	for _, g := range groups {
		g.hidden = false
	}
	return groups
}

func (g *gathered) add(s analyze.Symptom) {
	g.n++
	if g.perEvent[s.Event] == 0 {
		g.events = append(g.events, s.Event)
	}
	g.perEvent[s.Event]++
	if n := len(g.cycles); n == 0 || g.cycles[n-1] != s.Cycle {
		g.inCycles++
		if n < 5 {
			g.cycles = append(g.cycles, s.Cycle)
		} else {
			g.cycles[n-1] = s.Cycle
		}
	}
	if !math.IsNaN(s.Value) {
		g.lo, g.hi = math.Min(g.lo, s.Value), math.Max(g.hi, s.Value)
	}
}

// hide silences what another finding already explains.
func hide(plan *analyze.Plan, groups []*gathered) {
	for _, g := range groups {
		for _, by := range groups {
			if by != g && by.explains(g, plan) {
				g.hidden = true
			}
		}
	}
}

// explains reports whether finding g follows from this one.
func (by *gathered) explains(g *gathered, plan *analyze.Plan) bool {
	same := by.signal == g.signal
	switch by.kind {
	case analyze.MovedInstead:
		return g.kind == analyze.MovedUnasked && g.signal == by.other
	case analyze.LooseWire:
		// A wire that drops out upsets every figure of its output, and the times of the
		// relay behind it, which begin at the output's crossing.
		return same || g.signal == relayOf(plan, by.signal)
	case analyze.Drooping:
		return same && (g.kind == analyze.LeftState || g.kind == analyze.Rippling || g.kind == analyze.NearLimit)
	case analyze.LeftState, analyze.FellBack:
		return same && (g.kind == analyze.Rippling || g.kind == analyze.LeftState || g.kind == analyze.NearLimit)
	case analyze.HeldIn:
		return same && g.kind == analyze.OffMayHold || g.kind == analyze.HighWhenOff && g.signal == by.other
	case analyze.OffMayHold:
		// With a relay behind it the danger to the relay is the better word.
		return g.kind == analyze.HighWhenOff && relayOf(plan, g.signal) == by.signal
	case analyze.Chattering:
		return same && g.kind != analyze.Chattering || isContact(plan, by.signal, g.signal)
	case analyze.UnsteadyMake, analyze.Welded:
		return same && (g.kind == analyze.LongBounce || g.kind == analyze.NearLimit)
	}
	return g.kind == analyze.NearLimit && same && by.other == g.other && by.kind.Verdict() == analyze.Fail
}

// relayOf is the relay behind an output, or empty.
func relayOf(plan *analyze.Plan, output string) string {
	if plan == nil {
		return ""
	}
	if o := plan.Output(output); o != nil {
		return o.Relay
	}
	return ""
}

// isContact reports whether a signal is a contact of the relay.
func isContact(plan *analyze.Plan, relay, signal string) bool {
	if plan == nil {
		return false
	}
	r := plan.Relay(relay)
	return r != nil && signal != "" && (r.Make == signal || r.Break == signal)
}

// often says how often a symptom was seen: empty for every time.
func (g *gathered) often(plan *analyze.Plan, cycles int) string {
	if g.always(plan, cycles) {
		return ""
	}
	if g.inCycles == cycles {
		return "in every cycle, at " + strings.Join(g.events, ", ")
	}
	where := "cycle " + strconv.Itoa(g.cycles[0])
	if g.inCycles > 1 {
		words := make([]string, 0, len(g.cycles))
		for i, c := range g.cycles {
			if i == 4 && g.inCycles > 5 {
				words = append(words, "…")
			}
			words = append(words, strconv.Itoa(c))
		}
		where = "cycles " + strings.Join(words, ", ")
	}
	return fmt.Sprintf("in %d of %s (%s), at %s", g.inCycles, words.Count(cycles, "cycle"), where, strings.Join(g.events, ", "))
}

// always reports whether the symptom was there at every occurrence of its events.
func (g *gathered) always(plan *analyze.Plan, cycles int) bool {
	for e, n := range g.perEvent {
		steps := 0
		if plan != nil {
			for _, s := range plan.Steps {
				if s == e {
					steps++
				}
			}
		}
		if n < max(1, steps)*cycles {
			return false
		}
	}
	return true
}

func (g *gathered) volts() string { return span2(g.lo, g.hi, g.limit, "V", 1) }

// count writes whole numbers.
func (g *gathered) count() string {
	if g.lo == g.hi {
		return strconv.Itoa(int(g.hi))
	}
	return strconv.Itoa(int(g.lo)) + " to " + strconv.Itoa(int(g.hi))
}

// span2 writes one figure or a range of figures, beside a limit.
func span2(lo, hi, limit float64, unit string, scale float64) string {
	if math.IsInf(lo, 0) {
		return "?"
	}
	a, b := beside(lo*scale, limit*scale), beside(hi*scale, limit*scale)
	if a == b {
		return a + " " + unit
	}
	return a + " to " + b + " " + unit
}

// short writes three significant digits.
func short(v float64) string { return significant(v, 3) }

func significant(v float64, digits int) string {
	if v == 0 {
		return "0"
	}
	decimals := digits - 1 - int(math.Floor(math.Log10(math.Abs(v))))
	return strconv.FormatFloat(v, 'f', max(0, min(6, decimals)), 64)
}

// beside writes a figure with three significant digits, or as many more as show on which
// side of the limit it lies.
func beside(v, limit float64) string {
	text := short(v)
	for digits := 4; digits <= 9; digits++ {
		shown, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(limit) || v == limit || (shown < limit) == (v < limit) && shown != limit {
			break
		}
		text = significant(v, digits)
	}
	return text
}

// stated writes a limit, with three significant digits or as many more as it has.
func stated(limit float64) string {
	text := short(limit)
	for digits := 4; digits <= 9; digits++ {
		shown, err := strconv.ParseFloat(text, 64)
		if err != nil || math.Abs(shown-limit) <= 1e-9*math.Abs(limit) {
			break
		}
		text = significant(limit, digits)
	}
	return text
}

func (g *gathered) time() string {
	return span2(g.lo, g.hi, g.limit, timeUnit(g.hi), timeScale(g.hi))
}

func timeUnit(s float64) string {
	switch a := math.Abs(s); {
	case a >= 1 || a == 0:
		return "s"
	case a >= 1e-3:
		return "ms"
	}
	return "µs"
}

func timeScale(s float64) float64 {
	switch timeUnit(s) {
	case "ms":
		return 1e3
	case "µs":
		return 1e6
	}
	return 1
}

func seconds(s float64) string { return short(s*timeScale(s)) + " " + timeUnit(s) }

func statedTime(limit float64) string { return stated(limit*timeScale(limit)) + " " + timeUnit(limit) }

func (g *gathered) at() string { return strings.Join(g.events, ", ") }
