package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// The degrees of freedom of a noise are 2·mean²/variance of its square over many draws
// (GUM G.4.1, from memory); that square's mean is the samples' own variance.
func TestShortNoise_DegreesOfFreedom(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for _, n := range []int{10, 40, 200} {
		var sum, squares, stated float64
		const draws = 4000
		for range draws {
			tr := capture.NewTrace("OUT1", capture.Converter{})
			for i := range n {
				tr.Append(capture.Instant(i)*1_000_000, 12+0.1*r.NormFloat64())
			}
			deviation, dof := shortNoise(tr, 0, capture.Instant(n)*1_000_000)
			v := deviation * deviation
			sum, squares, stated = sum+v, squares+v*v, dof
		}
		mean := sum / draws
		if math.Abs(mean-0.01) > 0.0004 {
			t.Errorf("%d samples: variance %g, want 0.01", n, mean)
		}
		if seen := 2 * mean * mean / (squares/draws - mean*mean); stated > 1.1*seen || stated < 0.8*seen {
			t.Errorf("%d samples: %g degrees of freedom stated, %g seen", n, stated, seen)
		}
	}
}

// One sample says nothing of the scatter: its level is anywhere in the tolerance, which
// is 95 % of ± 1 V, and no normal distribution's.
func TestLevelBudget_OneSample(t *testing.T) {
	tr := capture.NewTrace("OUT1", capture.Converter{})
	tr.Append(5, 12)
	m := Meter{plan: &analyze.Plan{}}
	m.row(analyze.Measurement{Value: 12, Limit: analyze.NoLimit()}, levelBudget(tr, levelBetween(tr, 0, 10, 0, 12)))
	if u := m.lastRow().Expanded; math.Abs(u-0.95*leastTolerance) > 1e-3 {
		t.Errorf("U = %g V, want %g V", u, 0.95*leastTolerance)
	}
}
