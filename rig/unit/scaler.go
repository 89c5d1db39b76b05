package unit

import (
	"math"
)

// Missing stands for a number that is not known.
const Missing = "—"

// Figures are numbers of one quantity that are read side by side, in its base unit.
type Figures struct {
	Values []float64 // what was measured or calculated: a value, or a median with its extremes

	// Uncertainty is that of the values, expanded or not, as it will be shown. Zero and NaN
	// mean that none is stated.
	Uncertainty float64

	Limits []float64 // what the values are judged by; NaN and infinite ones are none

	// Digits is how many significant digits the largest value gets where no uncertainty is
	// stated; 0 means 3.
	Digits int
}

// A Scaler writes figures that belong together in one unit and with one number of decimals,
// so that they can be compared at a glance: 492.5 mV, 491.9 to 493.1 mV, ± 8.4 mV, max 500 mV.
//
// The unit is the one in which the largest value reads as 1 or more; a larger one where a
// limit would else be 1000 or more. The decimals follow from the uncertainty, which has two
// significant digits (JCGM 100:2008, 7.2.6). A value that would round onto a limit or beyond
// it gets as many more decimals as show its side. Limits are written as they were stated.
//
// The zero Scaler writes whole numbers without a unit.
type Scaler struct {
	unit        string
	power       int // the unit is 10^power base units
	base        string
	basePower   int // of the base unit as printed: -2 for %
	place       int // of the last digit, counted in units of one, not of the unit
	uncertainty float64
	limits      []float64
	trimmed     bool // zeros at the end are left out
}

// Scaler returns the Scaler for figures of the kind.
func (k Kind) Scaler(f Figures) Scaler {
	s := Scaler{uncertainty: f.Uncertainty, limits: f.Limits}
	largest := largestOf(f.Values)
	stated := finite(f.Uncertainty) && f.Uncertainty > 0
	digits := f.Digits
	if digits <= 0 {
		digits = 3
	}
	switch {
	case stated:
		s.place = placeOf(f.Uncertainty, 2)
		largest = math.Max(largest, f.Uncertainty)
	case k.Base == "" && integers(f.Values):
		s.place = 0
	default:
		s.place = placeOf(largest, digits)
	}
	if largest = toPlace(largest, s.place).value(); largest == 0 {
		largest = largestOf(f.Limits)
	}
	return s.in(k, largest)
}

// in picks the unit for a magnitude.
func (s Scaler) in(k Kind, magnitude float64) Scaler {
	s.base, s.basePower = k.base()
	s.unit, s.power = s.base, s.basePower
	bound := largestOf(s.limits)
	for i, u := range k.shown() { // the larger ones first
		s.unit, s.power = u.text, u.power
		last := i == len(k.shown())-1
		if magnitude == 0 && u.power == s.basePower || magnitude > 0 && at(magnitude, u.power) >= 1 || last {
			break
		}
		if next := k.shown()[i+1]; at(bound, next.power) >= mostInFront {
			break
		}
	}
	return s
}

// mostInFront is the number from which a limit's unit is taken a step larger.
const mostInFront = 1e3

// at returns v in a unit of 10^power.
func at(v float64, power int) float64 { return significant(v, 15).shifted(-power).value() }

// base returns the base unit as printed, and its power.
func (k Kind) base() (text string, power int) {
	for _, u := range k.units {
		if u.text == k.Base {
			return u.text, u.power
		}
	}
	return k.Base, 0
}

// shown returns the words that are written, the largest first.
func (k Kind) shown() []word {
	var all []word
	for _, u := range k.units {
		if u.shown {
			all = append(all, u)
		}
	}
	for i := 1; i < len(all); i++ { // a handful; sorted by insertion
		for j := i; j > 0 && all[j].power > all[j-1].power; j-- {
			all[j], all[j-1] = all[j-1], all[j]
		}
	}
	return all
}

// Fixed returns a Scaler with the base unit and a fixed number of decimals, for columns.
func (k Kind) Fixed(decimals int) Scaler {
	base, power := k.base()
	return Scaler{unit: base, power: power, base: base, basePower: power, place: decimals - power}
}

// Unscaled returns the Scaler that writes the same digits in the base unit, for machines:
// 0.4925 and not 492.5 mV.
func (s Scaler) Unscaled() Scaler {
	s.unit, s.power = s.base, s.basePower
	return s
}

// Trimmed returns a Scaler that leaves out zeros at the end, for a value that stands alone.
func (s Scaler) Trimmed() Scaler {
	s.trimmed = true
	return s
}

