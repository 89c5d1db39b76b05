package survey

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"makebreak/analyze"
	"makebreak/rig/words"
)

// step is one state of a round as a sequence states it.
type step struct {
	event  string
	name   string
	before string // the event before
	expect map[string]expected
	lasts  float64 // seconds that all outputs need to come to rest
}

// expected is what an output must do in a step, and why nothing is demanded where that is so.
type expected struct {
	analyze.Expectation
	why    string // why nothing is demanded; empty: something is
	act    *Act   // nil: none is known
	moving bool   // it flashes when the event comes
}

// begins is the name of the step that brings the unit into a known state.
const begins = "start"

// steps are the states of a round, in the order in which a sequence can have them: the first
// brings the unit into the state that the last one leaves.
func (t *Table) steps() []step {
	first, last := t.round()
	all := []step{t.beginning(t.seen.states[last].event)}
	for i := first; i <= last; i++ {
		if i == first && t.seen.states[i].event == t.seen.states[last].event && last > first {
			continue // the step before is it
		}
		s := step{event: t.seen.states[i].event, before: t.seen.states[i].before, expect: map[string]expected{}}
		for name := range t.seen.outputs {
			x := t.expected(name, i)
			s.expect[name] = x
			s.lasts = max(s.lasts, x.needs())
		}
		all = append(all, s)
	}
	t.nameSteps(all)
	return all
}

// beginning is the step that brings the unit into a known state. What its event does in whichever
// state is demanded.
func (t *Table) beginning(event string) step {
	s := step{event: event, name: begins, expect: map[string]expected{}}
	for name, acts := range t.acts {
		x := expected{why: "nobody knows what was before"}
		for i := range acts {
			a := &acts[i]
			if a.Event != event || a.While != nil || !a.Firm || a.Effect.Do == Stays || a.Effect.Do == Flashes && a.Effect.Lasts == 0 {
				continue
			}
			if y, why := a.Effect.expectation(&observation{known: true, high: a.Effect.Do == Falls}); why == "" && (y.After == 0 || y.Demand == analyze.Pulse) {
				x = expected{Expectation: y, act: a}
				s.lasts = max(s.lasts, x.needs())
			}
		}
		s.expect[name] = x
	}
	return s
}

// round is the last whole round: its first and last state.
func (t *Table) round() (first, last int) {
	states := t.seen.states
	longest := 0
	for i := 0; i < len(states); {
		j := i
		for j+1 < len(states) && states[j+1].cycle == states[i].cycle {
			j++
		}
		if n := j - i + 1; n >= longest {
			first, last, longest = i, j, n
		}
		i = j + 1
	}
	return first, last
}

// expected is what an output must do in a state, as it was learnt.
func (t *Table) expected(name string, i int) expected {
	a := t.learn.at(t.acts[name], i)
	if a == nil {
		return expected{why: "not known: nothing armed or disarmed before"}
	}
	none := func(why string) expected { return expected{why: why, act: a} }
	var o *observation
	for _, x := range t.seen.outputs[name] {
		if x.at == i {
			o = x
		}
	}
	switch {
	case o == nil || !o.known:
		return none("it was not watched")
	case a.Wrong > 0 || a.Effect.Do == Differs:
		return none(fmt.Sprintf("to be decided: it differed in %d of %s", a.Wrong, words.Count(a.N, "time")))
	case a.N < 2:
		return none("to be decided: seen once only")
	}
	x, why := a.Effect.expectation(o)
	return expected{x, why, a, o.moving}
}

// expectation is what is to be expected of an output that was as observed before.
func (e *Effect) expectation(o *observation) (x analyze.Expectation, why string) {
	x.Within = written
	switch e.Do {
	case Stays:
		if o.moving {
			return analyze.Expectation{}, "it goes on flashing"
		}
		return analyze.Expectation{Demand: analyze.Unmoved}, ""
	case Rises, Falls:
		return e.level(o)
	case Pulses:
		return e.pulsing(o)
	}
	if o.moving || o.high {
		return analyze.Expectation{}, "it flashes or is high already, and flashes from here on"
	}
	on, off, lasts := rounded(e.On), rounded(e.Off), rounded(e.Lasts)
	x.Demand, x.On, x.Off, x.For = analyze.Train, on, off, lasts
	if e.Delayed() {
		x.After = rounded(e.After)
	}
	if lasts > 0 && lasts < 2*(on+off) || on < leastPulse || off < leastPulse {
		return analyze.Expectation{}, "to be decided: it flashes too briefly for a sequence to say so"
	}
	return x, ""
}

// briefPulses is why nothing is demanded of a train that is quicker than a sequence may say.
const briefPulses = "to be decided: its pulses are too short for a sequence to say so"

// leastPulse is the shortest pulse that a sequence may name in a train.
const leastPulse = 50 * time.Millisecond

// written is how far times may be off before anything was measured: as far as a sequence may say.
const written = 0.5

func (e *Effect) level(o *observation) (x analyze.Expectation, why string) {
	x.Demand = analyze.Low
	if e.Do == Rises {
		x.Demand = analyze.High
	}
	switch {
	case !e.Delayed():
		return x, ""
	case o.moving:
		return analyze.Expectation{}, "it flashes before, and changes after a delay"
	case o.high == (e.Do == Rises):
		return x, "" // it is there already
	}
	x.After, x.Within = rounded(e.After), written
	return x, ""
}

