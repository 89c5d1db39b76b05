package trend

import "testing"

// Before the middle the steepest slope gives the lower bound, after it the upper one. The
// slopes' bounds are not equally far off.
func TestLine_At(t *testing.T) {
	l := Line{Cycle: 10, Value: 1, SD: 0, Slope: 1, Lower: 0.5, Upper: 3}
	for _, c := range []struct{ cycle, value, lower, upper float64 }{
		{8, -1, -5, 0}, {10, 1, 1, 1}, {12, 3, 2, 7},
	} {
		if value, lower, upper := l.At(c.cycle); value != c.value || lower != c.lower || upper != c.upper {
			t.Errorf("at cycle %g: %g, %g to %g, want %g, %g to %g", c.cycle, value, lower, upper, c.value, c.lower, c.upper)
		}
	}
}
