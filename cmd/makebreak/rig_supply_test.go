package main

import (
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"makebreak/analyze"
	"makebreak/rig/gpioline"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
)

// What a supply's chip says of itself, told in volts at the unit: 2048 codes of
// 3.3 V · 5 / 4096 are 8.25 V, 1241 are 5.00 V.
func TestProbeSupply(t *testing.T) {
	rig := rigfile.Builtin()[2]
	w, err := sim.NewWorld(rig, sim.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	bus := w.Bus()
	for _, c := range []struct {
		write []byte
		want  string
	}{
		{nil, "stands at 8.25 V (code 2048); at power-up 8.25 V (code 2048): that is what the unit gets until the program runs, and not the 0 V of rest"},
		{[]byte{0x04, 0xD9}, "stands at 5.00 V (code 1241); at power-up 8.25 V (code 2048): that is what the unit gets until the program runs, and not the 0 V of rest"},
		{[]byte{0x14, 0xD9}, "stands at 0.00 V (code 1241); at power-up 8.25 V (code 2048): that is what the unit gets until the program runs, and not the 0 V of rest"},
		{[]byte{0x60, 0x00, 0x00}, "stands at 0.00 V (code 0); at power-up 0.00 V (code 0)"},
	} {
		if len(c.write) > 0 {
			if err := bus.Tx(0x60, c.write, nil); err != nil {
				t.Fatal(err)
			}
		}
		got, err := probeSupply(bus, rig.Supply)
		if d := cmp.Diff(c.want, got); d != "" || err != nil {
			t.Errorf("%v %s", err, d)
		}
	}
	w.SupplyChip().SetGone(true)
	if _, err := probeSupply(bus, rig.Supply); err == nil {
		t.Error("a chip that is not there answers")
	}
}

// The last word of the commented rig file: its rest of 0.5 V is code 124.
func TestLastWords(t *testing.T) {
	full, err := rigfile.Load(filepath.Join("..", "..", "testdata", "rigs", "full.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	w, err := sim.NewWorld(rigfile.Builtin()[2], sim.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	want := []gpioline.Word{{Bus: w.Bus().String(), Address: 0x60, Bytes: []byte{0x00, 0x7C}}}
	if d := cmp.Diff(want, lastWords(full, w.Bus())); d != "" {
		t.Error(d)
	}
	if got := lastWords(rigfile.Builtin()[0], w.Bus()); got != nil {
		t.Errorf("a rig without a supply: %+v", got)
	}
}

// A supply that a drive switches needs no last word, and the rig acts by it only where
// the sequence moves it.
func TestDrives_Stage(t *testing.T) {
	rig := rigfile.Builtin()[1]
	rig.Supply = wiring.TwoStages("STAGE", 13.8, 10.5)
	w, err := sim.NewWorld(rigfile.Builtin()[2], sim.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	if got := lastWords(rig, w.Bus()); got != nil {
		t.Errorf("last words: %+v", got)
	}
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
		if got := drives(c.rig, &sequences.Sequence{Steps: c.steps}); got != c.want {
			t.Errorf("supply %+v, steps %+v: drives %t", c.rig.Supply, c.steps, got)
		}
	}
}
