package sequences

import (
	"math"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

const (
	expectRule = "must be high, low, unmoved or any for all events, or one for each event as in {arm-away: high, disarm: low}"
	demandRule = "use one of: high, low, unmoved, any, {pulse: 2 s, within: 10 %}, {high: true, after: 30 s, within: 5 %}, {low: true, after: 30 s, within: 5 %}, " +
		"{pulses: 3, on: 200 ms, off: 300 ms, within: 10 %}, {flashing: true, on: 500 ms, off: 500 ms, within: 10 %}"
)

// demands that one word states.
var demands = map[string]analyze.Demand{
	"high": analyze.High, "low": analyze.Low, "unmoved": analyze.Unmoved, "any": analyze.Any,
}

// expect reads what an output must do: one word for all events, or one expectation
// for each event named.
func (r *reader) expect(n *yamlfile.Node) map[string]analyze.Expectation {
	all := map[string]analyze.Expectation{}
	if n == nil {
		return all
	}
	if n.IsText() {
		w, _ := n.Text()
		d, ok := demands[w]
		if !ok {
			n.Refuse("", expectRule)
		}
		for _, event := range r.seq.Events() {
			all[event] = analyze.Expectation{Demand: d}
		}
		return all
	}
	events := r.seq.Events()
	for _, e := range n.Entries(expectRule) {
		if len(events) > 0 && !slices.Contains(events, e.Name()) {
			e.Key.Refuse("this event is in no step", words.UseOneOf(e.Name(), events))
			continue
		}
		if _, moves := r.seq.Plan.Moves[e.Name()]; moves {
			e.Key.Refuse("the supply changes in this step, and every output follows it", "leave it out")
			continue
		}
		if x, ok := readExpectation(e.Value); ok {
			all[e.Name()] = x
			r.longEnough(e.Value, e.Name(), x)
		}
	}
	return all
}

func readExpectation(n *yamlfile.Node) (analyze.Expectation, bool) {
	if !n.IsMap() {
		d, ok := demands[n.Plain()]
		if !ok {
			n.Refuse("", demandRule)
		}
		return analyze.Expectation{Demand: d}, ok
	}
	f, _ := n.Fields(demandRule)
	e := expectation{fields: f, pulse: f.May("pulse"), high: f.May("high"), low: f.May("low"), after: f.May("after"), within: f.May("within"),
		pulses: f.May("pulses"), flashing: f.May("flashing"), on: f.May("on"), off: f.May("off"), lasts: f.May("for")}
	x := analyze.Expectation{Within: DefaultWithin}
	if !f.Done() {
		return x, false
	}
	if count(e.pulse, e.high, e.low, e.pulses, e.flashing) != 1 {
		n.Refuse("the expectation needs exactly one of pulse, high, low, pulses and flashing", demandRule)
		return x, false
	}
	if e.pulses != nil || e.flashing != nil {
		return e.train()
	}
	if stray := pick(e.on, pick(e.off, e.lasts)); stray != nil {
		stray.Refuse("only pulses and flashing have this", "leave it out, or write {pulses: 3, on: 200 ms, off: 300 ms}")
		return x, false
	}
	ok := true
	switch {
	case e.pulse != nil && e.after != nil:
		e.after.Refuse("a pulse starts at once", "leave it out")
		return x, false
	case e.pulse != nil:
		x.Demand = analyze.Pulse
		x.After = positive(e.pulse, "how long the pulse lasts, as in 2 s")
	default:
		x.Demand = analyze.High
		if e.low != nil {
			x.Demand = analyze.Low
		}
		_, ok = pick(e.high, e.low).Word("true")
		if e.after != nil {
			x.After = positive(e.after, "how long the exit delay runs, as in 30 s")
		}
	}
	x.Within = e.share(x.Within, 1)
	if x.After == 0 {
		x.Within = 0 // nothing to be off from
		if e.pulse == nil && e.within != nil && e.after == nil {
			e.within.Refuse("without after there is no time to compare with", "leave it out, or add after, for example after: 30 s")
		}
	}
	return x, ok && (e.pulse == nil || x.After > 0)
}

// expectation is an expectation's keys as they were written; nil: not given.
type expectation struct {
	fields                           *yamlfile.Fields
	pulse, high, low, after, within  *yamlfile.Node
	pulses, flashing, on, off, lasts *yamlfile.Node
}

// share reads within, which must be below most.
func (e *expectation) share(preset, most float64) float64 {
	v, ok := e.within.Quantity(unit.Share)
	if !ok {
		return preset
	}
	if v <= 0 || v >= 1 || v > most {
		rule := "must be above 0 % and below 100 %"
		if most < 1 {
			rule = "must be above 0 % and up to " + unit.Share.Format(most)
		}
		e.within.Refuse("", rule)
	}
	return v
}

// positive reads a time above zero, zero where it cannot be had.
func positive(n *yamlfile.Node, may string) time.Duration {
	v, ok := n.Quantity(unit.Time)
	if ok && (v <= 0 || v > 7*24*3600) {
		n.Refuse("", "must be above 0 s and up to 168 h: "+may)
		return 0
	}
	return time.Duration(math.Round(v * 1e9))
}

func count(nodes ...*yamlfile.Node) int {
	sum := 0
	for _, n := range nodes {
		if n != nil {
			sum++
		}
	}
	return sum
}

func pick(a, b *yamlfile.Node) *yamlfile.Node {
	if a != nil {
		return a
	}
	return b
}

// longEnough refuses an expectation that needs longer than a step of its event is
// watched.
func (r *reader) longEnough(n *yamlfile.Node, event string, x analyze.Expectation) {
	need := x.Longest()
	for _, step := range r.seq.Steps {
		if step.Event == event && step.Hold > 0 && need >= step.Hold {
			n.Fail("the step is watched for "+unit.Time.Format(step.Hold.Seconds())+" only and this may take "+unit.Time.Format(need.Seconds()),
				"make it shorter or the step's hold longer")
			return
		}
	}
}
