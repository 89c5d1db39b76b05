package diagnose

import (
	"math"
	"testing"

	"makebreak/analyze"
)

// The oldest logs do not say how long a contact was watched after its last edge.
func TestReason_StillBouncing(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		after float64
		want  string
	}{
		{0.0132, "still bouncing when the step ended, 13.2 ms after the last edge: the true value may be higher"},
		{math.NaN(), "still bouncing when the step ended: the true value may be higher"},
	} {
		m := analyze.Measurement{Value: 0.004, Doubts: []analyze.Doubt{{Code: analyze.StillBouncing, Value: tc.after}}}
		if got := Reason(&m); got != tc.want {
			t.Errorf("after %v s: %q, want %q", tc.after, got, tc.want)
		}
	}
}
