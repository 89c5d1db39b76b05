package sums

import (
	"fmt"
	"math"

	"makebreak/rig/unit"
)

// ratings are the powers, in watts, that resistors are sold for (common practice, no
// source).
var ratings = []float64{0.125, 0.25, 0.5, 1, 2, 3, 5, 7, 10, 15, 25, 50, 100}

// headroom is by what a resistor's power is multiplied before its rating is chosen
// (common practice, no source).
const headroom = 2

// RatingAbove returns the next usual rating, in watts, above twice the power; infinite
// where there is none.
func RatingAbove(watts float64) float64 {
	for _, r := range ratings {
		if r > headroom*watts {
			return r
		}
	}
	return math.Inf(1)
}

// power adds a resistor's power, how that comes about, and the rating it needs. The
// names begin with the part's.
func (s *Sheet) power(name, part string, watts float64, sum string) {
	s.step(name+"_watts", "power in the "+part+", worst case", unit.Power, watts, sum)
	rating := RatingAbove(watts)
	if math.IsInf(rating, 1) {
		s.warn(fmt.Sprintf("the %s takes %s: more than half of any usual resistor's rating", part, show(unit.Power, watts)))
		return
	}
	s.step(name+"_rating_watts", "rating, the next above twice that", unit.Power, rating,
		"above 2 × "+show(unit.Power, watts))
}
