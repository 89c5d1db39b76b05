package reliability

import (
	"math"
	"testing"
)

func within(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %g ± %g", what, got, want, tolerance)
	}
}

// NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3: scale, shape,
// log-likelihood, mean and standard deviation as printed there.
func TestFitWeibull_NIST(t *testing.T) {
	t.Parallel()
	ref := reference(t)
	w, err := FitWeibull(unitsOf(ref["nist.cycles"][0], ref["nist.failed"][0]), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "scale", w.Scale.Value, 606.5280, 5e-4) // its search stopped 0.0004 off the top, which R confirms
	within(t, "shape", w.Shape.Value, 1.7208, 5e-5)
	within(t, "log-likelihood", w.LogLikelihood, -75.135, 5e-4)
	k := w.Shape.Value
	within(t, "mean", w.Scale.Value*math.Gamma(1+1/k), 540.737, 5e-4)
	within(t, "sd", w.Scale.Value*math.Sqrt(math.Gamma(1+2/k)-math.Pow(math.Gamma(1+1/k), 2)), 323.806, 5e-4)
}

// Lieblein and Zelen's ball bearings (Journal of Research of the NBS 57 (1956) 273),
// fitted in many textbooks: shape 2.10, scale 81.9 million revolutions.
func TestFitWeibull_Bearings(t *testing.T) {
	t.Parallel()
	ref := reference(t)
	units := unitsOf(ref["bearings.cycles"][0], ref["bearings.failed"][0])
	w, err := FitWeibull(units, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "shape", w.Shape.Value, 2.102059, 5e-7)
	within(t, "scale", w.Scale.Value, 81.87833, 5e-6)
	b10, _ := w.Life(0.1)
	within(t, "B10", b10.Value, 28.06941, 5e-6)
	e, err := ExponentialOfUnits(units, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "mean", e.Value, 72.22435, 5e-6)
	if !contains(e.Doubts, "not constant") {
		t.Errorf("wear is not doubted: %q", e.Doubts)
	}
}

// NIST/SEMATECH e-Handbook 8.4.5.1: bounds of an MTBF, time-terminated; factors and
// test lengths by its formulas.
func TestExponentialOf_NIST(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ r, low, up float64 }{
		{1, 0.21080, 19.4957}, {2, 0.31767, 5.62807}, {3, 0.38691, 3.66887}, {5, 0.47560, 2.53788},
	} {
		e, err := ExponentialOf(int(c.r), c.r, 0.9) // a mean of 1
		if err != nil {
			t.Fatal(err)
		}
		within(t, "lower factor", e.Lower, c.low, 5e-6)
		within(t, "upper factor", e.Upper, c.up, 6e-5)
	}
	e, _ := ExponentialOf(2, 10000, 0.9)
	within(t, "lower", e.Lower, 1588.36, 5e-3)
	within(t, "upper", e.Upper, 28140.36, 5e-3)
	within(t, "at least", e.AtLeast, 1878.88, 5e-3)
	for confidence, want := range map[float64]float64{0.9: 4342.94, 0.95: 3338.08} {
		e, _ = ExponentialOf(0, 10000, confidence)
		within(t, "no failures", e.AtLeast, want, 5e-3)
		if e.Lower != e.AtLeast || !math.IsInf(e.Upper, 1) || !math.IsInf(e.Value, 1) {
			t.Errorf("no failures: %+v", e)
		}
	}
	confidences := []float64{0.6, 0.8, 0.9, 0.95}
	for r, row := range map[int][4]float64{
		0: {0.9163, 1.6094, 2.3026, 2.9957}, 1: {2.0223, 2.9943, 3.8897, 4.7439},
		2: {3.1054, 4.2790, 5.3223, 6.2958}, 3: {4.1753, 5.5150, 6.6808, 7.7537},
		5: {6.2919, 7.9060, 9.2747, 10.5130},
	} {
		for i, want := range row {
			within(t, "test length", TestLength(r, confidences[i]), want, 5e-5)
		}
	}
}

