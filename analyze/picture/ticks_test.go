package picture

import (
	"slices"
	"testing"

	"makebreak/rig/words"
)

func TestTicksOf(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		low, high float64
		want      string
	}{
		{0, 100, "0, 20, 40, 60, 80, 100"},
		{0, 60, "0, 10, 20, 30, 40, 50, 60"},
		{1, 3000, "500, 1\u2009000, 1\u2009500, 2\u2009000, 2\u2009500, 3\u2009000"},
		{4.9, 5.3, "4.9, 5.0, 5.1, 5.2, 5.3"},
		{-0.25, 0.25, "-0.2, -0.1, 0.0, 0.1, 0.2"},
		{12.001, 12.004, "12.0010, 12.0015, 12.0020, 12.0025, 12.0030, 12.0035, 12.0040"},
		{-3000, 0, "-3000, -2500, -2000, -1500, -1000, -500, 0"},
		{0, 1e-7, "0.00000000, 0.00000002, 0.00000004, 0.00000006, 0.00000008, 0.00000010"},
	} {
		if got := words.List(words.Texts(ticksOf(c.low, c.high), func(k tick) string { return k.label })); got != c.want {
			t.Errorf("%g to %g: %s, want %s", c.low, c.high, got, c.want)
		}
	}
}

func TestOneTwoFive(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		from, to float64
		want     []float64
	}{
		{1, 10, []float64{1, 2, 5, 10}},
		{0.3, 0.6, []float64{0.5}},
		{60, 90, nil},
		{2, 2, []float64{2}},
	} {
		got := oneTwoFive(c.from, c.to)
		if !slices.EqualFunc(got, c.want, func(a, b float64) bool { return a/b < 1+1e-12 && b/a < 1+1e-12 }) {
			t.Errorf("%g to %g: %v, want %v", c.from, c.to, got, c.want)
		}
	}
}
