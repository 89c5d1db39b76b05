package measure

import (
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
