package report

import (
	"math"
	"strconv"

	"makebreak/analyze"
	"makebreak/rig/unit"
)

// plainDigits is how many significant digits a value without a stated uncertainty gets.
const plainDigits = 6

// scalerOf returns what writes figures of the quantity that are read together, all in its
// base unit, with the digits that they mean. Without an uncertainty each has six
// significant digits at most, and a count is the whole number that it is.
func scalerOf(q analyze.Quantity, l analyze.Limit, expanded float64, values ...float64) unit.Scaler {
	s := unit.Of(q.Unit()).Scaler(unit.Figures{Values: values, Uncertainty: expanded, Limits: []float64{l.Lower, l.Upper}, Digits: plainDigits})
	if !finite(expanded) || expanded <= 0 {
		return s.Trimmed()
	}
	return s
}

// ScalerOf returns what writes figures of a quantity that are read together, all in its base
// unit, beside their limit.
func ScalerOf(q analyze.Quantity, l analyze.Limit, expanded float64, values ...float64) unit.Scaler {
	return scalerOf(q, l, expanded, values...)
}

// Round writes a figure of the quantity and its expanded uncertainty, both in the
// quantity's base unit, for machines: without a unit and with as many digits as they mean.
// The uncertainty has two significant digits and the value as many decimals (JCGM
// 100:2008, 7.2.6). What is not a finite number is missing and gives an empty text.
func Round(q analyze.Quantity, value, expanded float64) (v, u string) {
	if !finite(value) {
		return "", ""
	}
	s := scalerOf(q, analyze.NoLimit(), expanded, value).Unscaled()
	return s.Number(value), s.Uncertainty()
}

// Reading writes a figure and its expanded uncertainty, both in the quantity's base unit,
// for people: in one fitting unit, as in "142.0 ms ± 1.2 ms". A missing value is a dash.
func Reading(q analyze.Quantity, value, expanded float64) string {
	return reading(scalerOf(q, analyze.NoLimit(), expanded, value), value)
}

func reading(s unit.Scaler, value float64) string {
	if u := s.PlusMinus(); u != "" && finite(value) {
		return s.Text(value) + " " + u
	}
	return s.Text(value)
}

// LimitWords writes a quantity's limit for people, as it was stated: "max 500 ms",
// "min 12 V", "12 … 14.5 V"; no limit gives an empty text.
func LimitWords(q analyze.Quantity, l analyze.Limit) string {
	return limitWords(scalerOf(q, l, math.NaN()), l)
}

// limitWords writes a limit beside the figures that it judges, in their unit.
func limitWords(s unit.Scaler, l analyze.Limit) string {
	switch {
	case l.None():
		return ""
	case !finite(l.Lower):
		return "max " + s.LimitText(l.Upper)
	case !finite(l.Upper):
		return "min " + s.LimitText(l.Lower)
	}
	return s.Limit(l.Lower) + " … " + s.LimitText(l.Upper)
}

// significant writes x in plain decimal notation with up to n significant digits. What is
// not finite gives an empty text.
func significant(x float64, n int) string {
	y, err := strconv.ParseFloat(strconv.FormatFloat(x, 'e', n-1, 64), 64)
	if err != nil { // rounded up beyond the largest number
		y = x
	}
	return shortest(y)
}

// shortest writes x in plain decimal notation with the fewest digits that name it, as
// limits are written. What is not finite gives an empty text.
func shortest(x float64) string {
	if !finite(x) {
		return ""
	}
	return strconv.FormatFloat(x+0, 'f', -1, 64) // + 0: no -0
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
