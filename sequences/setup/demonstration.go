package setup

import (
	"makebreak/rig/wiring"
	"makebreak/sequences"
)

// Demonstration returns the first built-in sequence whose events a simulated rig brings
// about by itself, changed to sample all outputs in turn; nil where there is none.
func Demonstration(rig *wiring.Rig) *sequences.Sequence {
	for _, seq := range sequences.Builtin() {
		seq.Plan.OthersUnmoved, seq.Sample = true, wiring.Sweep
		if _, err := seq.Fits(rig); err == nil && !seq.MovesSupply() && !Prompts(rig, seq) {
			return seq
		}
	}
	return nil
}
