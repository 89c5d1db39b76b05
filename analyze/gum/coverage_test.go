package gum

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// distribution is the distribution function of a sum of independent components,
// as values on a grid.
type distribution struct{ f []float64 }

const (
	gridStep = 0.004
	gridHalf = 8.0
	gridLen  = 2*int(gridHalf/gridStep) + 1
)

func node(i int) float64 { return -gridHalf + float64(i)*gridStep }

// at interpolates a function on the grid; beyond it, it is constant.
func at(f []float64, x float64) float64 {
	p := (x + gridHalf) / gridStep
	i := int(math.Floor(p))
	switch {
	case i < 0:
		return f[0]
	case i >= gridLen-1:
		return f[gridLen-1]
	}
	return f[i] + (p-float64(i))*(f[i+1]-f[i])
}

// start is the distribution of one component, from its closed form.
func start(c Component) distribution {
	d := distribution{make([]float64, gridLen)}
	for i := range d.f {
		d.f[i] = closedForm(c.Distribution, node(i)/c.Standard)
	}
	return d
}

// closedForm is the distribution function at z standard deviations.
func closedForm(name string, z float64) float64 {
	unit := func(half float64) float64 { return math.Max(-1, math.Min(1, z/half)) }
	switch name {
	case "rectangular":
		return (1 + unit(math.Sqrt(3))) / 2
	case "triangular":
		x := unit(math.Sqrt(6))
		if x < 0 {
			return (1 + x) * (1 + x) / 2
		}
		return 1 - (1-x)*(1-x)/2
	case "U-shaped":
		return 0.5 + math.Asin(unit(math.Sqrt2))/math.Pi
	}
	return distuv.UnitNormal.CDF(z)
}

// plus convolves the distribution with one more component.
func (d distribution) plus(c Component) distribution {
	switch c.Distribution {
	case "rectangular":
		return d.plusRectangular(c.Standard * math.Sqrt(3))
	case "triangular": // the sum of two equal rectangular ones
		half := c.Standard * math.Sqrt(1.5)
		return d.plusRectangular(half).plusRectangular(half)
	}
	if c.Distribution != "normal" {
		panic("only normal and bounded components are added")
	}
	const n = 200 // Simpson's rule over ±5 standard deviations
	out := distribution{make([]float64, gridLen)}
	for k := 0; k <= n; k++ {
		z := -5 + 10*float64(k)/n
		w := 2.0 + 2*float64(k%2)
		if k == 0 || k == n {
			w = 1
		}
		w *= distuv.UnitNormal.Prob(z) * (10.0 / n) / 3
		for i := range out.f {
			out.f[i] += w * at(d.f, node(i)-z*c.Standard)
		}
	}
	return out
}

// plusRectangular convolves with a rectangle of the half-width: the new distribution
// function is the mean of the old one over x±half.
func (d distribution) plusRectangular(half float64) distribution {
	integral := make([]float64, gridLen)
	for i := 1; i < gridLen; i++ {
		integral[i] = integral[i-1] + (d.f[i-1]+d.f[i])/2*gridStep
	}
	g := func(x float64) float64 {
		if x > gridHalf { // the distribution function is 1 there
			return integral[gridLen-1] + x - gridHalf
		}
		return at(integral, x)
	}
	out := distribution{make([]float64, gridLen)}
	for i := range out.f {
		out.f[i] = (g(node(i)+half) - g(node(i)-half)) / (2 * half)
	}
	return out
}

func (d distribution) within(x float64) float64 { return at(d.f, x) - at(d.f, -x) }

// trueCoverage is the probability that the interval stated for the components
// covers, computed by convolution. A U-shaped component must stand first.
func trueCoverage(components []Component) float64 {
	d := start(components[0])
	for _, c := range components[1:] {
		d = d.plus(c)
	}
	_, expanded := Combine(components).Expanded()
	return d.within(expanded)
}

// mixture makes components of the given shares of a variance of 1.
func mixture(names []string, variances []float64) []Component {
	var sum float64
	for _, v := range variances {
		sum += v
	}
	out := make([]Component, len(names))
	for i, n := range names {
		out[i] = Component{Distribution: n, Standard: math.Sqrt(variances[i] / sum), Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}
	}
	return out
}

