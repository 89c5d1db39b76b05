package sim

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/rig/line"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// stagedRig is the built-in relay on two supplies, of which a drive switches.
func stagedRig() *wiring.Rig {
	rig := rigfile.Builtin()[1]
	rig.Drives = append(rig.Drives, wiring.Drive{Line: line.Line{Name: "STAGE", Chip: "gpiochip0", Number: 6}, LongestOn: 5 * time.Second})
	rig.Supply = wiring.TwoStages("STAGE", 13.8, 10.5)
	return rig
}

// The outputs follow the drive with the supply's time constant: of the step from 13.8 to
// 10.5 V, 1/e is left after it (by hand: 10.5 + 3.3·0.3679 = 11.714 V).
func TestStage_FeedsOutputs(t *testing.T) {
	rig := stagedRig()
	w, err := NewWorld(rig, Opts{Exact: true})
	if err != nil {
		t.Fatal(err)
	}
	reqs := testLines(rig)
	set, err := w.Lines(reqs)
	if err != nil {
		t.Fatal(err)
	}
	stage := slices.IndexFunc(reqs, func(r Request) bool { return r.Line.Name == "STAGE" })
	near(t, "released", w.Truth().Supply.Volts, 13.8, 1e-9)
	near(t, "on", w.Truth().Output("COIL").High, 13.8*400/412, 1e-4) // 12 ohm before a coil of 400
	if w.SupplyChip() != nil {
		t.Error("there is a converter")
	}
	at, within, err := set.Drive(stage, true)
	if err != nil {
		t.Fatal(err)
	}
	w.AdvanceTo(at.Add(stageTau))
	early := w.Truth().Supply
	near(t, "after one time constant", early.Volts, 11.714, 3.3*math.Exp(-1)*float64(within)/float64(stageTau)+1e-3)
	near(t, "on its way to", early.Settled, 10.5, 1e-9)
	w.AdvanceTo(w.Now().Add(20 * time.Millisecond))
	near(t, "settled", w.Truth().Supply.Volts, 10.5, 1e-6)
	near(t, "on", w.Truth().Output("COIL").High, 10.5*400/412, 1e-4)
	near(t, "off", w.Truth().Output("COIL").Low, 0.65*10.5/13.55, 1e-4) // leaks in proportion
	// Released, whoever does it, it goes back.
	if err := set.Release(); err != nil {
		t.Fatal(err)
	}
	if _, err := set.Active(stage); err != nil {
		t.Fatal(err)
	}
	w.AdvanceTo(w.Now().Add(20 * time.Millisecond))
	near(t, "released again", w.Truth().Supply.Volts, 13.8, 1e-6)
	if _, _, err := set.Drive(stage, true); err != nil {
		t.Fatal(err)
	}
	if err := set.Close(); err != nil {
		t.Fatal(err)
	}
	w.AdvanceTo(w.Now().Add(20 * time.Millisecond))
	near(t, "lines closed", w.Truth().Supply.Volts, 13.8, 1e-6)
}

// A relay that is in feels the switch of its supply, and lets go where that takes it
// below its drop-out voltage.
func TestStage_RelayFollows(t *testing.T) {
	for _, c := range []struct {
		on     float64
		closed bool
	}{{10.5, true}, {0.5, false}} {
		rig := stagedRig()
		rig.Supply = wiring.TwoStages("STAGE", 13.8, c.on)
		w, err := NewWorld(rig, Opts{Seed: 8})
		if err != nil {
			t.Fatal(err)
		}
		reqs := testLines(rig)
		set, err := w.Lines(reqs)
		if err != nil {
			t.Fatal(err)
		}
		line := func(name string) int {
			return slices.IndexFunc(reqs, func(r Request) bool { return r.Line.Name == name })
		}
		for _, drive := range []string{"COIL_DRIVE", "STAGE"} {
			if _, _, err := set.Drive(line(drive), true); err != nil {
				t.Fatal(err)
			}
			w.AdvanceTo(w.Now().Add(100 * time.Millisecond))
			closed, err := set.Active(line("K1_NO"))
			if want := drive == "COIL_DRIVE" || c.closed; err != nil || closed != want {
				t.Errorf("%g V, %s on: K1_NO closed %t, want %t (%v)", c.on, drive, closed, want, err)
			}
		}
	}
}

// Both voltages are as exact as what is drawn for them.
func TestStage_Draws(t *testing.T) {
	seen := map[float64]bool{}
	for seed := range uint64(100) {
		w, err := NewWorld(stagedRig(), Opts{Seed: seed})
		if err != nil {
			t.Fatal(err)
		}
		s := w.Truth().Supply
		if math.Abs(s.GainError) > supplyGainSpread || math.Abs(s.OffsetVolts) > supplyOffsetSpread || s.Tau < stageTau*8/10 || s.Tau > stageTau*12/10 {
			t.Fatalf("seed %d: %+v", seed, s)
		}
		near(t, "released", s.Volts, 13.8*(1+s.GainError)+s.OffsetVolts, 1e-9)
		w.setDrive(w.drive("STAGE"), true)
		near(t, "on", w.Truth().Supply.Settled, 10.5*(1+s.GainError)+s.OffsetVolts, 1e-9)
		seen[s.GainError] = true
	}
	if len(seen) < 99 {
		t.Errorf("%d different draws of 100 seeds", len(seen))
	}
}

func TestStage_NoDrive(t *testing.T) {
	rig := stagedRig()
	rig.Supply.Stage.Drive = "STAEG"
	if _, err := NewWorld(rig, Opts{}); err == nil || !strings.Contains(err.Error(), `the rig has no drive "STAEG"`) {
		t.Errorf("got %v", err)
	}
}
