package setup

import (
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/rig/sim"
	"makebreak/sequences"
)

// rulesOf are the rules by which a simulated output does what the sequence expects of it at all
// steps of an event. Where steps of other names expect other things of the event, what came last
// of what arms and disarms may decide; where it does not, no panel can do them all, and the first
// one counts.
func rulesOf(seq *sequences.Sequence, o *analyze.OutputPlan, cause string) (rules []sim.Rule) {
	type condition struct {
		rule  sim.Rule
		modes []string
	}
	var all []condition
	for _, mode := range modesBefore(seq, cause) {
		r, known := ruleIn(seq, o, cause, mode)
		if !known {
			continue
		}
		i := slices.IndexFunc(all, func(c condition) bool { return sameRule(c.rule, r) })
		if i < 0 {
			all = append(all, condition{rule: r})
			i = len(all) - 1
		}
		all[i].modes = append(all[i].modes, mode)
	}
	for _, c := range all {
		if c.rule.Do == sim.Nothing {
			continue
		}
		if len(all) > 1 {
			c.rule.While = c.modes
		}
		rules = append(rules, c.rule)
	}
	return rules
}

func sameRule(a, b sim.Rule) bool {
	return a.Do == b.Do && a.After == b.After && a.For == b.For && a.Off == b.Off && a.Pulses == b.Pulses && a.Until == b.Until
}

// before returns what armed or disarmed last before each step, from the second cycle on.
func before(seq *sequences.Sequence) []string {
	modes := make([]string, len(seq.Steps))
	mode := ""
	for i := range 2 * len(seq.Steps) {
		k := i % len(seq.Steps)
		modes[k] = mode
		if cause := seq.Steps[k].Cause; sim.IsArming(cause) {
			mode = cause
		}
	}
	return modes
}

// modesBefore are what armed or disarmed last before the steps that bring an event about.
func modesBefore(seq *sequences.Sequence, cause string) (all []string) {
	for i, mode := range before(seq) {
		if seq.Steps[i].Cause == cause && !slices.Contains(all, mode) {
			all = append(all, mode)
		}
	}
	return all
}

// ruleIn is what the output does at the event after one that arms or disarms, and whether any
// step says so: the step that says most counts, the first of those. A step at which the output
// is high already says less of a delay, or of a pulse.
func ruleIn(seq *sequences.Sequence, o *analyze.OutputPlan, cause, mode string) (best sim.Rule, known bool) {
	most := -1
	modes := before(seq)
	for i, s := range seq.Steps {
		if s.Cause != cause || modes[i] != mode {
			continue
		}
		x := o.At(s.Event)
		if n := saying(x); n > most {
			most, best = n, ruleFor(o, cause, x)
		}
	}
	return best, most >= 0
}

// saying is how much an expectation says of what the output does; -1: nothing.
func saying(x analyze.Expectation) int {
	switch x.Demand {
	case analyze.Any:
		return -1
	case analyze.Unmoved:
		return 0
	case analyze.Pulse, analyze.Train:
		return 3
	}
	if x.After > 0 {
		return 2
	}
	return 1
}

// ruleFor is what an expectation has the output do.
func ruleFor(o *analyze.OutputPlan, event string, x analyze.Expectation) sim.Rule {
	r := sim.Rule{Output: o.Signal, Event: event, After: max(0, x.After-reaction(o))}
	switch x.Demand {
	case analyze.High:
		r.Do = sim.GoHigh
	case analyze.Low:
		r.Do = sim.GoLow
	case analyze.Pulse:
		r.Do, r.After, r.For = sim.PulseHigh, 0, x.After
	case analyze.Train:
		r.Do, r.For, r.Off, r.Pulses, r.Until = sim.Train, x.On, x.Off, x.Pulses, x.For
	default:
		return sim.Rule{Output: o.Signal, Event: event}
	}
	return r
}

// reaction is how long the unit takes for anything, where the limits say so from both sides: a
// delay that was measured has it in it.
func reaction(o *analyze.OutputPlan) time.Duration {
	l := o.Limits.Of(analyze.SwitchingDelay)
	if l.Lower > 0 && l.Upper > l.Lower {
		return time.Duration((l.Lower + l.Upper) / 2 * 1e9)
	}
	return 0
}
