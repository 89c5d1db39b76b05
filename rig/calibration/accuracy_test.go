package calibration

import (
	"math"
	"strings"
	"testing"
)

// Forms in which meters' manuals state an accuracy (common practice, no source), with
// the half-width worked by hand for what the meter shows.
func TestParseAccuracy(t *testing.T) {
	for _, c := range []struct {
		text, shown string
		half        float64
	}{
		{"0.5% + 2 digits", "13.47 V", 0.005*13.47 + 2*0.01},
		{"0.5 % + 2 digits", "13.470 V", 0.005*13.47 + 2*0.001},
		{"±(0.5 % rdg + 2 dgt)", "13.47 V", 0.005*13.47 + 2*0.01},
		{"±0.5% of reading ±2 digits", "13.47 V", 0.005*13.47 + 2*0.01},
		{"+/-(0.05%+3)", "9.9995 V", 0.0005*9.9995 + 3*0.0001},
		{"0.8 % of rdg + 5 counts", "0.65 V", 0.008*0.65 + 5*0.01},
		{"(0.09 % + 2 d)", "651.2 mV", 0.0009*0.6512 + 2*0.0001},
		{"35 ppm rdg + 0.6 mV", "10.00003 V", 35e-6*10.00003 + 0.6e-3},
		{"0.1 % + 5 mV + 1 LSD", "-0.120 V", 0.001*0.12 + 0.005 + 0.001},
		{"3 digits", "12.0 V", 0.3},
		{"20 mV", "12.00 V", 0.02},
		{"0.0001 %", "12.0 V", 0.05}, // half a digit: the meter rounds
		{"0.5 % + 2.", "12.0 V", 0.06 + 0.2},
	} {
		a, err := ParseAccuracy(c.text)
		if err != nil {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		r, err := ParseReading(c.shown)
		if err != nil {
			t.Fatal(err)
		}
		if got := a.HalfWidth(r); math.Abs(got-c.half) > 1e-12 {
			t.Errorf("%s at %s: ± %.9g V, want %.9g V", c.text, c.shown, got, c.half)
		}
	}
}

func TestParseAccuracy_refused(t *testing.T) {
	for text, want := range map[string]string{
		"":                      "a number is missing beside the +",
		"0.5":                   "no unit",
		"2":                     "no unit",
		"0.5 % + 2.5":           "no unit",
		"0,5 % + 2 digits":      "write a dot",
		"0.5 % + 2 digits + ":   "a number is missing",
		"0.05 % of range":       "write it in volts",
		"0.1 % FS + 2 digits":   "write it in volts",
		"0.5 % of wishes":       "of the reading",
		"0 % + 0 digits":        "no meter is exact",
		"50 % + 2 digits":       "more than 5 %",
		"1 % + 1000 digits":     "more than 100 digits",
		"5 V":                   "more than 1 V",
		"(0.5 % + 2 digits":     "not closed",
		"0.5 % + 2 furlongs":    "not known here",
		"-0.5 % + 2 digits":     "does not start with a number",
		"class 0.5":             "does not start with a number",
		strings.Repeat("9", 90): "too long",
	} {
		_, err := ParseAccuracy(text)
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "as in 0.5 %") {
			t.Errorf("%q: error %v, want %q in it and what is right", text, err, want)
		}
	}
}

func TestParseReading(t *testing.T) {
	for _, c := range []struct {
		text         string
		volts, digit float64
	}{
		{"13.47 V", 13.47, 0.01}, {"13.40V", 13.40, 0.01}, {" 13 V ", 13, 1}, {"651.2 mV", 0.6512, 1e-4}, {"-0.003 V", -0.003, 1e-3}, {"13. V", 13, 1},
	} {
		r, err := ParseReading(c.text)
		if err != nil || math.Abs(r.Volts-c.volts) > 1e-15 || math.Abs(r.Digit-c.digit) > 1e-15 || r.Text != strings.TrimSpace(c.text) {
			t.Errorf("%q: %+v, %v; want %g V with digits of %g V", c.text, r, err, c.volts, c.digit)
		}
	}
	for text, want := range map[string]string{
		"13.47": "no unit", "13,47 V": "has a decimal comma: write 13.47 V", "1.3e1 V": "digits, a dot and a unit", "": "is not a voltage", "OL V": "is not a voltage", "13V47": "is not what a meter shows", "5 s": "not a unit", "2000 V": "beyond any output", "1.2.3 V": "no number that can be read",
	} {
		if _, err := ParseReading(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want %q in it", text, err, want)
		}
	}
}

// Each unit of an accuracy has its factor, each part its bound.
func TestParseAccuracy_factors(t *testing.T) {
	for _, c := range []struct {
		text string
		half float64 // volts at 12.0000 V; 0: refused
	}{
		{"1 %", 0.12}, {"100 ppm", 0.0012}, {"7 digits", 7e-4}, {"0.5 V", 0.5}, {"900 mV", 0.9}, {"900 µV", 9e-4}, {"900 uV", 9e-4},
		{"1 % + 1 %", 0.24}, {"1 mV + 1 mV", 0.002}, {"1 digit + 1 digit", 2e-4},
		{"5 %", 0.6}, {"5.01 %", 0}, {"100 digits", 0.01}, {"101 digits", 0}, {"1 V", 1}, {"1001 mV", 0},
	} {
		a, err := ParseAccuracy(c.text)
		if (err == nil) != (c.half > 0) {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		r, err := ParseReading("12.0000 V")
		if err != nil {
			t.Fatal(err)
		}
		if c.half > 0 {
			near(t, c.text, a.HalfWidth(r), c.half, 1e-12)
		}
	}
}

// Whatever is typed, it is refused or means an uncertainty above zero that makes sense.
func FuzzParseAccuracy(f *testing.F) {
	for _, s := range []string{"0.5% + 2 digits", "±(0.5 % rdg + 2 dgt)", "35 ppm+1mV", "+/-(.05%+3)", "1e9 %", "0.5 % of range", "(±", "% %"} {
		f.Add(s, "13.47 V")
	}
	f.Add("2 d", "-651.2 mV")
	f.Fuzz(func(t *testing.T, text, shown string) {
		r, err := ParseReading(shown)
		if err == nil && !(r.Digit > 0 && math.Abs(r.Volts) <= mostVolts) {
			t.Fatalf("%q reads as %+v", shown, r)
		}
		a, err2 := ParseAccuracy(text)
		if err2 != nil || err != nil {
			return
		}
		if half := a.HalfWidth(r); !(half >= r.Digit/2 && half <= worstShare*mostVolts+worstDigits*r.Digit+worstVolts) {
			t.Fatalf("%q at %q means ± %g V", text, shown, half)
		}
		again, err := ParseAccuracy(a.Text)
		if err != nil || again != a {
			t.Fatalf("%q is kept as %+v, which reads as %+v, %v", text, a, again, err)
		}
	})
}
