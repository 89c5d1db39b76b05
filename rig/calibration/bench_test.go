package calibration_test

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/calibration"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// record samples OUT3 of the built-in simulated bench for a while, low or high, and
// returns what its terminal really carries.
func record(t *testing.T, rig *wiring.Rig, seed uint64, high bool) (*capture.Trace, float64) {
	t.Helper()
	w, err := sim.NewWorld(rig, sim.Opts{Seed: seed, Initial: map[string]bool{"OUT3": high}})
	if err != nil {
		t.Fatal(err)
	}
	lines, err := w.Lines(bench.Requests(rig))
	if err != nil {
		t.Fatal(err)
	}
	b, err := bench.Open(rig, w.Bus(), lines, bench.Opts{Outputs: []string{"OUT3"}})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Record(context.Background(), c, b.Now().Add(500*time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	truth := w.Truth().Output("OUT3")
	if high {
		return c.Traces[0], truth.High
	}
	return c.Traces[0], truth.Low
}

// uncertainty is the expanded uncertainty of a reading by a trace's doubts, in volts.
func uncertainty(doubts []capture.Doubt, volts float64) float64 {
	sum := 0.0
	for _, d := range doubts {
		u := d.Relative*volts + d.Volts
		if d.Distribution == capture.Rectangular {
			u /= math.Sqrt(3)
		}
		sum += u * u
	}
	return 1.96 * math.Sqrt(sum)
}

// On simulated benches with resistors, gain and offset drawn within their tolerance,
// calibrated against what their terminals really carry as a meter of 0.05 % would show
// it, levels agree with the truth within an uncertainty that has become several times
// smaller; without calibration most of them would not.
func TestCalibrate_simulatedBench(t *testing.T) {
	accuracy, err := calibration.ParseAccuracy("0.05 % + 2 digits")
	if err != nil {
		t.Fatal(err)
	}
	today := calibration.DayOf(time.Date(2026, 3, 31, 12, 0, 0, 0, time.UTC))
	outside := 0
	for seed := uint64(1); seed <= 20; seed++ {
		rig := rigfile.Builtin()[0]
		c := calibration.Calibration{Output: "OUT3", Meter: "4711", Date: today, Due: today.YearLater(), Wiring: calibration.Wiring(rig, "OUT3", seed)}
		for _, high := range []bool{false, true} {
			tr, truth := record(t, rig, seed, high)
			p, err := calibration.Mean(tr, 15)
			if err != nil {
				t.Fatal(err)
			}
			p.Accuracy = accuracy
			if p.Meter, err = calibration.ParseReading(fmt.Sprintf("%.3f V", truth)); err != nil {
				t.Fatal(err)
			}
			c.Points = append(c.Points, p)
		}
		done, err := calibration.New(rig, c, today)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		f := &calibration.File{Rig: rig.Name, Calibrations: []*calibration.Calibration{done}}
		if got := f.Warnings(rig, f.Apply(rig, today, seed+100)); len(got) != 1 || len(rig.Corrections) > 0 {
			t.Fatalf("a bench of another seed: warnings %q, corrected by %v", got, rig.Corrections)
		}
		if got := f.Warnings(rig, f.Apply(rig, today, seed)); len(got) > 0 || len(rig.Corrections) != 1 {
			t.Fatalf("warnings %q, corrected by %v", got, rig.Corrections)
		}
		for _, high := range []bool{false, true} {
			before, truth := record(t, rig.Uncorrected(), seed, high)
			after, _ := record(t, rig, seed, high)
			old, err := calibration.Mean(before, 15)
			if err != nil {
				t.Fatal(err)
			}
			level, err := calibration.Mean(after, 15)
			if err != nil {
				t.Fatal(err)
			}
			small, large := uncertainty(after.Converter.Doubts, truth), uncertainty(before.Converter.Doubts, truth)
			if math.Abs(level.ReadVolts-truth) > small {
				t.Errorf("seed %d: %.4f V is off the true %.4f V by more than ± %.4f V", seed, level.ReadVolts, truth, small)
			}
			if high && small > large/3 {
				t.Errorf("seed %d: known to ± %.4f V calibrated, to ± %.4f V before", seed, small, large)
			}
			if math.Abs(old.ReadVolts-truth) > small {
				outside++
			}
			if seed <= 3 {
				t.Logf("seed %d: truth %.4f V; uncalibrated %.4f ± %.4f V, calibrated %.4f ± %.4f V", seed, truth, old.ReadVolts, large, level.ReadVolts, small)
			}
		}
	}
	if outside < 10 {
		t.Errorf("only %d of 40 uncalibrated levels lie outside the calibrated uncertainty: the test shows nothing", outside)
	}
}
