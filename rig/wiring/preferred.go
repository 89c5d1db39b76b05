package wiring

import (
	"math"
	"strconv"
)

// Series is a series of preferred values (IEC 60063), by its number of values a
// decade.
type Series int

// The series that capacitors come in, and resistors of 5 % and of 1 %.
const (
	E6  Series = 6
	E24 Series = 24
	E96 Series = 96
)

// String is the series as it is named.
func (s Series) String() string { return "E" + strconv.Itoa(int(s)) }

// Decade returns the series' values from 1 up to, not including, 10, rising.
// E96 is rounding of 10^(n/96) to three digits. E24 is rounding to two, apart from
// the values that the standard kept from before (IEC 60063). E6 is every fourth of E24.
func (s Series) Decade() []float64 {
	if s < E24 {
		var some []float64
		for n, v := range E24.Decade() {
			if n%(int(E24)/int(s)) == 0 {
				some = append(some, v)
			}
		}
		return some
	}
	digits := 10.0
	if s > 24 {
		digits = 100
	}
	kept := map[int]float64{10: 2.7, 11: 3.0, 12: 3.3, 13: 3.6, 14: 3.9, 15: 4.3, 16: 4.7, 22: 8.2}
	values := make([]float64, s)
	for n := range values {
		values[n] = math.Round(math.Pow(10, float64(n)/float64(s))*digits) / digits
		if v, ok := kept[n]; ok && s == E24 {
			values[n] = v
		}
	}
	return values
}

// AtLeast returns the smallest preferred value, in ohms, that is not below the
// resistance, which must be above zero.
func (s Series) AtLeast(ohms float64) float64 {
	for _, v := range s.around(ohms) {
		if v >= ohms*(1-slack) {
			return v
		}
	}
	return math.Inf(1)
}

// AtMost returns the largest preferred value, in ohms, that is not above the
// resistance, which must be above zero.
func (s Series) AtMost(ohms float64) float64 {
	best := 0.0
	for _, v := range s.around(ohms) {
		if v <= ohms*(1+slack) {
			best = v
		}
	}
	return best
}

// Nearest returns the preferred value, in ohms, whose ratio to the resistance, which
// must be above zero, is nearest to one.
func (s Series) Nearest(ohms float64) float64 {
	below, above := s.AtMost(ohms), s.AtLeast(ohms)
	if ohms/below < above/ohms {
		return below
	}
	return above
}

// slack is what rounding adds to a value that fits exactly.
const slack = 1e-9

// around lists the preferred values of the decade that the resistance lies in and of
// those on both sides, rising; none where it has no decade.
func (s Series) around(ohms float64) []float64 {
	if !(ohms > 0) || math.IsInf(ohms, 1) {
		return nil
	}
	exponent := math.Floor(math.Log10(ohms))
	var list []float64
	for e := exponent - 1; e <= exponent+1; e++ {
		for _, v := range s.Decade() {
			// Scaled by the whole number, so that 39 kohm is exactly 39000.
			list = append(list, math.Round(v*100)*math.Pow(10, e)/100)
		}
	}
	return list
}
