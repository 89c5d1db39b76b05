package analyze

import (
	"strings"
	"testing"
	"time"

	"makebreak/rig/capture"
)

func TestLeftOut(t *testing.T) {
	s := capture.FromSeconds
	kept := []capture.Span{{From: s(1), To: s(2)}, {From: s(4), To: s(5)}}
	for _, c := range []struct {
		kept     []capture.Span
		from, to float64
		want     time.Duration
	}{
		{kept, 0, 6, 4 * time.Second}, {kept, 1, 2, 0}, {kept, 1.5, 4.5, 2 * time.Second}, {kept, 2, 4, 2 * time.Second},
		{kept, 3, 3, 0}, {kept, 5, 4, 0}, {nil, 0, 6, 0}, {[]capture.Span{}, 0, 6, 6 * time.Second},
	} {
		if got := leftOut(c.kept, s(c.from), s(c.to)); got != c.want {
			t.Errorf("%v of %g to %g s: %v, want %v", c.kept, c.from, c.to, got, c.want)
		}
	}
}

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
	plan := &Plan{Outputs: []OutputPlan{{Signal: "OUT1", Expect: map[string]Expectation{"on": {Demand: High}},
		Limits: Limits{SwitchingDelay: {Upper: 0.5}, Hold: {Upper: 0}, Ripple: {Upper: 0.5}}}}}
	const none = 99
	cut := func(c *capture.Capture) *capture.Capture { return c.Around(100 * time.Millisecond) }
	wholeKept := sampled(2.1, 5, 6.5)
	wholeKept.Kept = []capture.Span{{To: wholeKept.End}}
	for _, x := range []struct {
		name   string
		c      *capture.Capture
		q      Quantity
		want   Verdict
		reason string
	}{
		{"whole", sampled(2.1, none, none), Hold, Pass, ""},
		{"whole", sampled(2.1, none, none), Ripple, Pass, ""},
		{"cut", cut(sampled(2.1, none, none)), SwitchingDelay, Pass, ""},
		{"cut", cut(sampled(2.1, none, none)), Hold, Undecided, samplesLeftOut},
		{"cut", cut(sampled(2.1, none, none)), Ripple, Undecided, samplesLeftOut},
		{"whole, never moved", sampled(none, none, none), SwitchingDelay, Fail, "did not go high"},
		{"cut, never moved", cut(sampled(none, none, none)), SwitchingDelay, Fail, "did not go high"},
		{"whole, gap", sampled(2.1, 5, 6.5), Hold, Undecided, samplesMissing + " for 1.5"},
		{"gap that was not left out", wholeKept, Hold, Undecided, samplesMissing + " for 1.5"},
	} {
		r, err := Measure(plan, x.c)
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, m := range r.Measurements {
			if m.Quantity != x.q || m.Event != "on" {
				continue
			}
			found = true
			if m.Verdict != x.want || !strings.Contains(m.Reason, x.reason) {
				t.Errorf("%s: %s is %s (%s), want %s (%s)", x.name, x.q, m.Verdict, m.Reason, x.want, x.reason)
			}
		}
		if !found {
			t.Errorf("%s: %s is not reported", x.name, x.q)
		}
		for _, s := range r.Symptoms {
			if s.Kind == SamplesMissing != strings.HasPrefix(x.reason, samplesMissing) {
				t.Errorf("%s: symptom %s", x.name, s.Kind)
			}
		}
	}
}

// An output that the plan does not name and that stands still is known to have stood
// still: every excursion would have been kept.
func TestState_CutOthers(t *testing.T) {
	c := sampled(99, 99, 99).Around(100 * time.Millisecond)
	r, err := Measure(&Plan{OthersUnmoved: true}, c)
	if err != nil || len(r.Measurements) == 0 || r.Verdict() != Pass {
		t.Errorf("%+v, %v", r, err)
	}
}