// Exact binomial bounds. 4 in 20 is NIST/SEMATECH e-Handbook 7.2.4.1's example, worked
// out with SciPy; 682 in 925 is the example of R's binom.test, its bounds found again
// from the binomial distribution's sums with another program.
func TestProportionOf_Published(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		failures, cycles      int64
		confidence, low, high float64
	}{
		{0, 10, 0.95, 0, 0.308497}, {1, 10, 0.95, 0.002529, 0.445016},
		{5, 100, 0.95, 0.016432, 0.112835}, {0, 100, 0.95, 0, 0.036217},
		{4, 20, 0.9, 0.071354, 0.401028}, {682, 925, 0.95, 0.7076683, 0.7654066},
	} {
		p, err := ProportionOf(c.failures, c.cycles, c.confidence)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "lower", p.Lower, c.low, 5e-7)
		within(t, "upper", p.Upper, c.high, 5e-7)
	}
}

// The rule of three: without failures in n cycles, at most 3/n at 95 % (Hanley and
// Lippman-Hand, JAMA 249 (1983) 1743). It is -ln 0.05 = 2.9957 rounded up, so the
// exact figure lies below it, closer the more cycles.
func TestProportionOf_RuleOfThree(t *testing.T) {
	t.Parallel()
	for n, exact := range map[int64]float64{100: 0.029513, 300: 0.009936} {
		p, _ := ProportionOf(0, n, 0.95)
		within(t, "exact", p.AtMost, exact, 5e-7)
	}
	for n := int64(30); n <= 1e12; n *= 10 {
		p, err := ProportionOf(0, n, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		three := 3 / float64(n)
		if p.AtMost >= three || p.AtMost < three*(1-0.0015-1.6/float64(n)) {
			t.Errorf("%d cycles: at most %g, rule of three %g", n, p.AtMost, three)
		}
	}
}

// Zero-failure sample sizes, ln(1-c)/ln R rounded up: in any text on success-run
// testing.
func TestSampleSize_ZeroFailures(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		share, confidence float64
		want              int
	}{
		{0.9, 0.9, 22}, {0.95, 0.9, 45}, {0.99, 0.9, 230},
		{0.9, 0.95, 29}, {0.95, 0.95, 59}, {0.99, 0.95, 299},
		{0.5, 0.75, 2}, // exactly: 0.5² = 0.25
	} {
		if n, err := SampleSize(c.share, c.confidence, 0); err != nil || n != c.want {
			t.Errorf("%+v: got %d, %v", c, n, err)
		}
	}
}

// Ten boards ran 200,000 cycles, shape 2: (10·(2·10⁵)²/ln 10)^½, by hand.
func TestWeibayesOf(t *testing.T) {
	t.Parallel()
	w, err := WeibayesOf(running(10, 200000), 2, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "scale", w.ScaleAtLeast, 416794.66, 5e-3)
	within(t, "B10", w.B10AtLeast, 135288.57, 5e-3)
	// The same claim, planned: those boards need to run just that long for it.
	c := Claim{Share: 0.1, Cycles: w.B10AtLeast, Shape: 2, Confidence: 0.9}
	each, err := c.CyclesEach(10)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "cycles each", each, 200000, 1e-3)
	if n, err := c.Boards(200000.001); err != nil || n != 10 {
		t.Errorf("got %d boards, %v", n, err)
	}
	if n, err := c.Boards(199990); err != nil || n != 11 {
		t.Errorf("got %d boards, %v", n, err)
	}
}

// ISO 13849-1 B10d figures as worked by makers: a B10d of 20 million operated every
// 20 s all year (a drive maker's guide), and 1 million every 10 s, 250 days of 8 h.
func TestDangerousOf(t *testing.T) {
	t.Parallel()
	d, err := DangerousOf(2e7, Use{365.25, 24, 20})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "n_op", d.PerYear, 1577880, 1e-6)
	within(t, "MTTFd", d.MTTFd, 126.75, 0.005)
	within(t, "T10d", d.T10d, 12.675, 0.0005)
	if d.Capped != 100 || d.Level != "high" || !contains(d.Doubts, "12.7 years") {
		t.Errorf("got %+v", d)
	}
	d, err = DangerousOf(1e6, Use{250, 8, 10})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "MTTFd", d.MTTFd, 13.8889, 5e-5)
	if d.Level != "medium" || d.Capped != d.MTTFd {
		t.Errorf("got %+v", d)
	}
}
