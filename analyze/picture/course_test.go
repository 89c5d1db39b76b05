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

// Another run's course lies behind, is named, and widens the drawing where it goes on for longer
// or lies off.
func TestCourse_Behind(t *testing.T) {
	t.Parallel()
	band := func(first, last int, median float64) picture.Spread {
		return picture.Spread{First: first, Last: last, Values: [5]float64{median - 0.2, median - 0.1, median, median + 0.1, median + 0.2}}
	}
	c := &picture.Course{Heading: "K1 operate time", Unit: "ms", First: 1, Last: 1000, Bands: []picture.Spread{band(1, 500, 5), band(501, 1000, 5.1)}}
	drawn := func() []string {
		t.Helper()
		var b strings.Builder
		if err := c.Inline(&b); err != nil {
			t.Fatal(err)
		}
		return texts(t, b.String())
	}
	if all := drawn(); slices.Contains(all, "8") || slices.Contains(all, "3\u2009000") {
		t.Errorf("alone: %q", all)
	}
	c.Behind = &picture.Behind{Bands: []picture.Spread{band(1, 1500, 8), band(1501, 3000, 8)}, Words: "dashed: run 7"}
	for _, want := range []string{"dashed: run 7", "8", "3\u2009000"} {
		if all := drawn(); !slices.Contains(all, want) {
			t.Errorf("the picture does not say %q: %q", want, all)
		}
	}
	c.Behind = &picture.Behind{Values: []picture.Place{{Cycle: 3, Value: 8}, {Cycle: 9, Value: 8}}, Words: "run 8"}
	if all := drawn(); !slices.Contains(all, "run 8") || !slices.Contains(all, "8") {
		t.Errorf("dots: %q", all)
	}
}
