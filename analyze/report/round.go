package report

import (
	"math"
	"strconv"
	"strings"

	"makebreak/analyze"
)

// plainDigits is how many significant digits a value without a stated
// uncertainty gets.
const plainDigits = 6

// Round writes a figure of the quantity and its expanded uncertainty, both in
// the quantity's base unit, with as many digits as they mean: the uncertainty
// with two significant digits, the value to the same decimal place (JCGM
// 100:2008, 7.2.6). Both are rounded to nearest. Without an uncertainty a count
// is written as the integer that it is and any other value with six significant
// digits. The notation is plain decimal with a dot. What is not a finite number
// is missing and gives an empty text.
func Round(q analyze.Quantity, value, expanded float64) (v, u string) {
	if !finite(value) {
		return "", ""
	}
	if !finite(expanded) || expanded < 0 {
		return roundAlone(q, value), ""
	}
	if expanded == 0 {
		return roundAlone(q, value), "0"
	}
	places := lastPlace(expanded)
	return toPlace(value, places), toPlace(expanded, places)
}

func roundAlone(q analyze.Quantity, value float64) string {
	if q.Unit() == "1" && value == math.Trunc(value) {
		return unsignedZero(strconv.FormatFloat(value, 'f', 0, 64))
	}
	return shortest(significant(value, plainDigits))
}

// lastPlace returns the decimal place of u's second significant digit, counted
// to the right of the point: 0.0123 gives 3, 123 gives -1. The place is that of
// the rounded u, so 0.0996 (which is 0.10) gives 2.
func lastPlace(u float64) int { return 1 - exponent(strconv.FormatFloat(u, 'e', 1, 64)) }

// exponent reads the exponent of a number in the form 1.2e-03.
func exponent(s string) int {
	_, e, _ := strings.Cut(s, "e")
	n, _ := strconv.Atoi(e) // the form is strconv's own
	return n
}

// toPlace writes x rounded to the decimal place; a negative place lies left of
// the point.
func toPlace(x float64, places int) string {
	if places >= 0 {
		return unsignedZero(strconv.FormatFloat(x, 'f', places, 64))
	}
	digits := exponent(strconv.FormatFloat(x, 'e', -1, 64)) + places
	if x == 0 || digits < -1 {
		return "0"
	}
	if digits == -1 {
		return nearestUnit(x, -places)
	}
	return shortest(significant(x, digits+1))
}

// nearestUnit rounds an x below 10^n to zero or to 10^n, whichever is nearer; a
// tie goes to zero, the even one.
func nearestUnit(x float64, n int) string {
	unit := math.Pow10(n)
	switch {
	case x > unit/2:
		return shortest(unit)
	case x < -unit/2:
		return shortest(-unit)
	}
	return "0"
}

// significant returns x rounded to n significant digits.
func significant(x float64, n int) float64 {
	y, err := strconv.ParseFloat(strconv.FormatFloat(x, 'e', n-1, 64), 64)
	if err != nil { // rounded up beyond the largest number
		return x
	}
	return y
}

// shortest writes x in plain decimal notation with the fewest digits that name
// it, as limits are written. What is not finite gives an empty text.
func shortest(x float64) string {
	if !finite(x) {
		return ""
	}
	return unsignedZero(strconv.FormatFloat(x, 'f', -1, 64))
}

// unsignedZero drops the sign of a number whose digits are all zero.
func unsignedZero(s string) string {
	if strings.HasPrefix(s, "-") && strings.Trim(s, "-0.") == "" {
		return s[1:]
	}
	return s
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
