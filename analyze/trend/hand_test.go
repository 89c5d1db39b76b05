package trend

import (
	"errors"
	"math"
	"testing"
)

func of(t *testing.T, values ...float64) *Series {
	t.Helper()
	return made(t, len(values), func(c int) (float64, Outcome) { return values[c-1], Within })
}

// Figures of few values, worked by hand.
func TestSummary_ByHand(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for _, c := range []struct {
		values         []float64
		mean, sd, lag1 float64
		median, high   float64 // quantiles 0.5 and 0.95
	}{
		{[]float64{7}, 7, nan, nan, 7, 7},
		{[]float64{1, 3}, 2, math.Sqrt2, -0.5, 2, 2.9},
		{[]float64{1, 2, 3}, 2, 1, 0, 2, 2.9},
		{[]float64{1, 3, 2, 4}, 2.5, math.Sqrt(5. / 3), -0.35, 2.5, 3.85},
		{[]float64{4, 4, 4}, 4, 0, nan, 4, 4},
	} {
		s := of(t, c.values...)
		got := s.Summary()
		for name, x := range map[string][2]float64{
			"mean": {got.Mean, c.mean}, "sd": {got.SD, c.sd}, "lag 1": {got.Lag1, c.lag1},
			"median": {s.Quantile(0.5), c.median}, "95 %": {s.Quantile(0.95), c.high}, "100 %": {s.Quantile(1), slicesMax(c.values)},
		} {
			if math.IsNaN(x[0]) != math.IsNaN(x[1]) || math.Abs(x[0]-x[1]) > 1e-12 {
				t.Errorf("%v: %s %g, want %g", c.values, name, x[0], x[1])
			}
		}
	}
}

func slicesMax(x []float64) float64 {
	most := x[0]
	for _, v := range x {
		most = math.Max(most, v)
	}
	return most
}

// A line without noise: slope, change over the run, and Kendall's tau of 1 or -1.
func TestDrift_ByHand(t *testing.T) {
	t.Parallel()
	for _, slope := range []float64{0.25, -0.25} {
		s := made(t, 40, func(c int) (float64, Outcome) { return 3 + slope*float64(c), Within })
		d := s.Summary().Drift
		if math.Abs(d.Slope-1000*slope) > 1e-9 || math.Abs(d.Change-39*slope) > 1e-9 || math.Abs(d.Tau-math.Copysign(1, slope)) > 1e-12 {
			t.Errorf("slope %g: %+v", slope, d)
		}
	}
}

// A state whose counts contradict each other is refused, although its sum is right.
func TestSeries_Unsound(t *testing.T) {
	t.Parallel()
	whole := func() *Series {
		return made(t, 60, func(c int) (float64, Outcome) {
			return float64(c % 7), []Outcome{Within, Outside, Within, Doubtful}[c%4]
		})
	}
	var back Series
	if state, err := whole().MarshalBinary(); err != nil || back.UnmarshalBinary(state) != nil {
		t.Fatal("a sound state is not read back")
	}
	for name, change := range map[string]func(s *Series){
		"missing below 0":             func(s *Series) { s.missing = -1 },
		"skipped below 0":             func(s *Series) { s.skipped = -1 },
		"from below 0":                func(s *Series) { s.from = -1 },
		"to before from":              func(s *Series) { s.to = s.from - 1 },
		"outside below 0":             func(s *Series) { s.failures.outside = -1 },
		"doubtful below 0":            func(s *Series) { s.failures.doubtful = -1 },
		"more decided than judged":    func(s *Series) { s.failures.doubtful = s.failures.judged },
		"rows below 0":                func(s *Series) { s.failures.rows = -1 },
		"more rows than failures":     func(s *Series) { s.failures.rows = s.failures.outside + 1 },
		"a failure after the last":    func(s *Series) { s.failures.at = s.failures.judged + 1 },
		"a streak over the longest":   func(s *Series) { s.failures.streak = s.failures.longest + 1 },
		"the longest over all":        func(s *Series) { s.failures.longest = s.failures.outside + 1 },
		"more values than in blocks":  func(s *Series) { s.moments.n++ },
		"more judged than a run ever": func(s *Series) { s.failures.judged = maxJudged + 1 },
	} {
		s := whole()
		change(s)
		state, err := s.MarshalBinary()
		if err != nil {
			t.Fatal(err)
		}
		if err := back.UnmarshalBinary(state); !errors.Is(err, errState) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
