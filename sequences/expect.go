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
	demandRule = "use one of: high, low, unmoved, any, {pulse: 2 s, within: 10 %}, {high: true, after: 30 s, within: 5 %}, {low: true, after: 30 s, within: 5 %}"
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
	pulse, high, low, after, within := f.May("pulse"), f.May("high"), f.May("low"), f.May("after"), f.May("within")
	x := analyze.Expectation{Within: DefaultWithin}
	if !f.Done() {
		return x, false
	}
	ok := true
	switch {
	case count(pulse, high, low) != 1:
		n.Refuse("the expectation needs exactly one of pulse, high and low", demandRule)
		return x, false
	case pulse != nil && after != nil:
		after.Refuse("a pulse starts at once", "leave it out")
		return x, false
	case pulse != nil:
		x.Demand = analyze.Pulse
		x.After = positive(pulse, "how long the pulse lasts, as in 2 s")
	default:
		x.Demand = analyze.High
		if low != nil {
			x.Demand = analyze.Low
		}
		_, ok = pick(high, low).Word("true")
		if after != nil {
			x.After = positive(after, "how long the exit delay runs, as in 30 s")
		}
	}
	if within != nil {
		v, read := within.Quantity(unit.Share)
		if read && (v <= 0 || v >= 1) {
			within.Refuse("", "must be above 0 % and below 100 %")
		}
		x.Within = v
	}
	if x.After == 0 {
		x.Within = 0 // nothing to be off from
		if pulse == nil && within != nil && after == nil {
			within.Refuse("without after there is no time to compare with", "leave it out, or add after, for example after: 30 s")
		}
	}
	return x, ok && (pulse == nil || x.After > 0)
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
	need := time.Duration(x.After.Seconds() * (1 + x.Within) * 1e9)
	for _, step := range r.seq.Steps {
		if step.Event == event && step.Hold > 0 && need >= step.Hold {
			n.Fail("the step is watched for "+unit.Time.Format(step.Hold.Seconds())+" only and this may take "+unit.Time.Format(need.Seconds()),
				"make it shorter or the step's hold longer")
			return
		}
	}
}
