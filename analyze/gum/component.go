// Package gum propagates uncertainty by the law of the GUM (JCGM 100:2008) and
// takes decisions by JCGM 106:2012. It knows nothing of benches.
//
// HalfWidth makes an input that is known from a data sheet or a certificate (GUM 4.3).
// Combine propagates uncorrelated inputs, Expanded gives the 95 % interval, Conformance
// and Decide compare it with limits.
//
// All equations and clauses named here are those of JCGM 100:2008 and JCGM 106:2012,
// cited from memory.
package gum

import "math"

// Source names where a line of a budget comes from. The names are the user's.
type Source string

// Component is one line of an uncertainty budget.
type Component struct {
	Source       Source
	Distribution string  // "normal", "rectangular", "triangular", "U-shaped"
	Standard     float64 // standard uncertainty of the input, in the input's unit
	Sensitivity  float64 // partial derivative of the result by the input, in the unit of their ratio
	// DegreesOfFreedom of the standard uncertainty; infinite where it is taken as
	// known exactly.
	DegreesOfFreedom float64 // a number
}

// Contribution returns the component's share in the result, |c|·u.
func (c Component) Contribution() float64 { return math.Abs(c.Sensitivity) * c.Standard }

// HalfWidth returns the standard uncertainty of a quantity known to lie within
// ±a: rectangular a/√3 (GUM 4.3.7), triangular a/√6 (GUM 4.3.9), U-shaped a/√2 (the
// arcsine distribution of a sine's values), and for a normal one a itself, taken as a
// standard deviation.
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

// Line returns the component of an input known to lie within ±half, or, for a normal
// distribution, known with that standard deviation. It is taken as known exactly how well.
func Line(source Source, distribution string, half, sensitivity float64) Component {
	return Component{Source: source, Distribution: distribution,
		Standard: HalfWidth(distribution, half), Sensitivity: sensitivity, DegreesOfFreedom: math.Inf(1)}
}
