package gum

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	_ "makebreak/testdata/fixedseed"
)

var none = math.NaN()

func normal(u float64) Combined { return Combined{Standard: u, DegreesOfFreedom: math.Inf(1)} }

// JCGM 106's examples of a conformance probability, one-sided (an upper limit of
// -5.40 V) and two-sided (12.5 to 16.3); from memory. The others are computed from the
// normal distribution with another program.
func TestConformance_JCGM106(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ value, u, lower, upper, want float64 }{
		{-5.47, 0.05, none, -5.40, 0.919243},
		{13.6, 1.8, 12.5, 16.3, 0.662630},
		{11.4, 0.05, 11.5, 14.4, 0.02275},
		{11.5, 0.05, 11.5, 14.4, 0.5},
		{11.55, 0.05, 11.5, 14.4, 0.841345},
		{11.6, 0.05, 11.5, 14.4, 0.97725},
	} {
		near(t, "p", normal(c.u).Conformance(c.value, c.lower, c.upper), c.want, 0.000005)
	}
}

// The probability of a false acceptance for a value at the acceptance limit, with
// U = 2u and a guard band of g·U: 50 % without one, 2.275 % with U (ILAC-G8 states
// "< 50 %" and "< 2.5 %"), 4.85 % with 0.83 U.
func TestDecide_FalseAcceptance(t *testing.T) {
	t.Parallel()
	const u, upper = 0.05, 14.4
	for _, c := range []struct{ guard, want float64 }{{0, 0.5}, {0.83, 0.0485}, {1, 0.02275}} {
		w := c.guard * 2 * u
		limit := upper - w
		if got := Decide(math.Nextafter(limit, 0), w, none, upper); got != Conforms {
			t.Errorf("guard %g: a value at the acceptance limit gives %v", c.guard, got)
		}
		if got := Decide(limit+1e-9, w, none, upper); got == Conforms {
			t.Errorf("guard %g: a value beyond the acceptance limit is accepted", c.guard)
		}
		near(t, "false acceptance", 1-normal(u).Conformance(limit, none, upper), c.want, 0.00005)
	}
}

// At the edge of the 95 % guard band the probability is 97.5 %, whatever the shape and
// the degrees of freedom. Student's distribution with 1 and 2 degrees of freedom has
// closed forms: 1/2 + atan(z)/π and 1/2 + z/(2·√(2+z²)) (any table of distributions).
func TestConformance_Student(t *testing.T) {
	t.Parallel()
	for _, excess := range []float64{0, -0.3, -0.6, -1.2} {
		for _, dof := range []float64{1, 2, 7, 30, 400, math.Inf(1)} {
			c := Combined{Standard: 0.3, DegreesOfFreedom: dof, Excess: excess}
			_, expanded := c.Expanded()
			near(t, "at the edge", c.Conformance(5-expanded, none, 5), 0.975, 1e-5)
		}
	}
	for z := -4.0; z <= 4; z += 0.5 {
		near(t, "one degree", Combined{Standard: 1, DegreesOfFreedom: 1}.Conformance(z, 0, none), 0.5+math.Atan(z)/math.Pi, 1e-9)
		near(t, "two degrees", Combined{Standard: 1, DegreesOfFreedom: 2}.Conformance(z, 0, none), 0.5+z/(2*math.Sqrt(2+z*z)), 1e-9)
	}
}

