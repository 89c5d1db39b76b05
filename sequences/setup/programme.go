package setup

import (
	"time"

	"makebreak/analyze"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
)

// Unit returns the simulated unit programmed as the sequence expects it, so that a unit
// without faults does what its job card says.
func Unit(rig *wiring.Rig, seq *sequences.Sequence) sim.Opts {
	var rules []sim.Rule
	initial := map[string]bool{}
	for _, o := range seq.Plan.Outputs {
		if drivenByRig(rig, o, seq) {
			continue
		}
		for _, event := range seq.Causes() {
			rules = append(rules, rulesOf(seq, &o, event)...)
		}
		initial[o.Signal] = stateAtEnd(seq, o)
	}
	return sim.Opts{Programme: rules, Initial: initial, Relays: relays(seq)}
}

// operations is how many times a cycle of the sequence lets a relay operate, the one that does
// so most often.
func operations(seq *sequences.Sequence) int {
	most := 0
	for _, o := range seq.Plan.Outputs {
		if o.Relay == "" {
			continue
		}
		n, high := 0, stateAtEnd(seq, o)
		for _, s := range seq.Steps {
			switch x := o.Expect[s.Event]; x.Demand {
			case analyze.High:
				if !high {
					n++
				}
				high = true
			case analyze.Low:
				high = false
			case analyze.Pulse:
				n++
			case analyze.Train:
				n += trainPulses(x, s.Hold)
				high = false
			}
		}
		most = max(most, n)
	}
	return most
}

// trainPulses is how many pulses a train has, in a step that is watched for a time.
func trainPulses(x analyze.Expectation, hold time.Duration) int {
	if x.Pulses > 0 {
		return x.Pulses
	}
	if x.For > 0 {
		hold = min(hold, x.For)
	}
	return int(hold / (x.On + x.Off))
}

// drivenByRig reports whether the output is a coil that the rig switches itself.
func drivenByRig(rig *wiring.Rig, o analyze.OutputPlan, seq *sequences.Sequence) bool {
	for _, event := range seq.Causes() {
		if c := rig.Cause(event); c != nil && c.Drive != "" && rig.Drive(c.Drive).Coil {
			return true
		}
	}
	return false
}

// stateAtEnd is the state in which the sequence leaves an output, and so the one
// in which it should find it.
func stateAtEnd(seq *sequences.Sequence, o analyze.OutputPlan) bool {
	high := false
	for _, s := range seq.Steps {
		switch o.Expect[s.Event].Demand {
		case analyze.High:
			high = true
		case analyze.Low, analyze.Pulse, analyze.Train:
			high = false
		}
	}
	return high
}

// relays says what hangs on which simulated output: what a sequence says that names
// outputs; nil, for what the contacts' names suggest, where it names none.
func relays(seq *sequences.Sequence) []sim.Relay {
	if len(seq.Plan.Outputs) == 0 {
		return nil
	}
	all := []sim.Relay{}
	for _, o := range seq.Plan.Outputs {
		if r := seq.Plan.Relay(o.Relay); r != nil {
			all = append(all, sim.Relay{Name: r.Signal, Output: o.Signal, Make: r.Make, Break: r.Break})
		}
	}
	return all
}

// BenchFor returns the built-in simulated bench that has all that a sequence names.
func BenchFor(seq *sequences.Sequence) *wiring.Rig {
	var nearest *wiring.Rig
	for rig := range rigfile.EachBuiltin() {
		if seq.NamedBy(rig) {
			return rig
		}
		if nearest == nil || seq.MovesSupply() && rig.Supply != nil {
			nearest = rig // its error names what is missing
		}
	}
	return nearest
}
