package report

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"makebreak/analyze"
)

func TestRound(t *testing.T) {
	t.Parallel()
	inf := math.Inf(1)
	for _, c := range []struct {
		name         string
		q            analyze.Quantity
		value, u     float64
		wantV, wantU string
	}{
		// JCGM 100:2008, 7.2.6, from memory: 10.05762 ohm known to 27 mohm is 10.058 ohm.
		{"GUM 7.2.6", analyze.HighLevel, 10.05762, 0.027, "10.058", "0.027"},
		// JCGM 100:2008, 7.2.4, from memory: (100.02147 ± 0.00079) g.
		{"GUM 7.2.4", analyze.HighLevel, 100.02147, 0.00079, "100.02147", "0.00079"},
		// JCGM 100:2008, 7.2.6, from memory: 28.05 kHz is written as 28 kHz.
		{"GUM 7.2.6, uncertainty", analyze.SwitchingDelay, 4321.7, 28.05, "4322", "28"},
		{"trailing zero kept", analyze.SwitchingDelay, 0.142, 0.0012, "0.1420", "0.0012"},
		{"uncertainty carries over", analyze.LowLevel, 1.23456, 0.0996, "1.23", "0.10"},
		{"uncertainty above a hundred", analyze.SwitchingDelay, 12345, 678, "12340", "680"},
		{"value below the uncertainty", analyze.LowLevel, -0.0004, 0.0051, "-0.0004", "0.0051"},
		{"value that vanishes has no sign", analyze.LowLevel, -0.00001, 0.0051, "0.0000", "0.0051"},
		{"value far below the uncertainty", analyze.SwitchingDelay, 3, 5432, "0", "5400"},
		{"value that rounds up to one unit", analyze.SwitchingDelay, -70, 5432, "-100", "5400"},
		{"uncertainty zero", analyze.Hold, 0.5, 0, "0.5", "0"},
		{"none stated", analyze.Ripple, 0.0412345678, nan, "0.0412346", ""},
		{"none stated, large", analyze.SwitchingDelay, 1234567.8, nan, "1234570", ""},
		{"none stated, zero", analyze.Hold, math.Copysign(0, -1), nan, "0", ""},
		{"infinite uncertainty is none", analyze.Ripple, 0.5, inf, "0.5", ""},
		{"count", analyze.BounceCount, 7, nan, "7", ""},
		{"large count", analyze.BounceCount, 12345678, nan, "12345678", ""},
		{"mean of two counts", analyze.BounceCount, 4.5, nan, "4.5", ""},
		{"missing", analyze.HighLevel, nan, 0.1, "", ""},
		{"infinite is missing", analyze.HighLevel, inf, 0.1, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			v, u := Round(c.q, c.value, c.u)
			if v != c.wantV || u != c.wantU {
				t.Errorf("Round(%s, %v, %v) = %q, %q; want %q, %q", c.q, c.value, c.u, v, u, c.wantV, c.wantU)
			}
		})
	}
}

// exact returns the number that a plain decimal text names.
func exact(t *rapid.T, s string) *big.Rat {
	if strings.Trim(s, "-.0123456789") != "" {
		t.Fatalf("%q is not in plain decimal notation", s)
	}
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		t.Fatalf("%q is not a number", s)
	}
	return r
}

// within fails unless the text is the value to half a unit of the place, in
// exact arithmetic (math/big).
func within(t *rapid.T, text string, value float64, place int) {
	unit := new(big.Rat).SetFloat64(1)
	ten := big.NewRat(10, 1)
	for i := 0; i < place; i++ {
		unit.Quo(unit, ten)
	}
	for i := 0; i > place; i-- {
		unit.Mul(unit, ten)
	}
	off := new(big.Rat).Sub(exact(t, text), new(big.Rat).SetFloat64(value))
	half := new(big.Rat).Mul(unit, big.NewRat(1, 2))
	if off.Abs(off).Cmp(half) > 0 {
		t.Fatalf("%v was written as %s: more than half a unit of place %d off", value, text, place)
	}
	if q := new(big.Rat).Quo(exact(t, text), unit); !q.IsInt() {
		t.Fatalf("%v was written as %s, with digits beyond place %d", value, text, place)
	}
}

