package measure_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	"makebreak/testdata/few"
)

// TestHold_Means: an output that falls to 0 V for a while, seen as means over conversions, is
// away for as long as it is, whatever the phase: a conversion that only touches the fall is out
// as well and must not count whole. The truth is the drawing's own.
func TestHold_Means(t *testing.T) {
	few.Skip(t)
	span := 1.0 / 860
	for _, period := range []float64{span, 1.6 * span} {
		r := rand.New(rand.NewPCG(7, 8))
		held, sum := 0, 0.0
		const n = 300
		for range n {
			from := 1.5 + r.Float64()*period
			away := (2.5 + 20*r.Float64()) * period
			area := func(t float64) float64 { // under a step at 1 s and a fall
				return math.Max(0, t-1) - math.Min(away, math.Max(0, t-from))
			}
			tr := capture.NewTrace("OUT3", capture.Converter{StepVolts: 0.6e-3, Span: time.Duration(span * 1e9)})
			for end := r.Float64() * period; end < 2; end += period {
				tr.Append(capture.FromSeconds(end), 12.6*(area(end)-area(end-span))/span+1e-3*r.NormFloat64())
			}
			got, err := diagnose.Examine(nil, &capture.Capture{End: capture.FromSeconds(2), Traces: []*capture.Trace{tr},
				Events: []capture.Event{{Name: "arm-away", At: capture.FromSeconds(0.9)}}})
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range got.Measurements {
				if m.Quantity == analyze.Hold && m.Event == "arm-away" {
					sum += m.Value - away
					if math.Abs(m.Value-away) <= m.Expanded {
						held++
					}
				}
			}
		}
		if held < 93*n/100 || math.Abs(sum/n) > 0.1*period {
			t.Errorf("every %.3g ms: %d of %d hold the time away, %.3g ms too long in the mean", 1e3*period, held, n, 1e3*sum/n)
		}
	}
}

// TestHold_Moves: an output that leaves its state and comes back was away for as long as it was,
// wherever in the state that was, and also where no limit is set to it. The truth is the
// drawing's own.
func TestHold_Moves(t *testing.T) {
	switched := func(at, away float64) func(float64) float64 { return levels(0.1, 1.1, 12.6, at, 0.1, at+away, 12.6) }
	for name, tc := range map[string]struct {
		expect analyze.Expectation
		v      func(float64) float64
		away   float64
		want   analyze.Verdict
	}{
		"unmoved, stands":                {unmoved, levels(0.1), 0, analyze.Pass},
		"unmoved, spike at once":         {unmoved, levels(0.1, 1.01, 12.6, 1.015, 0.1), 0.005, analyze.Fail},
		"unmoved, spike late":            {unmoved, levels(0.1, 2.5, 12.6, 2.52, 0.1), 0.02, analyze.Fail},
		"unmoved, two of them":           {unmoved, levels(0.1, 1.5, 12.6, 1.6, 0.1, 2, 12.6, 2.05, 0.1), 0.1, analyze.Fail},
		"unmoved, goes and stays":        {unmoved, levels(0.1, 1.1003, 12.6), 2.8997, analyze.Fail},
		"high, stays":                    {goHigh, levels(0.1, 1.1, 12.6), 0, analyze.Pass},
		"high, bounces when it switches": {goHigh, switched(1.104, 0.004), 0, analyze.Pass},
		"high, drops out soon after":     {goHigh, switched(1.15, 0.02), 0.02, analyze.Fail},
		"high, drops out later":          {goHigh, switched(2.5, 0.02), 0.02, analyze.Fail},
	} {
		t.Run(name, func(t *testing.T) {
			plan := outputPlan(nil, map[string]analyze.Expectation{"on": tc.expect})
			r, _ := measured(t, plan, draw(4).output("OUT1", 1000, tc.v).event("on", 1))
			if got := r.Verdict(); got != tc.want {
				t.Errorf("verdict %q, want %q", got, tc.want)
			}
			hold := rowsOf(r, "on", "OUT1", analyze.Hold)[0]
			if d := math.Abs(hold.Value - tc.away); !(d <= 1e-9 || d <= hold.Expanded) {
				t.Errorf("away for %g s ± %g s, truth %g s", hold.Value, hold.Expanded, tc.away)
			}
		})
	}
}