func (e *Effect) pulsing(o *observation) (x analyze.Expectation, why string) {
	x.Within = written
	switch {
	case o.moving || o.high && e.Pulses > 1:
		return analyze.Expectation{}, "it flashes or is high already when its pulses begin"
	case o.high:
		x.Demand, x.After = analyze.Low, rounded(e.After+e.On)
		return x, ""
	case e.Pulses == 1 && e.Delayed():
		return analyze.Expectation{}, "to be decided: a pulse after a delay, which a sequence cannot say"
	case e.Pulses == 1:
		x.Demand, x.After = analyze.Pulse, rounded(e.On)
		return x, ""
	}
	x.Demand, x.Pulses, x.On, x.Off = analyze.Train, e.Pulses, rounded(e.On), rounded(e.Off)
	if e.Delayed() {
		x.After = rounded(e.After)
	}
	if x.On < leastPulse || x.Off < leastPulse {
		return analyze.Expectation{}, briefPulses
	}
	return x, ""
}

// rounded is a time of so many seconds in whole milliseconds, or in tenths of a percent of
// itself where that is coarser.
func rounded(seconds float64) time.Duration {
	if !(seconds > 0) {
		return 0
	}
	grain := math.Max(1e-3, math.Pow(10, math.Floor(math.Log10(seconds))-3))
	return time.Duration(math.Round(seconds/grain)*grain*1e9 + 0.5).Round(time.Microsecond)
}

// needs is how many seconds an output needs to come to rest.
func (x *expected) needs() float64 {
	if x.act == nil {
		return 0
	}
	e := &x.act.Effect
	if e.Do == Stays || math.IsNaN(e.After) {
		return 0
	}
	return e.After + max(e.Lasts, 3*(e.On+e.Off))
}

// nameSteps gives the steps their names: the event's own to what most of its steps demand, and
// another to each that demands something else.
func (t *Table) nameSteps(all []step) {
	key := func(s *step) string {
		var parts []string
		for _, name := range t.seen.signals(nil) {
			parts = append(parts, fmt.Sprintf("%+v", s.expect[name].Expectation))
		}
		return s.event + strings.Join(parts, ";")
	}
	count := map[string]int{}
	for i := range all[1:] {
		count[key(&all[i+1])]++
	}
	most := map[string]string{}
	for i := range all[1:] {
		s := &all[i+1]
		if k := key(s); count[k] > count[most[s.event]] {
			most[s.event] = k
		}
	}
	names := map[string]string{}
	taken := append([]string{begins}, t.Events...)
	for i := range all[1:] {
		s := &all[i+1]
		k := key(s)
		if k == most[s.event] {
			s.name = s.event
			continue
		}
		if names[k] == "" {
			names[k] = freeName(s.event, t.condition(all, func(x *step) bool { return key(x) == k }), taken)
			taken = append(taken, names[k])
		}
		s.name = names[k]
	}
}

// condition is what is true of those of an event's steps that are alike, and of no other of its
// steps: the event that came before, or that the unit is armed or disarmed; empty: nothing of that.
func (t *Table) condition(all []step, alike func(*step) bool) string {
	armed, before := t.armedBefore(all), map[string]bool{}
	of, count := map[bool]int{}, 0
	event := all[slices.IndexFunc(all, func(s step) bool { return alike(&s) })].event
	others := map[bool]int{}
	for i := range all[1:] {
		switch s := &all[i+1]; {
		case s.event != event:
		case alike(s):
			before[s.before] = true
			of[armed[i+1]]++
			count++
		default:
			others[armed[i+1]]++
		}
	}
	switch {
	case len(before) == 1:
		for name := range before {
			return "after-" + name
		}
	case len(t.Roles.Arming) == 0 || len(t.Roles.Disarming) == 0:
	case of[true] == count && others[true] == 0:
		return "while-armed"
	case of[false] == count && others[false] == 0:
		return "while-disarmed"
	}
	return ""
}

// armedBefore says of each step whether the unit is armed when its event comes, as the events that
// arm and disarm have it.
func (t *Table) armedBefore(all []step) []bool {
	armed := make([]bool, len(all))
	now := slices.Contains(t.Roles.Arming, all[0].event)
	for i := range all[1:] {
		armed[i+1] = now
		switch e := all[i+1].event; {
		case slices.Contains(t.Roles.Arming, e):
			now = true
		case slices.Contains(t.Roles.Disarming, e):
			now = false
		}
	}
	return armed
}

// freeName is a name for a step that is not the usual one of its event: with the condition, else
// with a number.
func freeName(event, condition string, taken []string) string {
	const most = 32 // characters, of a name
	if name := event + "-" + condition; condition != "" && len(name) <= most && !slices.Contains(taken, name) {
		return name
	}
	for n := 2; ; n++ {
		number := fmt.Sprintf("-%d", n)
		if name := event[:min(len(event), most-len(number))] + number; !slices.Contains(taken, name) {
			return name
		}
	}
}
