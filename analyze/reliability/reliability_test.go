package reliability

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	_ "makebreak/testdata/fixedseed"
)

func contains(lines []string, word string) bool {
	return slices.ContainsFunc(lines, func(s string) bool { return strings.Contains(s, word) })
}

// running are boards stopped without a failure.
func running(n int, cycles float64) []Unit {
	return slices.Repeat([]Unit{{Cycles: cycles}}, n)
}

func failedAt(cycles ...float64) []Unit {
	var out []Unit
	for _, c := range cycles {
		out = append(out, Unit{Cycles: c, Failed: true})
	}
	return out
}

func TestRefused(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	good := failedAt(10, 20, 30)
	claim := Claim{Share: 0.1, Cycles: 1000, Shape: 2, Confidence: 0.9}
	with := func(f func(*Claim)) Claim { c := claim; f(&c); return c }
	for name, err := range map[string]error{
		"confidence 95":         second(ProportionOf(0, 10, 95)),
		"confidence NaN":        second(FitWeibull(good, nan)),
		"more failed than ran":  second(ProportionOf(11, 10, 0.95)),
		"no cycles":             second(ProportionOf(0, 0, 0.95)),
		"no total":              second(ExponentialOf(0, 0, 0.95)),
		"negative failures":     second(ExponentialOf(-1, 10, 0.95)),
		"no boards":             second(FitWeibull(nil, 0.9)),
		"cycles 0":              second(FitWeibull(failedAt(0, 5), 0.9)),
		"infinite cycles":       second(Points(failedAt(inf))),
		"NaN cycles":            second(Points(failedAt(nan))),
		"no failures":           second(FitWeibull(running(3, 100), 0.9)),
		"all at once":           second(FitWeibull(failedAt(5, 5, 5), 0.9)),
		"shape 0":               second(WeibayesOf(good, 0, 0.9)),
		"share 1":               second(SampleSize(1, 0.9, 0)),
		"allowed -1":            second(SampleSize(0.9, 0.9, -1)),
		"too many boards":       second(SampleSize(1-1e-12, 0.9, 0)),
		"claim share":           second(with(func(c *Claim) { c.Share = 1 }).Boards(10)),
		"claim shape":           second(with(func(c *Claim) { c.Shape = -1 }).CyclesEach(10)),
		"too short a test":      second(with(func(c *Claim) { c.Shape = 20 }).Boards(1)),
		"no boards but allowed": second(with(func(c *Claim) { c.Allowed = 3 }).CyclesEach(3)),
		"25 hours a day":        second(DangerousOf(1e6, Use{250, 25, 10})),
		"B10d 0":                second(DangerousOf(0, Use{250, 8, 10})),
	} {
		if err == nil || !strings.Contains(err.Error(), ": ") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := second(FitWeibull(running(3, 100), 0.9)); !errors.Is(err, ErrNoFailures) {
		t.Errorf("got %v", err)
	}
	// One that failed last, with others whole until earlier, is refused as two that failed
	// together are; the words must be true of both.
	for name, units := range map[string][]Unit{"together": failedAt(5, 5), "one, the last": append(failedAt(300), running(11, 100)...)} {
		if err := second(FitWeibull(units, 0.9)); !errors.Is(err, ErrNoSpread) || strings.Contains(err.Error(), "all failed") {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

func second[T any](_ T, err error) error { return err }

func TestDoubts(t *testing.T) {
	t.Parallel()
	mixed := []Unit{{Cycles: 100, Failed: true, Load: "2 A"}, {Cycles: 200, Failed: true, Load: "5 A"}, {Cycles: 300, Load: "5 A"}}
	w, err := FitWeibull(mixed, 0.9)
	if err != nil || !contains(w.Doubts, "different loads (2 A, 5 A)") || !contains(w.Doubts, "2 failures only") || contains(w.Doubts, "early failures") {
		t.Errorf("%v, %q", err, w.Doubts)
	}
	w, err = FitWeibull(append(failedAt(100), running(4, 300)...), 0.9)
	if err != nil || !contains(w.Doubts, "single failure") || w.Shape.Likelihood.Lower > 1 {
		t.Errorf("%v, %+v", err, w)
	}
	e, err := ExponentialOfUnits(append(failedAt(100, 120), running(4, 300)...), 0.9)
	if err != nil || !contains(e.Doubts, "2 failures can't show") {
		t.Errorf("%v, %q", err, e.Doubts)
	}
	e, err = ExponentialOfUnits(append(failedAt(1, 2, 3, 5, 8, 13, 40), running(20, 1000)...), 0.9)
	if err != nil || !contains(e.Doubts, "early failures") {
		t.Errorf("%v, %q", err, e.Doubts)
	}
	b, err := WeibayesOf(failedAt(99, 100, 101, 102), 1, 0.9)
	if err != nil || !contains(b.Doubts, "not 1") || b.Failures != 4 {
		t.Errorf("%v, %+v", err, b)
	}
	p, err := ProportionOf(5, 5, 0.9)
	if err != nil || len(p.Doubts) != 1 || p.Upper != 1 || p.AtMost != 1 {
		t.Errorf("%v, %+v", err, p)
	}
}

// Lives drawn from a known distribution, stopped at a common count: bounds of 90 %
// hold the true figures in about 90 % of 250 tests: 225, less or more 4 standard
// deviations of 4.7.
func TestFitWeibull_Coverage(t *testing.T) {
	t.Parallel()
	const tests, shape, scale = 250, 1.8, 1e5
	trueB10 := scale * math.Pow(-math.Log1p(-0.1), 1/shape)
	r := rand.New(rand.NewPCG(7, 7))
	var likelihood, fisher, shapes int
	for range tests {
		units := make([]Unit, 24)
		for i := range units {
			life := scale * math.Pow(r.ExpFloat64(), 1/shape)
			units[i] = Unit{Cycles: math.Min(life, 9e4), Failed: life < 9e4}
		}
		w, err := FitWeibull(units, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		b10, err := w.Life(0.1)
		if err != nil {
			t.Fatal(err)
		}
		holds := func(i Interval, x float64) int {
			if i.Lower <= x && x <= i.Upper {
				return 1
			}
			return 0
		}
		likelihood += holds(b10.Likelihood, trueB10)
		fisher += holds(b10.Fisher, trueB10)
		shapes += holds(w.Shape.Likelihood, shape)
	}
	t.Logf("of %d: B10 by likelihood %d, by Fisher %d, shape %d", tests, likelihood, fisher, shapes)
	if min(likelihood, fisher, shapes) < 206 || max(likelihood, fisher, shapes) > 244 {
		t.Errorf("of %d: B10 by likelihood %d, by Fisher %d, shape %d", tests, likelihood, fisher, shapes)
	}
}

// Whatever boards: the unit of cycles does not matter, bounds hold the value, B10
// lies below the scale, and the line goes through it.
func TestFitWeibull_Properties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 30).Draw(t, "boards")
		units := make([]Unit, n)
		for i := range units {
			units[i] = Unit{Cycles: float64(rapid.IntRange(1, 1000000).Draw(t, "cycles")), Failed: rapid.IntRange(0, 2).Draw(t, "failed") > 0}
		}
		w, err := FitWeibull(units, 0.9)
		if errors.Is(err, ErrNoFailures) || errors.Is(err, ErrNoSpread) {
			return
		} else if err != nil {
			t.Fatal(err)
		}
		b10, err := w.Life(0.1)
		if err != nil {
			t.Fatal(err)
		}
		for name, e := range map[string]Estimate{"shape": w.Shape, "scale": w.Scale, "B10": b10} {
			for _, i := range []Interval{e.Fisher, e.Likelihood} {
				if !(i.Lower <= e.Value && e.Value <= i.Upper && i.Lower > 0) {
					t.Fatalf("%s: %+v", name, e)
				}
			}
		}
		scaled := slices.Clone(units)
		for i := range scaled {
			scaled[i].Cycles *= 1024
		}
		v, err := FitWeibull(scaled, 0.9)
		if err != nil || math.Abs(v.Shape.Value/w.Shape.Value-1) > 1e-9 || math.Abs(v.Scale.Value/w.Scale.Value/1024-1) > 1e-9 {
			t.Fatalf("in other units: %+v, %+v, %v", w, v, err)
		}
	})
}

// Stopped boards push the ranks of later failures up. Worked by hand: 4 boards, the
// second stopped; increments (5-1)/(1+2) = 4/3.
func TestPoints_Stopped(t *testing.T) {
	t.Parallel()
	p, err := Points([]Unit{{Cycles: 40, Failed: true}, {Cycles: 20}, {Cycles: 10, Failed: true}, {Cycles: 30, Failed: true}})
	if err != nil || len(p) != 3 {
		t.Fatal(p, err)
	}
	for i, want := range []float64{1, 1 + 4./3, 1 + 8./3} {
		within(t, "rank", p[i].Rank, want, 1e-12)
		within(t, "X", p[i].X, math.Log(p[i].Cycles), 1e-15)
		within(t, "Y", math.Exp(-math.Exp(p[i].Y)), 1-p[i].Failed, 1e-12)
	}
	if p[0].Cycles != 10 || p[2].Cycles != 40 {
		t.Errorf("got %+v", p)
	}
}

// A plan and its test agree: so many boards, allowed failures and all, show the claim.
func TestClaim_Properties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := Claim{Share: rapid.Float64Range(0.01, 0.5).Draw(t, "share"), Cycles: 1e5,
			Shape: rapid.Float64Range(0.5, 4).Draw(t, "shape"), Confidence: rapid.Float64Range(0.5, 0.99).Draw(t, "confidence"),
			Allowed: rapid.IntRange(0, 5).Draw(t, "allowed")}
		boards := c.Allowed + rapid.IntRange(1, 50).Draw(t, "boards")
		each, err := c.CyclesEach(boards)
		if err != nil {
			t.Fatal(err)
		}
		if n, err := c.Boards(each * (1 + 1e-6)); err != nil || n != boards {
			t.Fatalf("%d boards run %g cycles, but those need %d: %v", boards, each, n, err)
		}
		if n, err := c.Boards(each * (1 - 1e-3)); err != nil || n < boards {
			t.Fatalf("fewer boards (%d, not %d) suffice for a shorter test: %v", n, boards, err)
		}
	})
}

