package setup

import (
	"makebreak/rig/wiring"
	"makebreak/sequences"
)

// Demonstration returns the first built-in sequence whose events a simulated rig brings
// about by itself, changed to sample all outputs in turn; nil where there is none.
func Demonstration(rig *wiring.Rig) *sequences.Sequence {
	for _, seq := range sequences.Builtin() {
		if _, err := seq.Fits(rig); err == nil && !seq.MovesSupply() && !Prompts(rig, seq) {
			seq.Plan.OthersUnmoved, seq.Sample = true, wiring.Sweep
			return seq
		}
	}
	return nil
}
