package diagnose

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"makebreak/analyze"
	"makebreak/rig/unit"
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
	return g.Findings(plan, cycles, nil)
}

// Empty reports whether no symptom has been added.
func (all *Gathering) Empty() bool { return len(all.groups) == 0 }

// Findings is what Findings says of the symptoms gathered, with figures as the scale writes
// them; nil: with three digits. More may be added afterwards.
func (all *Gathering) Findings(plan *analyze.Plan, cycles int, scale Scale) []analyze.Finding {
	groups := all.sorted()
	hide(plan, groups)
	var found []analyze.Finding
	for _, g := range groups {
		if g.hidden {
			continue
		}
		text, ok := findingTexts[g.kind]
		if !ok {
			text = offLimitText
		}
		g.plan, g.scale = plan, scale
		g.often = g.howOften(plan, cycles)
		sentence := text(plan, g)
		if g.often != "" {
			sentence += " Seen " + g.often + "."
		}
		found = append(found, analyze.Finding{Signal: g.signal, Verdict: g.kind.Verdict(), Text: sentence})
	}
	return found
}

// group is all symptoms of one kind, signal and other signal.
type group struct {
	kind          analyze.Kind
	signal, other string
	n             int
	events        []string // in order of appearance
	perEvent      map[string]int
	cycles        []int // the first few
	inCycles      int   // how many different ones
	// lowest and highest of the values, in the base unit of what they are
	lowest, highest float64
	ranges          map[string]extremes // by event, of values
	limit           float64
	hidden          bool
	carries         bool   // of a relay that stands still: its coil carries current
	with            *group // one that it explains and speaks of; nil: none
	often           string // how often it was seen; empty for every time

	plan  *analyze.Plan
	scale Scale // nil: none
}

// Gathering takes in symptoms one by one, so that those of a run of any length
// need little memory.
type Gathering struct {
	index  map[groupKey]*group
	groups []*group
}

type groupKey struct {
	kind          analyze.Kind
	signal, other string
}

// Add takes in a symptom. Those of one cycle come together.
func (all *Gathering) Add(s analyze.Symptom) {
	k := groupKey{s.Kind, s.Signal, s.Other}
	g := all.index[k]
	if g == nil {
		if all.index == nil {
			all.index = map[groupKey]*group{}
		}
		g = &group{kind: s.Kind, signal: s.Signal, other: s.Other, perEvent: map[string]int{}, ranges: map[string]extremes{},
			lowest: math.Inf(1), highest: math.Inf(-1), limit: s.Limit}
		all.index[k] = g
		all.groups = append(all.groups, g)
	}
	g.add(s)
}

// sorted returns the groups, the gravest and most frequent first.
func (all *Gathering) sorted() []*group {
	groups := slices.Clone(all.groups)
	sort.SliceStable(groups, func(i, j int) bool {
		a, b := groups[i], groups[j]
		if ra, rb := a.kind.Verdict().Gravity(), b.kind.Verdict().Gravity(); ra != rb {
			return ra > rb
		}
		return a.n > b.n
	})
	for _, g := range groups {
		g.hidden, g.with = false, nil
	}
	return groups
}

func (g *group) add(s analyze.Symptom) {
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
		g.lowest, g.highest = math.Min(g.lowest, s.Value), math.Max(g.highest, s.Value)
		x, seen := g.ranges[s.Event]
		if !seen {
			x = extremes{s.Value, s.Value}
		}
		g.ranges[s.Event] = extremes{math.Min(x.low, s.Value), math.Max(x.high, s.Value)}
	}
}

// hide silences what another finding already explains.
func hide(plan *analyze.Plan, groups []*group) {
	for _, g := range groups {
		for _, by := range groups {
			if by != g && by.explains(g, plan) {
				g.hidden = true
				by.carries = by.carries || g.kind == analyze.CoilCarries
				if g.kind == analyze.HighWhenOff || g.kind == analyze.RelayAlone {
					by.with = g
				}
			}
		}
	}
}

// explains reports whether finding g follows from this one.
func (by *group) explains(g *group, plan *analyze.Plan) bool {
	same := by.signal == g.signal
	switch by.kind {
	case analyze.SagsOnLoad, analyze.HeavyLoad:
		return same && g.kind == analyze.LowWhenOn || g.kind == analyze.WeakPullIn && g.signal == relayOf(plan, by.signal)
	case analyze.PulledDown:
		return same && (g.kind == analyze.NearLimit || g.kind == analyze.Rippling)
	case analyze.MovedInstead:
		return g.kind == analyze.MovedUnasked && g.signal == by.other
	case analyze.MovedTogether:
		// What is joined has both loads and both leakages.
		joined := func(output string) bool { return output == by.signal || output == by.other }
		switch g.kind {
		case analyze.MovedUnasked, analyze.HighWhenOff, analyze.LowWhenOn:
			return joined(g.signal)
		case analyze.OffMayHold, analyze.WeakPullIn:
			return g.signal != "" && (g.signal == relayOf(plan, by.signal) || g.signal == relayOf(plan, by.other))
		}
	case analyze.RelayStill:
		// A coil that is open loads nothing: what leaks through the output's switch lifts it.
		return same && g.kind == analyze.CoilCarries || by.inCycles >= g.inCycles && (g.kind == analyze.HighWhenOff && g.signal == by.other || g.kind == analyze.OffMayHold && same)
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
	case analyze.CommonOpen:
		return same && (g.kind == analyze.RelayStill || g.kind == analyze.NearLimit || g.kind == analyze.CoilCarries) || g.kind == analyze.Welded && isContact(plan, by.signal, g.signal)
	case analyze.DidNotMove:
		// Where the relay moves all the same, what is wrong is how the output is read.
		if !by.readsNothing() || g.inCycles < by.inCycles {
			return false
		}
		return g.kind == analyze.RelayAlone && g.other == by.signal || g.kind == analyze.LetsGoLow && g.signal == relayOf(plan, by.signal)
	case analyze.UnsteadyMake, analyze.Welded:
		if by.kind == analyze.UnsteadyMake && g.kind == analyze.RelayStill && isContact(plan, g.signal, by.signal) {
			return true // on a ramp of the supply
		}
		return same && (g.kind == analyze.LongBounce || g.kind == analyze.NearLimit)
	}
	return g.kind == analyze.NearLimit && same && by.other == g.other && by.kind.Verdict() == analyze.Fail
}

// nothingVolts is within what an output reads as 0 V: one that is off leaks more, as a
// rule (common practice, no source).
const nothingVolts = 0.1

// readsNothing reports whether the group's values are all about 0 V.
func (g *group) readsNothing() bool {
	return g.lowest > -nothingVolts && g.highest < nothingVolts
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

// howOften says how often a symptom was seen: empty for every time.
func (g *group) howOften(plan *analyze.Plan, cycles int) string {
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
func (g *group) always(plan *analyze.Plan, cycles int) bool {
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

func (g *group) volts() string { return g.span(unit.Voltage) }

func (g *group) voltLimit() string { return g.limitText(unit.Voltage) }

// rating is the voltage that the limit's place holds where it is no limit of the value: what
// a relay is made for.
func (g *group) rating() string { return unit.Voltage.Short(g.limit, 3) }

func (g *group) time() string { return g.span(unit.Time) }

func (g *group) timeLimit() string { return g.limitText(unit.Time) }

// number writes whole numbers.
func (g *group) number() string { return g.span(unit.Number) }

// at lists the events.
func (g *group) at() string { return words.List(g.events) }
