package runner_test

import (
	"context"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/sequences/runner"
)

// A soak that passes the day on which a calibration falls due is judged by each cycle's
// beginning: what rests on it is undecided from that day on, and the change is stored with
// the first cycle that it holds for. Here a cycle begins every 12 hours.
func TestRun_CalibrationFallsDue(t *testing.T) {
	seq, err := sequences.Load(t.Context(), "relay-only")
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2026, 3, 30, 6, 0, 0, 0, time.FixedZone("east", 5*3600))
	for _, c := range []struct {
		name   string
		known  capture.Calibration
		states []capture.CalibrationState // of cycles 1 to 5
		doubts []analyze.DoubtCode
	}{
		{"falls due", capture.Calibration{Made: "2025-03-31", Due: "2026-03-31"},
			[]capture.CalibrationState{capture.InDate, capture.InDate, capture.Overdue, capture.Overdue, capture.Overdue},
			[]analyze.DoubtCode{"", "", analyze.CalibrationOverdue, analyze.CalibrationOverdue, analyze.CalibrationOverdue}},
		{"judged", capture.Calibration{Made: "2025-03-31", Due: "2026-03-31", Judged: true},
			[]capture.CalibrationState{capture.InDate, capture.InDate, capture.Overdue, capture.Overdue, capture.Overdue}, make([]analyze.DoubtCode, 5)},
		{"in the future at first", capture.Calibration{Made: "2026-04-01", Due: "2027-03-31"},
			[]capture.CalibrationState{capture.InFuture, capture.InFuture, capture.InFuture, capture.InFuture, capture.InDate},
			[]analyze.DoubtCode{analyze.CalibrationInFuture, analyze.CalibrationInFuture, analyze.CalibrationInFuture, analyze.CalibrationInFuture, ""}},
	} {
		c.known.Output, c.known.State, c.known.Meter, c.known.Gain = "COIL", capture.InDate, "4711", 1
		rig := rigfile.Builtin()[1]
		rig.Correct("COIL", &wiring.Correction{Gain: 1, Doubts: []capture.Doubt{{Source: capture.MeterAccuracy, Distribution: capture.Rectangular, Relative: 0.001}}})
		w, set := simulated(t, rig, sim.Opts{Seed: 1})
		b, err := bench.Open(rig, w.Bus(), set, bench.Opts{})
		if err != nil {
			t.Fatal(err)
		}
		s, n := &shelf{after: 1000}, 0
		o := opts(5, s)
		o.Calibrations = []capture.Calibration{c.known, {Output: "ELSEWHERE", State: capture.NotCalibrated}}
		o.Now = func() time.Time { n++; return start.Add(time.Duration(n-1) * 12 * time.Hour) }
		if _, err := runner.Run(context.Background(), b, seq, o); err != nil {
			t.Fatal(err)
		}
		if err := b.Close(); err != nil {
			t.Error(err)
		}
		for i, stored := range s.cycles {
			if len(stored.Calibrations) != 1 || stored.Calibrations[0].State != c.states[i] {
				t.Errorf("%s, cycle %d: %+v, want the state %s", c.name, i+1, stored.Calibrations, c.states[i])
			}
			want := analyze.Pass
			if c.doubts[i] != "" {
				want = analyze.Undecided
			}
			if stored.Verdict != want {
				t.Errorf("%s, cycle %d: %s, want %s", c.name, i+1, stored.Verdict, want)
			}
			for _, m := range stored.Measurements {
				if m.Quantity == analyze.PullInMargin && (m.Verdict != want || c.doubts[i] != "" && !m.Has(c.doubts[i])) {
					t.Errorf("%s, cycle %d: %+v", c.name, i+1, m)
				}
			}
		}
	}
}
