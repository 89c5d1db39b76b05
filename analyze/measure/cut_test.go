package measure_test

import (
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
)

// The words of two doubts begin so.
const (
	leftOutText = "samples were left out"
	missingText = "samples are missing"
)

// sampled is an output that goes high after on seconds, sampled every millisecond for
// ten seconds but for a time, with the event at 2 s.
func sampled(on, gapFrom, gapTo float64) *capture.Capture {
	tr := capture.NewTrace("OUT1", capture.Converter{StepVolts: 0.001})
	for i := range 10_001 {
		at, v := float64(i)*1e-3, 0.1
		if at >= on {
			v = 12.1
		}
		if at < gapFrom || at >= gapTo {
			tr.Append(capture.FromSeconds(at), v+0.001*float64(i%3))
		}
	}
	return &capture.Capture{End: capture.FromSeconds(10), Traces: []*capture.Trace{tr},
		Events: []capture.Event{{Name: "on", At: capture.FromSeconds(2)}}}
}

// Of a capture that is cut to what happened, an output that never moved has failed,
// though its samples end soon; one that moved keeps its state as far as is known; and
// samples that are missing where they should have been kept are missing.
func TestState_CutCapture(t *testing.T) {
	plan := &analyze.Plan{Outputs: []analyze.OutputPlan{{Signal: "OUT1", Expect: map[string]analyze.Expectation{"on": {Demand: analyze.High}},
		Limits: analyze.Limits{analyze.SwitchingDelay: {Upper: 0.5}, analyze.Hold: {Upper: 0}, analyze.Ripple: {Upper: 0.5}}}}}
	const none = 99
	cut := func(c *capture.Capture) *capture.Capture { return c.Around(100 * time.Millisecond) }
	wholeKept := sampled(2.1, 5, 6.5)
	wholeKept.Kept = []capture.Span{{To: wholeKept.End}}
	for _, x := range []struct {
		name   string
		c      *capture.Capture
		q      analyze.Quantity
		want   analyze.Verdict
		reason string
	}{
		{"whole", sampled(2.1, none, none), analyze.Hold, analyze.Pass, ""},
		{"whole", sampled(2.1, none, none), analyze.Ripple, analyze.Pass, ""},
		{"cut", cut(sampled(2.1, none, none)), analyze.SwitchingDelay, analyze.Pass, ""},
		{"cut", cut(sampled(2.1, none, none)), analyze.Hold, analyze.Undecided, leftOutText},
		{"cut", cut(sampled(2.1, none, none)), analyze.Ripple, analyze.Undecided, leftOutText},
		{"whole, never moved", sampled(none, none, none), analyze.SwitchingDelay, analyze.Fail, "did not go high"},
		{"cut, never moved", cut(sampled(none, none, none)), analyze.SwitchingDelay, analyze.Fail, "did not go high"},
		{"whole, gap", sampled(2.1, 5, 6.5), analyze.Hold, analyze.Undecided, missingText + " for 1.5"},
		{"gap that was not left out", wholeKept, analyze.Hold, analyze.Undecided, missingText + " for 1.5"},
	} {
		r, err := diagnose.Examine(plan, x.c)
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, m := range r.Measurements {
			if m.Quantity != x.q || m.Event != "on" {
				continue
			}
			found = true
			if m.Verdict != x.want || !strings.Contains(diagnose.Reason(&m), x.reason) {
				t.Errorf("%s: %s is %s (%s), want %s (%s)", x.name, x.q, m.Verdict, diagnose.Reason(&m), x.want, x.reason)
			}
		}
		if !found {
			t.Errorf("%s: %s is not reported", x.name, x.q)
		}
		for _, s := range r.Symptoms {
			if s.Kind == analyze.SamplesMissing != strings.HasPrefix(x.reason, missingText) {
				t.Errorf("%s: symptom %s", x.name, s.Kind)
			}
		}
	}
}

// An output that the plan does not name and that stands still is known to have stood
// still: every excursion would have been kept.
func TestState_CutOthers(t *testing.T) {
	c := sampled(99, 99, 99).Around(100 * time.Millisecond)
	r, err := diagnose.Examine(&analyze.Plan{OthersUnmoved: true}, c)
	if err != nil || len(r.Measurements) == 0 || r.Verdict() != analyze.Pass {
		t.Errorf("%+v, %v", r, err)
	}
}
