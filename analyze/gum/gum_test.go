package gum

import (
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.7g, want %.7g ± %g", what, got, want, tolerance)
	}
}

// input is a component with sensitivity 1.
func input(standard, dof float64) Component {
	return Component{Distribution: "normal", Standard: standard, Sensitivity: 1, DegreesOfFreedom: dof}
}

var known = math.Inf(1)

// GUM 4.4.3, twenty readings of a temperature in degrees Celsius (readings and results
// from memory; the results follow from the readings).
func TestGUM_443_Mean(t *testing.T) {
	readings := []float64{96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
		100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72}
	mean, s, c := Mean("temperature", readings)
	near(t, "mean", mean, 100.145, 0.0005)
	near(t, "s", s, 1.489, 0.0005)
	near(t, "u", c.Standard, 0.333, 0.0005)
	near(t, "degrees of freedom", c.DegreesOfFreedom, 19, 0)
}

// NIST Statistical Reference Datasets, univariate: NumAcc1 to NumAcc4, by their
// certified mean and standard deviation. All but the first are made: one value, then
// pairs of it less and plus 0.1.
func TestMean_NIST(t *testing.T) {
	pairs := func(first, a, b float64) []float64 {
		all := []float64{first}
		for range 500 {
			all = append(all, a, b)
		}
		return all
	}
	for _, c := range []struct {
		name        string
		readings    []float64
		mean, s     float64
		tolerance_s float64 // the decimal fractions of large values are rounded
	}{
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, 0},
		{"NumAcc2", pairs(1.2, 1.1, 1.3), 1.2, 0.1, 1e-14},
		{"NumAcc3", pairs(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, 1e-9},
		{"NumAcc4", pairs(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, 1e-8},
	} {
		mean, s, _ := Mean(c.name, c.readings)
		near(t, c.name+" mean", mean, c.mean, 1e-15*c.mean)
		near(t, c.name+" deviation", s, c.s, c.tolerance_s)
	}
}

func TestMean_TooFew(t *testing.T) {
	if mean, s, c := Mean("", nil); !math.IsNaN(mean) || !math.IsNaN(s) || !math.IsNaN(c.Standard) {
		t.Errorf("of no readings: %g %g %v", mean, s, c)
	}
	if mean, s, c := Mean("", []float64{3}); mean != 3 || !math.IsNaN(s) || !math.IsNaN(c.Standard) {
		t.Errorf("of one reading: %g %g %v", mean, s, c)
	}
	if !math.IsNaN(Correlation([]float64{1}, []float64{2, 3})) {
		t.Error("one pair has a correlation")
	}
	if Correlation([]float64{1, 1}, []float64{2, 3}) != 0 {
		t.Error("what does not scatter correlates")
	}
}

// Half-widths: GUM 4.3.4 (a certificate's 129 µΩ at 99 %), 4.3.7 (0.40e-6, rectangular)
// and 4.4.5, 4.4.6 (±4 °C, rectangular and triangular); from memory.
func TestGUM_43_HalfWidth(t *testing.T) {
	near(t, "4.3.4", 129/Student(0.99, known), 50, 0.1)
	near(t, "4.3.7", HalfWidth("rectangular", 0.40e-6), 0.23e-6, 0.005e-6)
	near(t, "4.4.5", HalfWidth("rectangular", 4), 2.3, 0.05)
	near(t, "4.4.6", HalfWidth("triangular", 4), 1.6, 0.05)
	near(t, "U-shaped", HalfWidth("U-shaped", 1), math.Sqrt(0.5), 1e-15)
	near(t, "normal", HalfWidth("normal", 2), 2, 0)
}

// GUM H.1.3 to H.1.6, the end gauge, in nanometres: the comparator's 5.8 (24 degrees of
// freedom), 3.9 (5) and 6.7 (8) combine to 9.7 (25.6); with 25 (18), 2.9 (50) and 16.6
// (2) to 32 (16), and U = 93 at 99 %. The inputs 25, 9.7, 2.9, 16.6 with their degrees
// of freedom were read in a general statistics package's manual (its example of the
// Welch-Satterthwaite formula); the rest is from memory.
func TestGUM_H1_EndGauge(t *testing.T) {
	d := Combine([]Component{input(5.8, 24), input(3.9, 5), input(6.7, 8)})
	near(t, "u(d)", d.Standard, 9.7, 0.05)
	near(t, "its degrees of freedom", d.DegreesOfFreedom, 25.6, 0.2)
	all := Combine([]Component{input(25, 18), input(9.7, 25.6), input(2.9, 50), input(16.6, 2)})
	near(t, "u_c", all.Standard, 31.67, 0.005)
	near(t, "degrees of freedom", all.DegreesOfFreedom, 16.76, 0.005)
	t99 := Student(0.99, math.Floor(all.DegreesOfFreedom)) // the GUM truncates here
	near(t, "t99", t99, 2.92, 0.005)
	near(t, "U99", t99*math.Round(all.Standard), 93, 0.5)
}

// The readings of GUM H.2, a resistance and a reactance measured together: volts,
// amperes, radians. Read in an open metrology library's test data.
var (
	volts   = []float64{5.007, 4.994, 5.005, 4.990, 4.999}
	amperes = []float64{19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3}
	radians = []float64{1.0456, 1.0438, 1.0468, 1.0428, 1.0433}
)

func TestGUM_H2_Impedance(t *testing.T) {
	series := [][]float64{volts, amperes, radians}
	x, u, r := make([]float64, 3), make([]float64, 3), make([][]float64, 3)
	inputs := make([]Component, 3)
	for i, s := range series {
		x[i], _, inputs[i] = Mean("", s)
		u[i] = inputs[i].Standard
		for _, o := range series {
			r[i] = append(r[i], Correlation(s, o))
		}
	}
	near(t, "u(V)", u[0], 0.0032, 0.00005)
	near(t, "u(I)", u[1], 0.0095e-3, 0.00005e-3)
	near(t, "u(phi)", u[2], 0.00075, 0.000005)
	near(t, "r(V,I)", r[0][1], -0.36, 0.005)
	near(t, "r(V,phi)", r[0][2], 0.86, 0.005)
	near(t, "r(I,phi)", r[1][2], -0.65, 0.005)

	budget := func(f func(x []float64) float64) []Component {
		b := append([]Component(nil), inputs...)
		for i, c := range Sensitivities(f, x, u) {
			b[i].Sensitivity = c
		}
		return b
	}
	resistance := func(x []float64) float64 { return x[0] / x[1] * math.Cos(x[2]) }
	reactance := func(x []float64) float64 { return x[0] / x[1] * math.Sin(x[2]) }
	impedance := func(x []float64) float64 { return x[0] / x[1] }
	R, X, Z := budget(resistance), budget(reactance), budget(impedance)
	near(t, "R", resistance(x), 127.732, 0.0005)
	near(t, "X", reactance(x), 219.847, 0.0005)
	near(t, "Z", impedance(x), 254.260, 0.0005)
	near(t, "u(R)", Correlated(R, r), 0.071, 0.0005)
	near(t, "u(X)", Correlated(X, r), 0.29558, 0.000005)
	near(t, "u(Z)", Correlated(Z, r), 0.236, 0.0005)
	correlation := func(a, b []Component) float64 {
		return Covariance(a, b, r) / Correlated(a, r) / Correlated(b, r)
	}
	near(t, "r(R,X)", correlation(R, X), -0.588, 0.0005)
	near(t, "r(R,Z)", correlation(R, Z), -0.485, 0.0005)
	near(t, "r(X,Z)", correlation(X, Z), 0.993, 0.0005)
	// Without the correlations: computed independently with another program.
	near(t, "u(R) uncorrelated", Combine(R).Standard, 0.194, 0.001)
	near(t, "u(X) uncorrelated", Combine(X).Standard, 0.201, 0.001)
	near(t, "u(Z) uncorrelated", Combine(Z).Standard, 0.204, 0.001)
}

// GUM H.3, a thermometer's correction from a straight line through its calibration:
// readings and results read in an open metrology library's test data. The line is
// gonum's; its intercept and slope are correlated inputs of the correction.
func TestGUM_H3_Thermometer(t *testing.T) {
	readings := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	corrections := []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	const t0 = 20
	n := float64(len(readings))
	x := make([]float64, len(readings))
	var sum, squares float64
	for i, r := range readings {
		x[i] = r - t0
		sum += x[i]
		squares += x[i] * x[i]
	}
	intercept, slope := stat.LinearRegression(x, corrections, nil, false)
	var residuals float64
	for i := range x {
		e := corrections[i] - intercept - slope*x[i]
		residuals += e * e
	}
	s := math.Sqrt(residuals / (n - 2))
	d := n*squares - sum*sum
	inputs := []Component{input(s*math.Sqrt(squares/d), n-2), input(s*math.Sqrt(n/d), n-2)}
	r := -sum / math.Sqrt(n*squares)
	near(t, "y1", intercept, -0.1712, 0.00005)
	near(t, "u(y1)", inputs[0].Standard, 0.0029, 0.00005)
	near(t, "y2", slope, 0.00218, 0.000005)
	near(t, "u(y2)", inputs[1].Standard, 0.00067, 0.000005)
	near(t, "r", r, -0.93, 0.005)
	near(t, "s", s, 0.0035, 0.00005)
	inputs[1].Sensitivity = 30 - t0
	near(t, "b(30 °C)", intercept+10*slope, -0.1494, 0.00005)
	near(t, "u(b)", Correlated(inputs, [][]float64{{1, r}, {r, 1}}), 0.0041, 0.00005)
}

// GUM G.4.1's example: relative uncertainties of 0.25, 0.57 and 0.82 % with 10, 5 and
// 15 readings (from memory): u_c 1.03 %, 19.0 degrees of freedom, U = 2.2 %.
func TestGUM_G41_WelchSatterthwaite(t *testing.T) {
	c := Combine([]Component{input(0.25, 9), input(0.57, 4), input(0.82, 14)})
	near(t, "u_c", c.Standard, 1.03, 0.005)
	near(t, "degrees of freedom", c.DegreesOfFreedom, 18.99874, 0.000005)
	k, expanded := c.Expanded()
	near(t, "t95", k, 2.09, 0.005)
	near(t, "U", expanded, 2.2, 0.05)
}

// The mass standard of NIST TN 1297, section 7: m = 100.021 47 g with u_c = 0.35 mg
// (both read in texts that quote it), of which U is 0.70 mg with k = 2 and, for 9
// degrees of freedom and 95 %, 0.79 mg with k = 2.26 (GUM 7.2.4, from memory).
func TestTN1297_MassStandard(t *testing.T) {
	for _, c := range []struct{ dof, k, mg float64 }{{9, 2.26, 0.79}, {math.Inf(1), 1.96, 0.69}} {
		g := Combine([]Component{{Source: "mass", Distribution: "normal", Standard: 0.35, Sensitivity: 1, DegreesOfFreedom: c.dof}})
		k, mg := g.Expanded()
		if math.Abs(k-c.k) > 0.005 || math.Abs(mg-c.mg) > 0.005 {
			t.Errorf("%g degrees of freedom: k = %.3f, U = %.3f mg, want %g and %g mg", c.dof, k, mg, c.k, c.mg)
		}
		if g.Standard != 0.35 || 2*g.Standard != 0.70 {
			t.Errorf("u_c = %g mg, want 0.35 mg", g.Standard)
		}
	}
}

// A published example of the Welch-Satterthwaite formula with sensitivities: the inputs
// were read in the manual of an open metrology package for a statistics language, the
// results computed independently with another program.
func TestCombine_WelchSatterthwaite_Sensitivities(t *testing.T) {
	c := []Component{input(0.1, known), input(0.3, 6), input(0.2, 8), input(1.1, 3)}
	for i, s := range []float64{1, 2, 3, 0.5} {
		c[i].Sensitivity = s
	}
	all := Combine(c)
	near(t, "u_c", all.Standard, 1.01612, 0.000005)
	near(t, "degrees of freedom", all.DegreesOfFreedom, 15.608, 0.0005)
}

func TestCombine_Degenerate(t *testing.T) {
	if c := Combine(nil); c.Standard != 0 || !math.IsInf(c.DegreesOfFreedom, 1) || c.Excess != 0 {
		t.Errorf("of nothing: %+v", c)
	}
	for _, u := range []float64{-1, math.NaN()} {
		if c := Combine([]Component{input(1, known), input(u, known)}); !math.IsNaN(c.Standard) {
			t.Errorf("with u = %g: %+v", u, c)
		}
	}
}

// drawn is a budget of one to eight components.
func drawn(t *rapid.T) []Component {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Component {
		return Component{
			Distribution:     rapid.SampledFrom([]string{"normal", "rectangular", "triangular", "U-shaped"}).Draw(t, "distribution"),
			Standard:         rapid.Float64Range(1e-6, 10).Draw(t, "standard"),
			Sensitivity:      rapid.SampledFrom([]float64{-1, 1}).Draw(t, "sign") * rapid.Float64Range(0.001, 100).Draw(t, "sensitivity"),
			DegreesOfFreedom: rapid.SampledFrom([]float64{1, 2, 5, 19, 300, known}).Draw(t, "degrees of freedom"),
		}
	}), 1, 8).Draw(t, "components")
}

