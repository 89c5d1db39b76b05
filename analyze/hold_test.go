package analyze_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// TestHold_Means: an output that falls to 0 V for a while, seen as means over conversions, is
// away for as long as it is, whatever the phase: a conversion that only touches the fall is out
// as well and must not count whole. The truth is the drawing's own.
func TestHold_Means(t *testing.T) {
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
			got, err := analyze.Measure(nil, &capture.Capture{End: capture.FromSeconds(2), Traces: []*capture.Trace{tr},
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
