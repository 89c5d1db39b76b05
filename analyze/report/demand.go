package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/rig/unit"
)

// mustNotMove is what is demanded of an output that has to keep its state.
const mustNotMove = "must not move"

// demandWords say what a sequence demands of an output or a relay, as in "high at arm-away,
// arm-stay; low at disarm"; empty where it demands nothing.
func demandWords(p *analyze.Plan, signal string) string {
	if p == nil {
		return ""
	}
	for i := range p.Outputs {
		switch o := &p.Outputs[i]; signal {
		case o.Signal:
			return expectWords(p, o)
		case o.Relay:
			return "follows " + oneLine(o.Signal)
		}
	}
	if p.OthersUnmoved && p.Relay(signal) == nil {
		return mustNotMove
	}
	return ""
}

// Demanded says in words what a plan demands of an output or a relay, as in "high at arm-away;
// low at disarm"; empty: nothing.
func Demanded(p *analyze.Plan, signal string) string { return demandWords(p, signal) }

// LimitsWords writes limits in words, in the order of the quantities: "high level 12 … 14.5 V,
// low level max 1 V".
func LimitsWords(limits analyze.Limits) string {
	var all []string
	for _, d := range analyze.Definitions() {
		if l := limits.Of(d.Quantity); !l.None() {
			all = append(all, d.Quantity.Words()+" "+LimitWords(d.Quantity, l))
		}
	}
	return strings.Join(all, ", ")
}

// expectWords say what is expected of an output, events with the same expectation together.
func expectWords(p *analyze.Plan, o *analyze.OutputPlan) string {
	var demands []analyze.Expectation
	var events [][]string
	for _, event := range stillSteps(p) {
		x := o.At(event)
		i := slices.Index(demands, x)
		if i < 0 {
			i, demands, events = len(demands), append(demands, x), append(events, nil)
		}
		events[i] = append(events[i], oneLine(event))
	}
	if len(demands) == 1 {
		return throughoutWords(demands[0], events[0])
	}
	var said []string
	for i, x := range demands {
		if x.Demand != analyze.Any {
			said = append(said, expectationWords(x)+" "+strings.Join(events[i], ", "))
		}
	}
	return strings.Join(said, "; ")
}

// stillSteps are the events of a plan that do not move the supply, each once.
func stillSteps(p *analyze.Plan) []string {
	var steps []string
	for _, event := range p.Steps {
		if _, moves := p.Moves[event]; !moves {
			steps = appendNew(steps, event)
		}
	}
	return steps
}

// throughoutWords say what is expected at all events alike.
func throughoutWords(x analyze.Expectation, events []string) string {
	switch {
	case x.Demand == analyze.Any:
		return ""
	case x.Demand == analyze.Unmoved:
		return mustNotMove
	case x.After == 0 && x.Demand != analyze.Train:
		return x.Demand.String() + " throughout"
	}
	return expectationWords(x) + " " + strings.Join(events, ", ")
}

// expectationWords say what is expected, up to the events' names.
func expectationWords(x analyze.Expectation) string {
	switch {
	case x.Demand == analyze.Pulse:
		return "pulse of " + spanOf(x) + " at"
	case x.Demand == analyze.Train:
		return trainWords(x) + " at"
	case x.After > 0:
		return x.Demand.String() + " " + spanOf(x) + " after"
	}
	return x.Demand.String() + " at"
}

// spanOf writes an expectation's time with its tolerance: "30 s ± 5 %".
func spanOf(x analyze.Expectation) string {
	span := unit.Time.Format(x.After.Seconds())
	if x.Within > 0 {
		span += fmt.Sprintf(" ± %s %%", shortest(math.Round(1e6*x.Within)/1e4))
	}
	return span
}
