package capture

import (
	"math"
	"testing"
)

// An instant is whole nanoseconds, the nearest ones.
func TestFromSeconds(t *testing.T) {
	for s, want := range map[float64]Instant{0: 0, 1: 1_000_000_000, 1.5e-3: 1_500_000, -2e-9: -2, 0.6e-9: 1, 0.4e-9: 0, 86400.25: 86_400_250_000_000} {
		got := FromSeconds(s)
		if got != want || math.Abs(got.Seconds()-s) > 0.5e-9 {
			t.Errorf("%g s is %d ns, want %d", s, got, want)
		}
	}
}
