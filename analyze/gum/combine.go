package gum

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Combined is the outcome of propagating a budget.
type Combined struct {
	Standard         float64 // combined standard uncertainty, GUM equation 10
	DegreesOfFreedom float64 // effective ones, GUM equation G.2b; may be infinite
	Excess           float64 // excess kurtosis of the sum, 0 for a normal one
}

// Combine propagates uncorrelated components through a linear model: the law of
// propagation of uncertainty (GUM 5.1.2) and the Welch-Satterthwaite formula
// (GUM G.4.1). Negative or undefined standard uncertainties are the caller's
// mistake and give NaN.
func Combine(components []Component) Combined {
	var variance, welch, fourth float64
	for _, c := range components {
		x := c.Contribution()
		v := x * x
		variance += v
		if c.DegreesOfFreedom > 0 && !math.IsInf(c.DegreesOfFreedom, 1) {
			welch += v * v / c.DegreesOfFreedom
		}
		fourth += v * v * excess(c.Distribution)
	}
	out := Combined{Standard: math.Sqrt(variance), DegreesOfFreedom: math.Inf(1)}
	if variance > 0 {
		if welch > 0 {
			out.DegreesOfFreedom = variance * variance / welch
		}
		out.Excess = fourth / (variance * variance)
	}
	return out
}

// Correlated returns the combined standard uncertainty where inputs i and j
// have the correlation coefficient r[i][j] (GUM equation 16).
func Correlated(components []Component, r [][]float64) float64 {
	var sum float64
	for i, a := range components {
		for j, b := range components {
			sum += a.Sensitivity * b.Sensitivity * a.Standard * b.Standard * r[i][j]
		}
	}
	return math.Sqrt(math.Max(0, sum))
}

// excess returns the excess kurtosis of a distribution (from memory; any table
// of distributions).
func excess(distribution string) float64 {
	switch distribution {
	case "rectangular":
		return -1.2
	case "triangular":
		return -0.6
	case "U-shaped":
		return -1.5
	}
	return 0
}

// Expanded returns the coverage factor and the expanded uncertainty for a
// coverage of 95 %.
//
// The factor is Student's for the effective degrees of freedom (GUM G.3), made
// smaller where bounded components dominate: for one rectangular component the
// 95 % half-width is 0.95·√3 = 1.645 standard uncertainties, for a triangular
// one 1.902 (GUM G.1.3 asks for exactly this). Between those, the factor follows
// the excess kurtosis of the sum.
func (c Combined) Expanded() (factor, expanded float64) {
	factor = student95(c.DegreesOfFreedom) * bounded95(c.Excess) / normal95
	return factor, factor * c.Standard
}

const normal95 = 1.959963984540054

// bounded95 is the two-sided 95 % factor of a symmetrical sum with the given
// excess kurtosis: a parabola through the normal (0), triangular (-0.6) and
// rectangular (-1.2) distributions' exact factors.
func bounded95(excess float64) float64 {
	const rect, tri = 1.6454482671904334, 1.9018165706763826
	e := math.Min(0, math.Max(-1.2, excess))
	b := ((rect - normal95) - 2*(tri-normal95)) / 0.72
	a := ((tri - normal95) - 0.36*b) / -0.6
	return normal95 + a*e + b*e*e
}

// student95 returns Student's two-sided 95 % factor. From 30 degrees of freedom
// the asymptotic expansion is exact to six digits (Abramowitz and Stegun 26.7.5).
func student95(dof float64) float64 {
	switch {
	case math.IsInf(dof, 1) || math.IsNaN(dof):
		return normal95
	case dof < 1:
		return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: 1}.Quantile(0.975)
	case dof < 30:
		return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}.Quantile(0.975)
	}
	z := normal95
	z3, z5, z7 := z*z*z, z*z*z*z*z, z*z*z*z*z*z*z
	return z + (z3+z)/(4*dof) + (5*z5+16*z3+3*z)/(96*dof*dof) +
		(3*z7+19*z5+17*z3-15*z)/(384*dof*dof*dof)
}

// HalfWidth returns the standard uncertainty of a quantity known to lie within
// ±a: rectangular a/√3 (GUM 4.3.7), triangular a/√6 (GUM 4.3.9), and for a normal
// one a itself, taken as a standard deviation.
func HalfWidth(distribution string, a float64) float64 {
	switch distribution {
	case "rectangular":
		return a / math.Sqrt(3)
	case "triangular":
		return a / math.Sqrt(6)
	case "U-shaped":
		return a / math.Sqrt2
	}
	return a
}
