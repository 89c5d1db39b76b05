package gum

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Conformance returns the probability that the true value lies within the
// limits, given a measured value with its standard uncertainty, taken as normal
// (JCGM 106:2012, 7.3). A NaN limit does not bound. With no uncertainty it is 0
// or 1.
func Conformance(value, standard, lower, upper float64) float64 {
	if math.IsNaN(value) || math.IsNaN(standard) {
		return math.NaN()
	}
	if standard == 0 {
		if value < lower || value > upper { // false for NaN limits, as meant
			return 0
		}
		return 1
	}
	n := distuv.UnitNormal
	below, above := 0.0, 0.0
	if !math.IsNaN(lower) {
		below = n.CDF((lower - value) / standard)
	}
	if !math.IsNaN(upper) {
		above = n.Survival((upper - value) / standard)
	}
	return math.Max(0, 1-below-above)
}
