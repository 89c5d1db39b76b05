package calibration

import (
	"math"
	"strings"
	"testing"

	"makebreak/rig/capture"
	"makebreak/rig/wiring"
)

// What a calibration of 2026-03-31, due on 2027-03-31, is worth on a day and for a rig. What
// is not worth anything is not applied: readings are as they are, and the resistors' tolerance
// stands in the budget.
func TestFile_Apply(t *testing.T) {
	rewire := func(r *wiring.Rig, _ *File) { r.Outputs[0].Divider.Upper = 43e3 }
	for name, c := range map[string]struct {
		today   string
		change  func(*wiring.Rig, *File)
		state   capture.CalibrationState
		warning string // in the first warning; empty: none
	}{
		"first day":     {"2026-03-31", nil, capture.InDate, ""},
		"last day":      {"2027-03-30", nil, capture.InDate, ""},
		"due":           {"2027-03-31", nil, capture.Overdue, "OUT3 by meter 4711 on 2026-03-31, overdue since 2027-03-31: figures that rest on it are undecided"},
		"overdue":       {"2029-01-01", nil, capture.Overdue, "overdue since 2027-03-31"},
		"to come":       {"2026-03-30", nil, capture.InFuture, "OUT3 by meter 4711 on 2026-03-31, which is in the future: figures that rest on it are undecided; check the clock and the date"},
		"resistor":      {"2026-04-01", rewire, capture.Rewired, "OUT3 calibrated on 2026-03-31 and wired differently since, which does not count any more: the tolerances of resistors and converter stand in the budget"},
		"old resistor":  {"2029-04-01", rewire, capture.Rewired, "wired differently"},
		"channel":       {"2026-04-01", func(r *wiring.Rig, _ *File) { r.Outputs[0].Channel = 1 }, capture.Rewired, "wired differently"},
		"simulated now": {"2026-04-01", func(r *wiring.Rig, _ *File) { r.Simulated = true }, capture.OtherBench, "OUT3 calibrated on another bench (rig bench), which does not count here"},
		"other rig":     {"2026-04-01", func(_ *wiring.Rig, f *File) { f.Rig = "shelf" }, capture.OtherBench, "OUT3 calibrated on another bench (rig shelf), which does not count here"},
		"other output":  {"2026-04-01", func(r *wiring.Rig, _ *File) { r.Outputs[0].Name = "OUT4" }, capture.NotCalibrated, "the calibration of OUT3 is not used: the rig has no such output"},
	} {
		rig, f := benchRig(), stored(t)
		if c.change != nil {
			c.change(rig, f)
		}
		got := f.Apply(rig, day(t, c.today), 7)
		if len(got) != 1 || got[0].State != c.state {
			t.Errorf("%s: %+v, want the state %s", name, got, c.state)
			continue
		}
		warnings := f.Warnings(rig, got)
		if c.warning == "" && len(warnings) > 0 || c.warning != "" && (len(warnings) == 0 || !strings.Contains(warnings[0], c.warning)) {
			t.Errorf("%s: warnings %q, want %q", name, warnings, c.warning)
		}
		by, corrected := rig.Correction(rig.Outputs[0].Name)
		if corrected != got[0].Applied() || by.Gain != got[0].Gain || by.Offset != got[0].Offset {
			t.Errorf("%s: corrected %t by %+v, told of as %+v", name, corrected, by, got[0])
		}
		if tolerance := 0.01 * 39 / 49 * math.Sqrt(2.0/3); !corrected && rig.StandardUncertainty(rig.Outputs[0].Name, 12)/12 < tolerance {
			t.Errorf("%s: not calibrated, and known better than by its resistors", name)
		}
	}
}

// A simulated bench is another one with each seed; its wiring may be looked at for any.
func TestFile_Apply_seeds(t *testing.T) {
	rig, f := benchRig(), stored(t)
	rig.Simulated = true
	f.Calibrations[0].Wiring = Wiring(rig, "OUT3", 7)
	for seed, want := range map[uint64]capture.CalibrationState{7: capture.InDate, 8: capture.OtherBench, 0: capture.OtherBench} {
		bench := *rig
		got := f.Apply(&bench, day(t, "2026-04-01"), seed)[0]
		if _, corrected := bench.Correction("OUT3"); got.State != want || corrected != (want == capture.InDate) || got.Seed == nil || *got.Seed != 7 {
			t.Errorf("seed %d: %+v, corrected %t", seed, got, corrected)
		}
		if text := strings.Join(f.Warnings(&bench, []capture.Calibration{got}), ""); want == capture.OtherBench && !strings.Contains(text, "(rig bench, simulated with seed 7)") {
			t.Errorf("seed %d: %s", seed, text)
		}
	}
	if got := f.On(rig, day(t, "2026-04-01"), nil)[0]; got.State != capture.InDate {
		t.Errorf("for any seed: %+v", got)
	}
	if got := f.On(rig, day(t, "2028-04-01"), nil)[0]; got.State != capture.Overdue {
		t.Errorf("for any seed, later: %+v", got)
	}
	real := benchRig()
	if got := f.On(real, day(t, "2026-04-01"), nil)[0]; got.State != capture.OtherBench {
		t.Errorf("on a real rig: %+v", got)
	}
	f.Calibrations[0].Wiring = Wiring(real, "OUT3", 0) + ", simulated with seed seven"
	if got := f.On(real, day(t, "2026-04-01"), nil)[0]; got.State != capture.Rewired {
		t.Errorf("with a wiring that nobody wrote: %+v", got)
	}
}

// What was wired and what is now is said where it differs.
func TestFile_Warnings_rewired(t *testing.T) {
	rig, f := benchRig(), stored(t)
	rig.Outputs[0].Divider.Upper = 43e3
	got := strings.Join(f.Warnings(rig, f.Apply(rig, day(t, "2026-04-01"), 0)), "\n")
	if want := "OUT3 was calibrated with ADS1115 at 0x48 channel 0, range 4.096 V, divider 39 kohm over 10 kohm of 1 %, and now there is ADS1115 at 0x48 channel 0, range 4.096 V, divider 43 kohm over 10 kohm of 1 %; calibrate again"; !strings.Contains(got, want) {
		t.Errorf("%s\nwant %s", got, want)
	}
}

func TestUncalibrated(t *testing.T) {
	rig := benchRig()
	if got := Uncalibrated(rig); len(got) != 1 || got[0] != (capture.Calibration{Output: "OUT3", State: capture.NotCalibrated, Gain: 1}) {
		t.Errorf("%+v", got)
	}
}
