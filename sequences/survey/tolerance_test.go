package survey

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Factors of ISO 16269-6 (two-sided, unknown mean and deviation; tables from memory, as in
// R. E. Odeh and D. B. Owen, Tables for Normal Tolerance Limits, 1980), and the example of the
// NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3, for Howe's approximation (from
// memory: 43 figures, 90 % with 99 %, 2.2173).
func TestFactor_Published(t *testing.T) {
	for _, c := range []struct {
		n                    int
		coverage, confidence float64
		want                 float64
	}{
		{2, 0.95, 0.95, 36.519}, {3, 0.95, 0.95, 9.789}, {4, 0.95, 0.95, 6.341}, {5, 0.95, 0.95, 5.077}, {6, 0.95, 0.95, 4.422},
		{8, 0.95, 0.95, 3.746}, {10, 0.95, 0.95, 3.393}, {20, 0.95, 0.95, 2.760}, {50, 0.95, 0.95, 2.382},
	} {
		if got := Factor(c.n, c.coverage, c.confidence); math.Abs(got-c.want) > 1e-3 {
			t.Errorf("n %d: %.4f, published %.3f", c.n, got, c.want)
		}
	}
	if got := howe(43, 0.9, 0.99); math.Abs(got-2.2173) > 1e-3 {
		t.Errorf("Howe: %.4f, published 2.2173", got)
	}
}

// The interval holds its share as often as it says, for figures drawn by another way.
func TestFactor_Drawn(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const draws, coverage, confidence = 4000, 0.9, 0.95
	for _, n := range []int{3, 12} {
		held, k := 0, Factor(n, coverage, confidence)
		for range draws {
			values := make([]float64, n)
			for i := range values {
				values[i] = 7 + 3*rng.NormFloat64()
			}
			s := spreadOf(values, nil)
			low, high := s.Mean-k*s.Deviation, s.Mean+k*s.Deviation
			share := (math.Erf((high-7)/3/math.Sqrt2) - math.Erf((low-7)/3/math.Sqrt2)) / 2
			if share >= coverage {
				held++
			}
		}
		if got := float64(held) / draws; math.Abs(got-confidence) > 4*math.Sqrt(confidence*(1-confidence)/draws) {
			t.Errorf("n %d: holds its share in %.3f of the draws, says %.2f", n, got, confidence)
		}
	}
}
