package record

import (
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// A message names some spans of cycles and counts the rest.
func TestCyclesText(t *testing.T) {
	var many []analyze.Cycles
	for n := 10; n <= 200; n += 10 {
		many = append(many, analyze.Cycles{First: n, Last: n})
	}
	for want, spans := range map[string][]analyze.Cycles{
		"cycle 3":                        {{First: 3, Last: 3}},
		"cycles 1 to 5":                  {{First: 1, Last: 5}},
		"cycles 1 to 2, 10 and 20 to 21": {{First: 1, Last: 2}, {First: 10, Last: 10}, {First: 20, Last: 21}},
		"cycles 10, 20, 30, 40, 50, 60, 70, 80 and 12 more up to 200": many,
	} {
		if got := cyclesText(spans); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// Captures with and without gaps are told by what they left out.
func TestLeftOut(t *testing.T) {
	c := capture.Capture{End: capture.FromSeconds(3), Kept: []capture.Span{{To: capture.FromSeconds(1)}, {From: capture.FromSeconds(2.5), To: capture.FromSeconds(3)}}}
	if got := leftOut(&c); got != 1500*time.Millisecond {
		t.Errorf("%v were left out", got)
	}
}
