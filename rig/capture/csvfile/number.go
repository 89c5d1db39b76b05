package csvfile

import (
	"bytes"
	"math"
	"strconv"
	"time"
)

// Bounds of what a file may hold.
const (
	// maxNs is the largest time either way, in nanoseconds: 9.2e9 s, 291 years,
	// just inside what 64 bits hold.
	maxNs = 9_200_000_000 * 1_000_000_000
	// maxVolts is the largest voltage either way. Nothing on a bench comes near
	// it; the marks that instruments write for "no number" lie far beyond.
	maxVolts = 1e5
	// maxMantissa is the largest whole number up to which a float64 holds every one.
	maxMantissa = 1 << 53
	// finestPlaces is the most decimal places of volts that count as resolution.
	finestPlaces = 9
)

// pow10 are the powers of ten that 64 bits hold, pow10f those that a float64
// holds exactly.
var (
	pow10  [19]uint64
	pow10f [23]float64
)

func init() {
	p := uint64(1)
	for i := range pow10 {
		pow10[i] = p
		p *= 10
	}
	f := 1.0
	for i := range pow10f {
		pow10f[i] = f
		f *= 10
	}
}

// decimal is a number as written: mantissa·10^-places.
type decimal struct {
	mantissa uint64
	places   int
	negative bool
}

// scanDecimal reads a plain decimal number of up to 18 digits that ends at a
// comma or at the end, and returns how many bytes it takes; 0 where it is
// anything else.
func scanDecimal(b []byte) (d decimal, n int) {
	i := 0
	if len(b) > 0 && b[0] == '-' {
		d.negative = true
		i = 1
	}
	start, point := i, -1
	for ; i < len(b); i++ {
		c := b[i] - '0'
		if c <= 9 {
			d.mantissa = d.mantissa*10 + uint64(c)
			continue
		}
		if b[i] == ',' {
			break
		}
		if b[i] != '.' || point >= 0 {
			return d, 0
		}
		point = i
	}
	digits := i - start
	if point >= 0 {
		digits--
		d.places = i - point - 1
	}
	if digits == 0 || digits > 18 {
		return d, 0
	}
	return d, i
}

// ns returns the number of seconds in whole nanoseconds; ok is false where it
// has more than nine places or lies out of bounds.
func (d decimal) ns() (int64, bool) {
	if d.places > 9 {
		return 0, false
	}
	scale := pow10[9-d.places]
	if d.mantissa > maxNs/scale {
		return 0, false
	}
	ns := int64(d.mantissa * scale)
	if d.negative {
		ns = -ns
	}
	return ns, true
}

// float returns the float64 nearest to the number: one correctly rounded
// division of two exact values. ok is false where they would not be exact.
func (d decimal) float() (float64, bool) {
	if d.mantissa > maxMantissa {
		return 0, false
	}
	v := float64(d.mantissa) / pow10f[d.places]
	if d.negative {
		v = -v
	}
	return v, true
}

// written is a number taken apart: the digits of its mantissa, of which places
// stand after the point, and its exponent.
type written struct {
	negative   bool
	whole, dec []byte
	exponent   int
	scientific bool
}

// parseWritten splits a number in plain or scientific notation; ok is false for
// anything else (hexadecimal, infinities, digits with separators).
func parseWritten(b []byte) (w written, ok bool) {
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		w.negative = b[0] == '-'
		b = b[1:]
	}
	w.whole, b = scanDigits(b)
	if len(b) > 0 && b[0] == '.' {
		w.dec, b = scanDigits(b[1:])
	}
	if len(w.whole)+len(w.dec) == 0 {
		return w, false
	}
	if len(b) == 0 {
		return w, true
	}
	if b[0] != 'e' && b[0] != 'E' {
		return w, false
	}
	w.scientific = true
	w.exponent, ok = scanExponent(b[1:])
	return w, ok
}

