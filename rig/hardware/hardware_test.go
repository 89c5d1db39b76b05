package hardware

import (
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/gpioline"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// What is written for the safe state of the commented rig file: its rest of 0.5 V is code 124.
func TestSafeStateWrites(t *testing.T) {
	full, err := rigfile.Load(t.Context(), filepath.Join("..", "..", "testdata", "rigs", "full.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	w, err := sim.NewWorld(rigfile.Builtin()[2], sim.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	want := []gpioline.SafeWrite{{Bus: w.Bus().String(), Address: 0x60, Bytes: []byte{0x00, 0x7C}}}
	if d := cmp.Diff(want, safeStateWrites(full, w.Bus())); d != "" {
		t.Error(d)
	}
	switched := rigfile.Builtin()[1]
	switched.Supply = wiring.TwoStages("STAGE", 13.8, 10.5)
	for name, rig := range map[string]*wiring.Rig{"without a supply": rigfile.Builtin()[0], "whose supply a drive switches": switched} {
		if got := safeStateWrites(rig, w.Bus()); got != nil {
			t.Errorf("a rig %s: %+v", name, got)
		}
	}
}
