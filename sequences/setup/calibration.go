package setup

import (
	"makebreak/rig/capture"
	"makebreak/rig/wiring"
	"makebreak/sequences"
)

// OverdueRule returns what becomes of figures that rest on an overdue calibration: as the
// sequence says, else as the rig file says, else they are undecided.
func OverdueRule(rig *wiring.Rig, seq *sequences.Sequence) capture.OverdueRule {
	for _, rule := range []capture.OverdueRule{seq.Plan.Overdue, rig.Overdue} {
		if rule != "" {
			return rule
		}
	}
	return capture.OverdueUndecided
}