// What holds for any budget: the effective degrees of freedom lie between the fewest
// and the sum of all (GUM G.4.1), the unit does not matter, a reversed sensitivity
// changes nothing, and more doubt never makes the interval smaller where the shapes
// are alike.
func TestCombine_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := drawn(t)
		c := Combine(b)
		k, expanded := c.Expanded()
		fewest, sum := math.Inf(1), 0.0
		scaled := append([]Component(nil), b...)
		for i := range b {
			if b[i].Contribution() > 0 {
				fewest = min(fewest, b[i].DegreesOfFreedom)
				sum += b[i].DegreesOfFreedom
			}
			scaled[i].Sensitivity *= -1e3
		}
		if c.Standard > 0 && (c.DegreesOfFreedom < fewest*(1-1e-9) || c.DegreesOfFreedom > sum*(1+1e-9)) {
			t.Fatalf("%g degrees of freedom, not from %g to %g", c.DegreesOfFreedom, fewest, sum)
		}
		s := Combine(scaled)
		ks, es := s.Expanded()
		if math.Abs(ks-k) > 1e-9*k || math.Abs(es-1e3*expanded) > 1e-9*es {
			t.Fatalf("in another unit: k %g and %g, U %g and %g", k, ks, expanded, es)
		}
		if k < 1.4 || k > 12.8 {
			t.Fatalf("k = %g", k)
		}
	})
}

