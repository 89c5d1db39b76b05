package progress

import (
	"testing"
	"time"

	"makebreak/analyze"
)

// What is known is told, and the event goes where there is no room.
func TestStatus(t *testing.T) {
	t.Parallel()
	start := time.Date(2031, 4, 5, 9, 30, 0, 0, time.UTC)
	s := &status{}
	want := func(columns int, text string) {
		t.Helper()
		if got := s.text(columns); got != text {
			t.Errorf("%q, want %q", got, text)
		}
	}
	s.begin(4000, start)
	s.happened(1, "arm-away")
	want(80, "cycle 1 of 4000, arm-away")
	s.ended(analyze.Pass, start.Add(12*time.Second))
	s.happened(2, "arm-away\x1b")
	want(80, `cycle 2 of 4000, last pass, 5 cycles/min, 13 h 20 min left, arm-away\x1b`)
	want(60, "cycle 2 of 4000, last pass, 5 cycles/min, 13 h 20 min left")
	s.ended(analyze.Fail, start.Add(24*time.Second))
	at := start.Add(100 * time.Hour) // the rig was lost
	for n := range 100 {
		s.happened(3+n, "disarm")
		s.ended(analyze.Undecided, at.Add(time.Duration(n)*250*time.Millisecond))
	}
	want(80, "cycle 102 of 4000, last undecided, 1 failed, 4 cycles/s, 17 min left, disarm")
}

func TestRateWords(t *testing.T) {
	t.Parallel()
	for perSecond, want := range map[float64]string{1234: "1234 cycles/s", 3.14159: "3.14 cycles/s", 0.5: "30 cycles/min", 0.005: "18 cycles/h"} {
		if got := rateWords(perSecond); got != want {
			t.Errorf("%v: %q, want %q", perSecond, got, want)
		}
	}
}
