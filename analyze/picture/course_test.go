package picture_test

import (
	"io"
	"slices"
	"strings"
	"testing"

	"makebreak/analyze/picture"
)

func TestCourse_Inline(t *testing.T) {
	t.Parallel()
	c := &picture.Course{Heading: "K1 operate time at <energize>", Unit: "ms", First: 1, Last: 3000,
		Limits: []picture.Limit{{Value: 6, Upper: true, Words: "max 6 ms"}, {Value: 60, Words: "far away"}}}
	for n := range 300 {
		c.Values = append(c.Values, picture.Place{Cycle: float64(1 + 10*n), Value: 5 + float64(n)/500})
	}
	c.Fits = []picture.Fit{{Line: []picture.Place{c.Values[0], c.Values[299]}, Words: "drift"}}
	var b strings.Builder
	if err := c.Inline(&b); err != nil {
		t.Fatal(err)
	}
	all := texts(t, b.String())
	for _, want := range []string{"K1 operate time at <energize>", "ms", "cycle", "1\u2009000", "5.5", "max 6 ms", "drift", "far away lies above"} {
		if !slices.Contains(all, want) {
			t.Errorf("the picture does not say %q: %q", want, all)
		}
	}
	for _, no := range []string{"http", "NaN"} {
		if strings.Contains(b.String(), no) {
			t.Errorf("the picture holds %q", no)
		}
	}
	for _, bare := range [][]picture.Place{nil, {{Cycle: 1, Value: 5}}} {
		if err := (&picture.Course{Values: bare}).Inline(io.Discard); err == nil {
			t.Errorf("%d values are drawn", len(bare))
		}
	}
}
