package unit

import (
	"math"
	"strconv"
	"strings"
)

// decimal is a rounded number by its digits, so that a prefix moves the point and rounds
// nothing again: 0.digits × 10^point.
type decimal struct {
	negative bool
	digits   string // without zeros at the end; empty: zero
	point    int
}

// shortest is the number of digits for as many as name the float64.
const shortest = 0

// significant rounds to n significant digits.
func significant(v float64, n int) decimal {
	text := strconv.FormatFloat(v, 'e', n-1, 64) // shortest gives -1, which means the same to strconv
	mantissa, e, _ := strings.Cut(text, "e")
	exponent, _ := strconv.Atoi(e) // the form is strconv's own
	digits, negative := strings.CutPrefix(strings.Replace(mantissa, ".", "", 1), "-")
	digits = strings.TrimRight(digits, "0")
	return decimal{negative && digits != "", digits, exponent + 1}
}

// toPlace rounds to a decimal place, counted to the right of the point; a negative one
// lies left of it. Ties go to even, as strconv's do.
func toPlace(v float64, place int) decimal {
	whole := significant(v, shortest)
	switch n := whole.point + place; {
	case whole.digits == "" || n < 0:
		return decimal{}
	case n == 0: // less than one unit of the place
		if whole.digits > "5" {
			return decimal{whole.negative, "1", whole.point + 1}
		}
		return decimal{}
	default:
		return significant(v, n)
	}
}

// shifted multiplies by a power of ten.
func (d decimal) shifted(power int) decimal {
	d.point += power
	return d
}

// text writes the number with at least so many decimals.
func (d decimal) text(decimals int) string {
	whole, part := "0", ""
	switch {
	case d.digits == "":
	case d.point <= 0:
		part = strings.Repeat("0", -d.point) + d.digits
	case d.point >= len(d.digits):
		whole = d.digits + strings.Repeat("0", d.point-len(d.digits))
	default:
		whole, part = d.digits[:d.point], d.digits[d.point:]
	}
	if n := decimals - len(part); n > 0 {
		part += strings.Repeat("0", n)
	}
	if part != "" {
		whole += "." + part
	}
	if d.negative {
		return "-" + whole
	}
	return whole
}

// value is the number as a float64.
func (d decimal) value() float64 {
	v, err := strconv.ParseFloat(d.text(0), 64)
	if err != nil { // rounded up beyond the largest number
		return math.Inf(1)
	}
	return v
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