// The convolution itself, against sums with a closed form: two equal rectangles
// make a triangle, three the Irwin-Hall distribution, whose 95 % point is
// 3/2-(6·0.025)^(1/3) from the middle for unit widths (any table of distributions).
func TestConvolution(t *testing.T) {
	t.Parallel()
	two := mixture([]string{"rectangular", "rectangular"}, []float64{1, 1})
	if got := start(two[0]).plus(two[1]).within(triangular95); math.Abs(got-0.95) > 1e-5 {
		t.Errorf("two rectangles within a triangle's 95 %% factor: %.6f", got)
	}
	three := mixture([]string{"rectangular", "rectangular", "rectangular"}, []float64{1, 1, 1})
	half := (1.5 - math.Cbrt(6*0.025)) / math.Sqrt(3.0/12)
	if got := start(three[0]).plus(three[1]).plus(three[2]).within(half); math.Abs(got-0.95) > 1e-5 {
		t.Errorf("three rectangles: %.6f", got)
	}
	normal := mixture([]string{"normal", "normal"}, []float64{1, 3})
	if got := start(normal[0]).plus(normal[1]).within(normal95); math.Abs(got-0.95) > 1e-5 {
		t.Errorf("two normal components: %.6f", got)
	}
}

func TestExpanded_TrueCoverage(t *testing.T) {
	t.Parallel()
	lowest, highest := 1.0, 0.0
	check := func(t *testing.T, names []string, variances []float64, from, to float64) {
		t.Helper()
		got := trueCoverage(mixture(names, variances))
		lowest, highest = min(lowest, got), max(highest, got)
		if got < from || got > to {
			t.Errorf("%v of variances %.3g: the 95 %% interval covers %.4f; %g to %g should", names, variances, got, from, to)
		}
	}
	shares := []float64{0.02, 0.1, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98}
	for _, v := range shares {
		for _, pair := range [][]string{{"rectangular", "normal"}, {"rectangular", "rectangular"}, {"rectangular", "triangular"}, {"triangular", "normal"}} {
			t.Run(fmt.Sprintf("%s %.2f", pair, v), func(t *testing.T) { check(t, pair, []float64{v, 1 - v}, 0.9495, 0.959) })
		}
	}
	for n := 1; n <= 5; n++ { // a sum of n equal rectangles
		names, variances := make([]string, n), make([]float64, n)
		for i := range n {
			names[i], variances[i] = "rectangular", 1
		}
		check(t, names, variances, 0.9495, 0.959)
	}
	check(t, []string{"triangular"}, []float64{1}, 0.9495, 0.9505)
	check(t, []string{"normal"}, []float64{1}, 0.9495, 0.9505)
	t.Logf("normal, rectangular and triangular: %.2f to %.2f %%", 100*lowest, 100*highest)
	lowest, highest = 1, 0
	for _, v := range append(shares, 0.86, 0.88, 0.92, 0.99) {
		for _, other := range []string{"normal", "rectangular"} {
			check(t, []string{"U-shaped", other}, []float64{v, 1 - v}, 0.939, 0.975)
		}
	}
	t.Logf("U-shaped: %.2f to %.2f %%", 100*lowest, 100*highest)
	if got := trueCoverage(mixture([]string{"U-shaped"}, []float64{1})); got < 0.95 {
		t.Errorf("a U-shaped component alone: %.4f", got)
	}
}

// Any mixture of components that the product uses is covered.
func TestExpanded_TrueCoverage_Drawn(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "components")
		names, variances := make([]string, n), make([]float64, n)
		for i := range n {
			names[i] = rapid.SampledFrom([]string{"rectangular", "rectangular", "triangular", "normal"}).Draw(t, "distribution")
			variances[i] = math.Pow(10, -rapid.Float64Range(0, 2.5).Draw(t, "decades below the largest"))
		}
		if got := trueCoverage(mixture(names, variances)); got < 0.9495 || got > 0.959 {
			t.Fatalf("%v of variances %.3g: covers %.4f", names, variances, got)
		}
	})
}

