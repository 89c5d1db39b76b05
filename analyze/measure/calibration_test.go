package measure_test

import (
	"math"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
)

// behindCalibration is an output and a relay behind it, read through a calibration in a
// state: it is high at 13 V with hum from 1 s to 2 s, and the relay follows.
func behindCalibration(t *testing.T, plan *analyze.Plan, c capture.Calibration) (analyze.Result, string) {
	t.Helper()
	d := draw(3).output("OUT1", 860, func(at float64) float64 {
		if at < 1 || at > 2 {
			return 0.5
		}
		return 13
	}).event("on", 0.995).event("off", 1.995).contact("K1_NO", false, 1.006, 2.004).contact("K1_NC", true, 1.003, 2.007)
	d.Traces[0].Converter.Doubts = []capture.Doubt{{Source: capture.MeterAccuracy, Distribution: capture.Rectangular, Relative: 0.001}}
	x, err := diagnose.NewExaminer(plan, d.Capture)
	if err != nil {
		t.Fatal(err)
	}
	x.SetCalibrations([]capture.Calibration{c})
	for i, e := range d.Events {
		to := d.End + 1
		if i+1 < len(d.Events) {
			to = d.Events[i+1].At
		}
		x.State(d.Capture, e, to)
	}
	r := x.Take()
	wellFormed(t, r)
	var texts []string
	for _, f := range diagnose.Findings(plan, r.Symptoms, 1) {
		texts = append(texts, f.Text)
	}
	return r, strings.Join(texts, "\n")
}

// A figure that rests on an overdue calibration, or on one dated in the future, neither
// passes nor fails; a figure of time, and one without a limit, stays as it is. In date, and
// where an overdue one is judged, all is as it was.
func TestCalibration_Doubted(t *testing.T) {
	plan := relayPlan()
	plan.Outputs[0].Limits = analyze.Limits{analyze.HighLevel: atLeast(12), analyze.LowLevel: atMost(0.2), analyze.SwitchingDelay: atMost(0.1)}
	plan.Relays[0].Limits[analyze.PullInMargin], plan.Relays[0].Limits[analyze.DropOutMargin] = atLeast(1), atLeast(1)
	rests := []figure{ // passes, fails and those of the relay
		{"on", "OUT1", analyze.HighLevel, 13, 0.01, analyze.Pass},
		{"off", "OUT1", analyze.LowLevel, 0.5, 0.01, analyze.Fail},
		{"on", "K1", analyze.PullInMargin, 4, 0.01, analyze.Pass},
		{"off", "K1", analyze.DropOutMargin, 0.7, 0.01, analyze.Fail},
	}
	for _, c := range []struct {
		state  capture.CalibrationState
		judged bool
		code   analyze.DoubtCode // empty: nothing is doubted
		reason string
		says   string
	}{
		{capture.InDate, false, "", "", ""},
		{capture.Overdue, true, "", "", ""},
		{capture.Overdue, false, analyze.CalibrationOverdue, "the calibration of OUT1 was overdue: calibrate it again", "The calibration of OUT1 is overdue"},
		{capture.InFuture, false, analyze.CalibrationInFuture, "the calibration of OUT1 is dated in the future: check the clock", "The calibration of OUT1 is dated in the future"},
		{capture.InFuture, true, analyze.CalibrationInFuture, "the calibration of OUT1 is dated in the future", "The calibration of OUT1 is dated in the future"},
	} {
		r, findings := behindCalibration(t, plan, capture.Calibration{Output: "OUT1", State: c.state, Judged: c.judged})
		for _, f := range rests {
			x := rowsOf(r, f.event, f.signal, f.q)[0]
			if c.code == "" {
				f.check(t, r)
				continue
			}
			f.verdict = analyze.Undecided
			f.check(t, r)
			if !x.Has(c.code) || !strings.Contains(diagnose.Reason(&x), c.reason) || !(x.Expanded > 0) || !math.IsNaN(x.Conformance) {
				t.Errorf("%s: %s of %s: %+v: %s", c.state, f.q, f.signal, x, diagnose.Reason(&x))
			}
		}
		for _, f := range []figure{{"on", "OUT1", analyze.SwitchingDelay, 5e-3, 2e-3, analyze.Pass}, {"on", "K1", analyze.OperateTime, 6e-3, 2e-3, analyze.Pass}} {
			f.check(t, r)
		}
		for _, x := range r.Measurements {
			if x.Limit.None() && (x.Verdict != analyze.NoVerdict && x.Quantity != analyze.Hold || x.Has(analyze.CalibrationOverdue)) {
				t.Errorf("%s: no limit: %+v", c.state, x)
			}
		}
		if c.says != "" {
			says(t, findings, c.says)
		}
	}
}

// A calibration of another output, and one that is not applied, take nothing back.
func TestCalibration_NotDoubted(t *testing.T) {
	plan := relayPlan()
	plan.Outputs[0].Limits = analyze.Limits{analyze.HighLevel: atLeast(12)}
	for _, c := range []capture.Calibration{{Output: "OUT2", State: capture.Overdue}, {Output: "OUT1", State: capture.NotCalibrated}, {Output: "OUT1", State: capture.OtherBench}} {
		r, _ := behindCalibration(t, plan, c)
		figure{"on", "OUT1", analyze.HighLevel, 13, 0.01, analyze.Pass}.check(t, r)
	}
}

// What a ramp gave a relay is not sure, either: that it did not move is no failure then.
func TestCalibration_Ramp(t *testing.T) {
	for state, want := range map[capture.CalibrationState]analyze.Verdict{capture.InDate: analyze.Fail, capture.Overdue: analyze.Undecided} {
		d := draw(31).output("OUT1", 860, ramp).event("rise", 1).contact("K1_NO", false).contact("K1_NC", true)
		d.Traces[0].Converter.Doubts = []capture.Doubt{{Source: capture.MeterAccuracy, Distribution: capture.Rectangular, Relative: 0.001}}
		plan := rampPlan()
		x, err := diagnose.NewExaminer(plan, d.Capture)
		if err != nil {
			t.Fatal(err)
		}
		x.SetCalibrations([]capture.Calibration{{Output: "OUT1", State: state}})
		x.State(d.Capture, d.Events[0], d.End+1)
		r := x.Take()
		rows := rowsOf(r, "rise", "K1", analyze.PullInVoltage)
		if len(rows) != 1 || rows[0].Verdict != want || rows[0].Has(analyze.CalibrationOverdue) != (want == analyze.Undecided) || r.Verdict() != want {
			t.Errorf("%s: %+v, %+v", state, rows, r.Symptoms)
		}
	}
}
