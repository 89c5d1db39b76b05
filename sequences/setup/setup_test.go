package setup

import (
	"testing"

	"makebreak/analyze"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
)

// A supply that a drive switches lets the rig act only where the sequence moves it.
func TestActs_Stage(t *testing.T) {
	rig := rigfile.Builtin()[1]
	rig.Supply = wiring.TwoStages("STAGE", 13.8, 10.5)
	prompted := []sequences.Step{{Event: "arm", Cause: "arm"}}
	for _, c := range []struct {
		rig   *wiring.Rig
		steps []sequences.Step
		want  bool
	}{
		{rig, prompted, false},
		{rig, append(prompted, sequences.Step{Event: "low", Supply: &analyze.Move{To: 10.5}}), true},
		{rigfile.Builtin()[2], prompted, true}, // a converter supplies the unit from the start
		{rigfile.Builtin()[1], prompted, false},
	} {
		if got := Acts(c.rig, &sequences.Sequence{Steps: c.steps}); got != c.want {
			t.Errorf("supply %+v, steps %+v: acts %t", c.rig.Supply, c.steps, got)
		}
	}
}