func scanDigits(b []byte) (digits, rest []byte) {
	n := 0
	for n < len(b) && b[n]-'0' <= 9 {
		n++
	}
	return b[:n], b[n:]
}

// scanExponent reads a signed whole number. Beyond four digits it is held at
// 9999: the number is zero or out of bounds either way.
func scanExponent(b []byte) (int, bool) {
	negative := false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative = b[0] == '-'
		b = b[1:]
	}
	digits, rest := scanDigits(b)
	if len(digits) == 0 || len(rest) > 0 {
		return 0, false
	}
	e := 0
	for _, c := range digits {
		e = min(e*10+int(c-'0'), 9999)
	}
	if negative {
		e = -e
	}
	return e, true
}

// digit returns the i-th digit of the mantissa, 0 beyond its end.
func (w written) digit(i int) uint64 {
	switch {
	case i < len(w.whole):
		return uint64(w.whole[i] - '0')
	case i-len(w.whole) < len(w.dec):
		return uint64(w.dec[i-len(w.whole)] - '0')
	}
	return 0
}

// ns returns the number of seconds in nanoseconds, rounded to the nearest, by
// its decimal digits alone; ok is false where it lies out of bounds.
func (w written) ns() (int64, bool) {
	keep := len(w.whole) + w.exponent + 9 // digits down to the nanosecond
	if keep < 0 {
		return 0, true
	}
	var ns uint64
	for i := range keep {
		if ns == 0 && i > len(w.whole)+len(w.dec) {
			return 0, true // nothing but zeros, however large the exponent
		}
		if ns > maxNs/10 {
			return 0, false
		}
		ns = ns*10 + w.digit(i)
	}
	if w.digit(keep) >= 5 {
		ns++
	}
	if ns > maxNs {
		return 0, false
	}
	if w.negative {
		return -int64(ns), true
	}
	return int64(ns), true
}

// zero reports whether the number is zero.
func (w written) zero() bool {
	return len(bytes.Trim(w.whole, "0")) == 0 && len(bytes.Trim(w.dec, "0")) == 0
}

// carefulVolts reads a voltage in any notation that parseWritten knows.
func carefulVolts(cell []byte) (v float64, places int, ok bool) {
	w, ok := parseWritten(cell)
	if !ok {
		return 0, 0, false
	}
	places = max(0, len(w.dec)-w.exponent)
	if w.zero() {
		places = len(w.dec) // 0.00E+00 says nothing about small voltages
	}
	if d, ok := w.decimal(); ok {
		if v, ok := d.float(); ok {
			return v, places, true
		}
	}
	v, err := strconv.ParseFloat(string(cell), 64)
	if err != nil && !math.IsInf(v, 0) {
		return 0, 0, false
	}
	return v, places, true
}

// decimal folds the exponent into the places; ok is false where mantissa or
// places grow beyond what the exact path takes.
func (w written) decimal() (d decimal, ok bool) {
	d.negative = w.negative
	d.places = len(w.dec) - w.exponent
	if len(w.whole)+len(w.dec) > 18 || d.places < 0 || d.places >= len(pow10f) {
		return d, false
	}
	for _, c := range w.whole {
		d.mantissa = d.mantissa*10 + uint64(c-'0')
	}
	for _, c := range w.dec {
		d.mantissa = d.mantissa*10 + uint64(c-'0')
	}
	return d, true
}

// roundingOf returns the standard uncertainty of a time written to the given
// number of decimal places: its last digit is rounded, a rectangular
// distribution one unit wide, so unit/√12 (GUM, JCGM 100:2008, F.2.2.1). It is
// rounded up to a whole nanosecond.
func roundingOf(places int) time.Duration {
	unit := math.Pow(10, float64(9-min(places, 9)))
	return time.Duration(math.Ceil(unit / math.Sqrt(12)))
}

// stepOf returns the unit of the last of the decimal places, in volts.
func stepOf(places int) float64 { return 1 / pow10f[min(places, finestPlaces)] }