func BenchmarkFitWeibull(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	units := make([]Unit, 50)
	for i := range units {
		units[i] = Unit{Cycles: 1e5 * r.ExpFloat64(), Failed: i%2 == 0}
	}
	for b.Loop() {
		if _, err := FitWeibull(units, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

// A share or a confidence outside 0 to 1 is refused by name, on either side.
func TestShares_Refused(t *testing.T) {
	t.Parallel()
	claim := Claim{Share: 0.1, Cycles: 1e5, Shape: 1.5, Confidence: 0.9}
	for _, x := range []float64{-1, 0, 1, 2, math.NaN()} {
		share, sure := claim, claim
		share.Share, sure.Confidence = x, x
		for name, err := range map[string]error{
			"sample size, share":      second(SampleSize(x, 0.9, 0)),
			"sample size, confidence": second(SampleSize(0.9, x, 0)),
			"boards, share":           second(share.Boards(1e5)),
			"boards, confidence":      second(sure.Boards(1e5)),
			"cycles, share":           second(share.CyclesEach(10)),
			"cycles, confidence":      second(sure.CyclesEach(10)),
			"proportion, confidence":  second(ProportionOf(1, 10, x)),
			"fit, confidence":         second(FitWeibull(failedAt(1, 2, 3), x)),
		} {
			if err == nil || !strings.Contains(err.Error(), "must lie between 0 and 1") {
				t.Errorf("%s of %g: %v", name, x, err)
			}
		}
	}
}

func TestProportionOf_Value(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		failures, cycles int64
		want             float64
	}{{3, 12, 0.25}, {0, 1, 0}, {1, 1, 1}, {7, 1000, 0.007}} {
		if p, err := ProportionOf(c.failures, c.cycles, 0.95); err != nil || p.Value != c.want {
			t.Errorf("%d of %d: %g, %v", c.failures, c.cycles, p.Value, err)
		}
	}
}

// A board that is wrong is named by its place, counted from 1.
func TestPoints_NamesTheBoard(t *testing.T) {
	t.Parallel()
	_, err := Points([]Unit{{Cycles: 5, Failed: true}, {Cycles: -1}})
	if err == nil || !strings.Contains(err.Error(), "board 2: ") {
		t.Errorf("%v", err)
	}
}

// Fits through less than ten failures are doubted, by their number.
func TestDoubts_FewFailures(t *testing.T) {
	t.Parallel()
	for n, want := range map[int]string{2: "2 failures only", 9: "9 failures only", 10: "", 11: ""} {
		var all []Unit
		for i := range n {
			all = append(all, Unit{Cycles: 1000 + 100*float64(i), Failed: true})
		}
		w, err := FitWeibull(all, 0.9)
		if err != nil || contains(w.Doubts, "failures only") != (want != "") || want != "" && !contains(w.Doubts, want) {
			t.Errorf("%d failures: %v, %q", n, err, w.Doubts)
		}
	}
}
