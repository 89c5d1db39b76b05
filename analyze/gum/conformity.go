package gum

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Decision is what follows from a measured value and a tolerance interval.
type Decision int

// The decisions.
const (
	Undecided Decision = iota // the guard band lies across a limit
	Conforms
	Violates
)

// Decide compares a value with limits by the rules of JCGM 106:2012, 8.3: the
// acceptance interval is the tolerance interval less a guard band on the inside
// (8.3.2, guarded acceptance), the rejection intervals begin a guard band outside of
// it (8.3.3, guarded rejection), and what lies between is not decided. A value on the
// edge of its interval belongs to it. Without a guard band (0 or NaN) it is the
// simple rule of 8.2: the value alone decides. A NaN limit does not bound; a NaN
// value is undecided.
//
// The customary guard band is the expanded uncertainty.
func Decide(value, guard, lower, upper float64) Decision {
	if math.IsNaN(guard) {
		guard = 0
	}
	switch {
	case math.IsNaN(value):
		return Undecided
	case value-guard > upper || value+guard < lower: // false for NaN limits, as meant
		return Violates
	case value+guard > upper || value-guard < lower:
		return Undecided
	}
	return Conforms
}

// Conformance returns the probability that the true value lies within the limits,
// given the measured value: JCGM 106:2012, 7.3 and 7.4, with no knowledge of the true
// value but the measurement's. A NaN limit does not bound.
//
// The true value's distribution is Student's for the effective degrees of freedom
// (JCGM 101:2008, 6.4.9; normal for infinite ones) and, as far as bounded components
// dominate, a rectangular one, either with the expanded uncertainty's 95 % interval. For
// normal components that is JCGM 106 to the letter, for a rectangular one exact. For a
// mixture of normal, rectangular and triangular components it is right to 0.016 (by
// numerical convolution in this package's tests), and at the edge of the guard band it is
// 97.5 % for any, in step with the decision.
//
// With no uncertainty it is 0 or 1.
func (c Combined) Conformance(value, lower, upper float64) float64 {
	if math.IsNaN(value) || math.IsNaN(c.Standard) {
		return math.NaN()
	}
	if c.Standard == 0 {
		if value < lower || value > upper {
			return 0
		}
		return 1
	}
	below, above := 0.0, 0.0
	if !math.IsNaN(lower) {
		below = c.below(lower - value)
	}
	if !math.IsNaN(upper) {
		above = c.below(value - upper)
	}
	return math.Max(0, 1-below-above)
}

// below is the probability that the true value lies below the measured one plus x. The
// rectangular distribution's share is the square of the excess kurtosis, as shares of
// its own: so it fits a triangular one, whose excess is half.
func (c Combined) below(x float64) float64 {
	bounded := math.Max(0, math.Min(1, c.Excess/rectangular))
	share := bounded * bounded
	p := (1 - share) * c.student(x/(c.Standard*bounded95(c.Excess))*normal95)
	if share > 0 {
		_, expanded := c.Expanded()
		p += share * math.Max(0, math.Min(1, 0.5+0.475*x/expanded))
	}
	return p
}

// student is the probability of less than z. From 100 degrees of freedom on Student's
// distribution is taken through the normal one (Abramowitz and Stegun 26.7.8), which
// is right to 1e-5 and twenty times faster.
func (c Combined) student(z float64) float64 {
	n := c.DegreesOfFreedom
	switch {
	case math.IsInf(n, 1) || math.IsNaN(n):
		return distuv.UnitNormal.CDF(z)
	case n >= 100:
		return distuv.UnitNormal.CDF(z * (1 - 1/(4*n)) / math.Sqrt(1+z*z/(2*n)))
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n}.CDF(z)
}