// The cubic's pins, and that it never rises with boundedness.
func TestBounded95(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ excess, want float64 }{
		{0, normal95}, {1, normal95}, {triangular, (1 - math.Sqrt(0.05)) * math.Sqrt(6)}, {rectangular, 0.95 * math.Sqrt(3)},
	} {
		if got := bounded95(c.excess); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("bounded95(%g) = %.9f, want %.9f", c.excess, got, c.want)
		}
	}
	for e := 0.0; e > rectangular; e -= 0.01 {
		if bounded95(e-0.01) > bounded95(e) {
			t.Errorf("the factor rises from excess %.2f to %.2f", e, e-0.01)
		}
	}
}

// simulated counts how often the stated interval holds the truth where n readings
// scatter and a rectangular component, q times the mean's standard deviation, is
// added to them.
func simulated(n int, q float64, trials int) float64 {
	r := rand.New(rand.NewPCG(uint64(n), math.Float64bits(q)))
	readings := make([]float64, n)
	u := q / math.Sqrt(float64(n))
	inside := 0
	for range trials {
		for i := range readings {
			readings[i] = r.NormFloat64()
		}
		mean, deviation := stat.MeanStdDev(readings, nil)
		c := input(deviation/math.Sqrt(float64(len(readings))), float64(len(readings)-1))
		shift := u * math.Sqrt(3) * (2*r.Float64() - 1)
		_, expanded := Combine([]Component{c, {Distribution: "rectangular", Standard: u, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}}).Expanded()
		if math.Abs(mean+shift) <= expanded {
			inside++
		}
	}
	return float64(inside) / float64(trials)
}

// The bounds of what Expanded says of few readings beside a rectangular component.
func TestExpanded_FewReadings(t *testing.T) {
	t.Parallel()
	for n, least := range map[int]float64{3: 0.915, 5: 0.935, 10: 0.945, 30: 0.947} {
		lowest := 1.0
		for _, q := range []float64{0, 0.3, 0.6, 1, 1.5, 3} {
			got := simulated(n, q, 20000)
			lowest = min(lowest, got)
			if got < least || got > 0.962 {
				t.Errorf("%d readings, rectangular %g times the mean's: covers %.3f, at least %g should", n, q, got, least)
			}
		}
		t.Logf("%d readings: at least %.1f %%", n, 100*lowest)
	}
}

// Student's factors: GUM table G.2, which is NIST TN 1297's table B.1 (from memory),
// and Abramowitz and Stegun 26.7.5's expansion against the quantile.
func TestStudent(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ dof, p95, p99 float64 }{
		{1, 12.71, 63.66}, {2, 4.30, 9.92}, {3, 3.18, 5.84}, {4, 2.78, 4.60}, {5, 2.57, 4.03}, {9, 2.26, 3.25},
		{10, 2.23, 3.17}, {16, 2.12, 2.92}, {19, 2.09, 2.86}, {20, 2.09, 2.85}, {50, 2.01, 2.68}, {100, 1.984, 2.626}, {math.Inf(1), 1.960, 2.576},
	} {
		digits := 0.0051
		if c.dof >= 100 {
			digits = 0.00051
		}
		if got := Student(0.95, c.dof); math.Abs(got-c.p95) > digits {
			t.Errorf("Student(0.95, %g) = %.5f, want %g", c.dof, got, c.p95)
		}
		if got := Student(0.99, c.dof); math.Abs(got-c.p99) > digits {
			t.Errorf("Student(0.99, %g) = %.5f, want %g", c.dof, got, c.p99)
		}
		if a, b := student95(c.dof), Student(0.95, c.dof); math.Abs(a-b) > 2e-6 {
			t.Errorf("student95(%g) = %.9f, the quantile is %.9f", c.dof, a, b)
		}
	}
	for dof := 150.0; dof < 1e12; dof *= 1.5 { // the 95 and 99 % factors fall to the normal ones
		for coverage, z := range map[float64]float64{0.95: normal95, 0.99: 2.575829303548901} {
			got := Student(coverage, dof)
			if next := Student(coverage, dof*1.5); got < next || next < z || got > z*(1+4/dof) {
				t.Errorf("Student(%g, %g) = %.9f, then %.9f, at last %.9f", coverage, dof, got, next, z)
			}
		}
	}
	for dof := 1.0; dof < 200; dof *= 1.07 { // not whole, and across the border of both ways
		if a, b := student95(dof), Student(0.95, dof); math.Abs(a-b) > 2e-6*b {
			t.Errorf("student95(%g) = %.9f, the quantile is %.9f", dof, a, b)
		}
	}
}