// Bounded components, against the distribution function of their sum found by numerical
// convolution: a limit anywhere from -2 to 2 expanded uncertainties away.
func TestConformance_Bounded(t *testing.T) {
	t.Parallel()
	part := func(name string, u float64) Component {
		return Component{Distribution: name, Standard: u, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}
	}
	worst := 0.0
	for _, budget := range [][]Component{
		{part("rectangular", 1)},
		{part("triangular", 1)},
		{part("rectangular", 0.7), part("rectangular", 0.7), part("rectangular", 0.15)}, // a divider's two resistors
		{part("rectangular", 1), part("normal", 0.2)},
		{part("rectangular", 0.8), part("normal", 0.4)},
		{part("rectangular", 0.7), part("normal", 0.7)},
		{part("rectangular", 0.4), part("normal", 0.9)},
		{part("triangular", 0.8), part("rectangular", 0.5)},
	} {
		truth := start(budget[0])
		for _, c := range budget[1:] {
			truth = truth.plus(c)
		}
		c := Combine(budget)
		_, expanded := c.Expanded()
		for y := -2.0; y <= 2; y += 0.05 {
			got, want := c.Conformance(0, none, y*expanded), at(truth.f, y*expanded)
			worst = math.Max(worst, math.Abs(got-want))
			if math.Abs(got-want) > 0.016 {
				t.Errorf("%v, limit %.2f U above: %.4f, want %.4f", budget, y, got, want)
			}
		}
	}
	t.Logf("worst: %.4f", worst)
}

// Many degrees of freedom, against gonum's Student distribution.
func TestConformance_ManyReadings(t *testing.T) {
	t.Parallel()
	for dof := 100.0; dof < 1e6; dof *= 1.5 {
		for z := -5.0; z <= 5; z += 0.25 {
			want := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.CDF(z)
			near(t, "p", Combined{Standard: 1, DegreesOfFreedom: dof}.Conformance(z, 0, none), want, 1e-5)
		}
	}
}

func TestConformance_Known(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ value, lower, upper, want float64 }{
		{1, 0, 2, 1}, {2, 0, 2, 1}, {2.1, 0, 2, 0}, {-1, 0, none, 0}, {7, none, none, 1},
	} {
		if got := normal(0).Conformance(c.value, c.lower, c.upper); got != c.want {
			t.Errorf("%g in %g..%g without uncertainty: %g", c.value, c.lower, c.upper, got)
		}
	}
	if !math.IsNaN(normal(1).Conformance(none, 0, 1)) || !math.IsNaN(normal(none).Conformance(1, 0, 1)) {
		t.Error("a probability of something undefined")
	}
}

func TestDecide(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		value, guard, lower, upper float64
		want                       Decision
	}{
		{12.5, 0.2, 12, 14, Conforms},
		{12.25, 0.25, 12, 14, Conforms}, // on the edge of acceptance
		{12.2, 0.25, 12, 14, Undecided},
		{12, 0.2, 12, 14, Undecided},
		{11.75, 0.25, 12, 14, Undecided}, // on the edge of rejection
		{11.7, 0.25, 12, 14, Violates},
		{14.3, 0.25, 12, 14, Violates},
		{13, 1.5, 12, 14, Undecided}, // wider than the limits are apart
		{13, 0.2, none, none, Conforms},
		{13, none, none, 12.9, Violates},
		{12.9, 0, none, 12.9, Conforms},
		{none, 0.2, 12, 14, Undecided},
	} {
		if got := Decide(c.value, c.guard, c.lower, c.upper); got != c.want {
			t.Errorf("Decide(%g ± %g in %g..%g) = %d, want %d", c.value, c.guard, c.lower, c.upper, got, c.want)
		}
	}
}

// A decision that was taken never turns into the opposite with a wider guard band,
// and what is accepted conforms more likely than not.
func TestDecide_Properties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-10, 10).Draw(t, "value")
		u := rapid.Float64Range(0.001, 3).Draw(t, "u")
		lower := rapid.Float64Range(-10, 10).Draw(t, "lower")
		upper := lower + rapid.Float64Range(0, 10).Draw(t, "width")
		c := normal(u)
		_, expanded := c.Expanded()
		narrow, wide := Decide(value, expanded/2, lower, upper), Decide(value, expanded, lower, upper)
		if narrow == Undecided && wide != Undecided || narrow != wide && wide != Undecided {
			t.Fatalf("a wider guard band makes %d of %d", wide, narrow)
		}
		p := c.Conformance(value, lower, upper)
		switch wide {
		case Conforms:
			if p < 0.95-1e-9 {
				t.Fatalf("accepted with p = %g", p)
			}
		case Violates:
			if p > 0.025+1e-9 {
				t.Fatalf("rejected with p = %g", p)
			}
		}
	})
}
