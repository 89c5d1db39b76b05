package sim

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/line"
	"makebreak/rig/wiring"
)

// Whatever is drawn can be put into the bench, and over many seeds every behaviour comes.
func TestDrawProgramme(t *testing.T) {
	events := map[string][]string{
		"all":           {"arm-away", "arm-stay", "disarm", "alarm", "alarm-off"},
		"no alarm":      {"arm-away", "disarm"},
		"no disarming":  {"arm-away", "alarm"},
		"no arming":     {"open-zone", "close-zone"},
		"an alarm only": {"chime"},
	}
	for name, these := range events {
		rig := panelRig()
		rig.Causes = nil
		for _, e := range these {
			rig.Causes = append(rig.Causes, wiring.Cause{Event: e, Prompt: "Do it."})
		}
		drawn := map[Action]int{}
		idle, flashing, delayed, while, once := 0, 0, 0, 0, 0
		for seed := range uint64(200) {
			rules := DrawProgramme(rig, seed)
			if _, err := NewWorld(rig, Opts{Seed: seed, Programme: rules, Initial: AtRest(rules)}); err != nil || len(rules) == 0 {
				t.Fatalf("%s, seed %d: %v of %v", name, seed, err, rules)
			}
			if seed < 5 && !cmp.Equal(rules, DrawProgramme(rig, seed)) {
				t.Errorf("%s, seed %d: drawn twice, and different", name, seed)
			}
			moves := map[string]bool{}
			for _, r := range rules {
				moves[r.Output] = true
				drawn[r.Do]++
				switch {
				case !slices.Contains(these, r.Event) || r.After > 8*time.Second:
					t.Fatalf("%s: %s", name, r)
				case r.Do == Train && r.Pulses == 0 && r.Until == 0:
					flashing++
				case r.After > 0:
					delayed++
				case r.Pulses > 0:
					once++
				}
				if len(r.While) > 0 {
					while++
				}
			}
			idle += len(rig.Outputs) - len(moves)
		}
		if drawn[PulseHigh] == 0 || once == 0 || idle == 0 {
			t.Errorf("%s: %v, %d outputs do nothing", name, drawn, idle)
		}
		if name == "all" && (drawn[GoHigh] == 0 || drawn[GoLow] == 0 || flashing == 0 || delayed == 0 || while == 0) {
			t.Errorf("%v, %d flashing, %d delayed, %d only in some state", drawn, flashing, delayed, while)
		}
	}
}

// What the rig switches itself is not programmed, and what has no events is not either.
func TestDrawProgramme_None(t *testing.T) {
	rig := panelRig()
	rig.Drives = append(rig.Drives, wiring.Drive{Line: line.Line{Name: "COIL"}, Coil: true})
	if rules := DrawProgramme(rig, 1); rules != nil {
		t.Errorf("a rig of relays is programmed: %v", rules)
	}
	rig = panelRig()
	rig.Causes = nil
	if rules := DrawProgramme(rig, 1); rules != nil {
		t.Errorf("a rig without events is programmed: %v", rules)
	}
}

func TestAtRest(t *testing.T) {
	rules := []Rule{
		{Output: "OUT1", Event: "arm-away", Do: GoHigh}, {Output: "OUT1", Event: "disarm", Do: GoLow},
		{Output: "OUT2", Event: "arm-away", Do: GoLow}, {Output: "OUT2", Event: "disarm", Do: GoHigh},
		{Output: "OUT3", Event: "disarm", Do: PulseHigh, For: 1},
	}
	if got := AtRest(rules); !cmp.Equal(got, map[string]bool{"OUT2": true}) {
		t.Errorf("on at rest: %v", got)
	}
}