// In returns a value in the Scaler's unit, to 15 digits, for a drawing's axis.
func (s Scaler) In(v float64) float64 {
	if !finite(v) {
		return v
	}
	return at(v, s.power)
}

// Unit returns the unit that all numbers are in; empty for plain numbers.
func (s Scaler) Unit() string { return s.unit }

// Number writes a value without its unit; empty where it is not finite.
func (s Scaler) Number(v float64) string {
	if !finite(v) {
		return ""
	}
	place := s.place
	shown := toPlace(v, place)
	for _, limit := range s.limits {
		for n := 0; n < mostMore && finite(limit) && side(shown.value(), limit) != side(v, limit); n++ {
			place++
			shown = toPlace(v, place)
		}
	}
	return s.write(shown, place)
}

// mostMore is how many more decimals suffice to tell any two numbers apart.
const mostMore = 340

func side(v, limit float64) int {
	switch {
	case v < limit:
		return -1
	case v > limit:
		return 1
	}
	return 0
}

func (s Scaler) write(d decimal, place int) string {
	decimals := place + s.power
	if s.trimmed {
		decimals = 0
	}
	return d.shifted(-s.power).text(decimals)
}

// Text writes a value with its unit; Missing where it is not finite.
func (s Scaler) Text(v float64) string { return s.with(s.Number(v)) }

// with appends the unit to a number.
func (s Scaler) with(number string) string {
	switch {
	case number == "":
		return Missing
	case s.unit == "":
		return number
	}
	return number + " " + s.unit
}

// Range writes two values with their unit, as in "491.9 to 493.1 mV" for between " to "; one
// where both read alike.
func (s Scaler) Range(low, high float64, between string) string {
	a, b := s.Number(low), s.Number(high)
	if a == b || a == "" {
		return s.with(b)
	}
	return a + between + s.with(b)
}

// Limit writes a limit without its unit, as it was stated; empty where it is not finite.
func (s Scaler) Limit(v float64) string {
	if !finite(v) {
		return ""
	}
	return significant(v, statedDigits).shifted(-s.power).text(0)
}

// statedDigits is how many digits a limit can have: more come from arithmetic.
const statedDigits = 9

// LimitText writes a limit with its unit; Missing where it is not finite.
func (s Scaler) LimitText(v float64) string { return s.with(s.Limit(v)) }

// Uncertainty writes the figures' uncertainty without its unit; empty where none is stated,
// "0" where it is zero.
func (s Scaler) Uncertainty() string {
	switch u := s.uncertainty; {
	case !finite(u) || u < 0:
		return ""
	case u == 0:
		return "0"
	default:
		return s.write(toPlace(u, s.place), s.place)
	}
}

// PlusMinus writes the figures' uncertainty as in "± 8.4 mV"; empty where none is stated.
func (s Scaler) PlusMinus() string {
	u := s.Uncertainty()
	if u == "" {
		return ""
	}
	return "± " + s.with(u)
}

// Short writes one value for people with a fitting prefix and up to so many significant
// digits, without zeros at the end: "250 µs", "4.7 kohm".
func (k Kind) Short(v float64, digits int) string {
	return k.Scaler(Figures{Values: []float64{v}, Uncertainty: math.NaN(), Digits: digits}).Trimmed().Text(v)
}

// Format writes a value with a fitting prefix and up to six significant digits, in a form
// that Parse reads back.
func (k Kind) Format(v float64) string { return k.Short(v, formatDigits) }

const formatDigits = 6

// Reading writes a value and its uncertainty: "142.0 ms ± 1.2 ms". Without an uncertainty
// the value gets up to six digits.
func (k Kind) Reading(v, uncertainty float64) string {
	if !finite(v) {
		return Missing
	}
	if !finite(uncertainty) || uncertainty <= 0 {
		return k.Format(v)
	}
	s := k.Scaler(Figures{Values: []float64{v}, Uncertainty: uncertainty})
	return s.Text(v) + " " + s.PlusMinus()
}

// placeOf returns the decimal place of v's last significant digit when it is rounded to n:
// 0.0123 gives 3 for two digits, 123 gives -1, and 0.0996, which is 0.10, gives 2.
func placeOf(v float64, n int) int {
	d := significant(v, n)
	if d.digits == "" {
		return n - 1
	}
	return n - d.point
}

func largestOf(values []float64) (largest float64) {
	for _, v := range values {
		if finite(v) {
			largest = math.Max(largest, math.Abs(v))
		}
	}
	return largest
}

func integers(values []float64) bool {
	for _, v := range values {
		if finite(v) && v != math.Trunc(v) {
			return false
		}
	}
	return true
}