func BenchmarkCombine_Expanded(b *testing.B) {
	for _, dof := range []float64{known, 400, 7} {
		budget := []Component{input(0.2, dof)}
		for _, u := range []float64{1, 1, 0.3, 0.2, 0.1, 0.1, 0.05} {
			c := input(u, known)
			c.Distribution = "rectangular"
			budget = append(budget, c)
		}
		b.Run(fmt.Sprintf("dof=%g", dof), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Combine(budget).Expanded()
			}
		})
	}
	few := []Component{input(0.2, 7), input(0.1, known)}
	b.Run("few", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			Combine(few).Expanded()
		}
	})
}

func BenchmarkConformance(b *testing.B) {
	for _, dof := range []float64{known, 40} {
		c := Combined{Standard: 0.05, DegreesOfFreedom: dof, Excess: -0.4}
		b.Run(fmt.Sprintf("dof=%g", dof), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				c.Conformance(12.1, 12, 14.5)
			}
		})
	}
}

func TestCombine_Expanded_Allocates(t *testing.T) {
	budget := []Component{input(0.2, 7), input(1, known)}
	if n := testing.AllocsPerRun(100, func() { Combine(budget).Expanded() }); n != 0 {
		t.Errorf("%g allocations", n)
	}
	c := Combined{Standard: 0.05, DegreesOfFreedom: 12}
	if n := testing.AllocsPerRun(100, func() { c.Conformance(12.1, 12, 14.5) }); n != 0 {
		t.Errorf("Conformance: %g allocations", n)
	}
}
