package gum

import (
	"fmt"
	"math"
	"testing"

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

// Half-widths: GUM 4.3.4 (a certificate's 129 µΩ at 99 %), 4.3.7 (0.40e-6, rectangular)
// and 4.4.5, 4.4.6 (±4 °C, rectangular and triangular); from memory.
func TestGUM_43_HalfWidth(t *testing.T) {
	t.Parallel()
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
	t.Parallel()
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

// GUM G.4.1's example: relative uncertainties of 0.25, 0.57 and 0.82 % with 10, 5 and
// 15 readings (from memory): u_c 1.03 %, 19.0 degrees of freedom, U = 2.2 %.
func TestGUM_G41_WelchSatterthwaite(t *testing.T) {
	t.Parallel()
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
	t.Parallel()
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
	t.Parallel()
	c := []Component{input(0.1, known), input(0.3, 6), input(0.2, 8), input(1.1, 3)}
	for i, s := range []float64{1, 2, 3, 0.5} {
		c[i].Sensitivity = s
	}
	all := Combine(c)
	near(t, "u_c", all.Standard, 1.01612, 0.000005)
	near(t, "degrees of freedom", all.DegreesOfFreedom, 15.608, 0.0005)
}

func TestCombine_Degenerate(t *testing.T) {
	t.Parallel()
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
	t.Parallel()
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
