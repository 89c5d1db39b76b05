// Package gum propagates uncertainty by the law of the GUM (JCGM 100:2008) and
// takes decisions by JCGM 106:2012. It knows nothing of benches.
package gum

import "math"

// Component is one line of an uncertainty budget.
type Component struct {
	Source       string
	Distribution string  // "normal", "rectangular", "triangular", "U-shaped"
	Standard     float64 // standard uncertainty of the input, in the input's unit
	Sensitivity  float64 // partial derivative of the result by the input
	// DegreesOfFreedom of the standard uncertainty; infinite where it is taken as
	// known exactly.
	DegreesOfFreedom float64
}

// Contribution returns the component's share in the result, |c|·u.
func (c Component) Contribution() float64 { return math.Abs(c.Sensitivity) * c.Standard }