func drawMagnitude(t *rapid.T, name string, low, high int) float64 {
	m := rapid.Float64Range(1, 10).Draw(t, name)
	return m * math.Pow10(rapid.IntRange(low, high).Draw(t, name+" exponent"))
}

// exponentOf reads the exponent of a number in the form 1.2e-03.
func exponentOf(s string) int {
	_, e, _ := strings.Cut(s, "e")
	n, _ := strconv.Atoi(e) // the form is strconv's own
	return n
}

func numberIn(t *rapid.T, s string) float64 {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func TestRound_Property(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		value := drawMagnitude(t, "value", -9, 6)
		if rapid.Bool().Draw(t, "negative") {
			value = -value
		}
		expanded := drawMagnitude(t, "expanded", -9, 6)
		v, u := Round(analyze.HighLevel, value, expanded)
		place := 1 - exponentOf(strconv.FormatFloat(expanded, 'e', 1, 64))
		within(t, v, value, place)
		within(t, u, expanded, place)
		if digits := strings.Trim(strings.Replace(u, ".", "", 1), "0"); len(digits) > 2 || digits == "" {
			t.Fatalf("U %v was written as %s: not two significant digits", expanded, u)
		}
		again, uAgain := Round(analyze.HighLevel, numberIn(t, v), numberIn(t, u))
		if again != v || uAgain != u {
			t.Fatalf("%s ± %s was read back and written as %s ± %s", v, u, again, uAgain)
		}
	})
}

func TestRound_AloneProperty(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		value := drawMagnitude(t, "value", -9, 9)
		v, _ := Round(analyze.Ripple, value, nan)
		within(t, v, value, plainDigits-1-exponentOf(strconv.FormatFloat(value, 'e', -1, 64)))
	})
}

func TestReading(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		q        analyze.Quantity
		value, u float64
		want     string
	}{
		{analyze.SwitchingDelay, 0.142, 0.0012, "142.0 ms ± 1.2 ms"},
		{analyze.HighLevel, 13.234, 0.05, "13.234 V ± 0.050 V"},
		{analyze.LowLevel, -0.021, 0.0051, "-21.0 mV ± 5.1 mV"},
		{analyze.BounceTime, 0.000025, nan, "25 µs"},
		{analyze.SwitchingDelay, 0.3, 1.2, "0.3 s ± 1.2 s"},
		{analyze.SwitchingDelay, 0.99996, 0.0012, "1.0000 s ± 0.0012 s"},
		{analyze.SwitchingDelay, 3, nan, "3 s"},
		{analyze.Hold, 0, nan, "0 s"},
		{analyze.BounceCount, 12, nan, "12"},
		{analyze.HighLevel, nan, nan, "—"},
	} {
		if got := Reading(c.q, c.value, c.u); got != c.want {
			t.Errorf("Reading(%s, %v, %v) = %q; want %q", c.q, c.value, c.u, got, c.want)
		}
	}
}

func TestLimitWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		q         analyze.Quantity
		low, high float64
		want      string
	}{
		{analyze.SwitchingDelay, nan, 0.5, "max 500 ms"},
		{analyze.HighLevel, 12, 14.5, "12 … 14.5 V"},
		{analyze.HighLevel, 12, nan, "min 12 V"},
		{analyze.DropOutMargin, 0.2, nan, "min 200 mV"},
		{analyze.TransferTime, 0, nan, "min 0 s"},
		{analyze.BounceCount, nan, 3, "max 3"},
		{analyze.Hold, nan, nan, ""},
	} {
		if got := LimitWords(c.q, analyze.Limit{Lower: c.low, Upper: c.high}); got != c.want {
			t.Errorf("LimitWords(%s, %v, %v) = %q; want %q", c.q, c.low, c.high, got, c.want)
		}
	}
}
