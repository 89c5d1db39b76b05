package unit_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"makebreak/rig/unit"
)

var (
	nan = math.NaN()
	inf = math.Inf(1)
)

// One unit and one number of decimals for all figures that are read side by side. The
// rounding is that of JCGM 100:2008, 7.2.6: its example is 10.057 62 ohm with 27 mohm, written
// 10.058 ohm and 27 mohm (from memory).
func TestScaler(t *testing.T) {
	for _, tc := range []struct {
		name    string
		kind    unit.Kind
		figures unit.Figures
		numbers string // of the values, then the uncertainty after ±, then the limits after |
		unit    string
		machine string // the same, unscaled
	}{
		{"a ripple near its limit", unit.Voltage, unit.Figures{Values: []float64{0.4925, 0.4919, 0.4931}, Uncertainty: 0.0084, Limits: []float64{nan, 0.5}},
			"492.5 491.9 493.1 ± 8.4 | - 500", "mV", "0.4925 0.4919 0.4931 ± 0.0084 | - 0.5"},
		{"the GUM's example", unit.Resistance, unit.Figures{Values: []float64{10.05762}, Uncertainty: 0.027}, "10.058 ± 0.027", "ohm", "10.058 ± 0.027"},
		{"an uncertainty that rounds up a digit", unit.Voltage, unit.Figures{Values: []float64{12.3456}, Uncertainty: 0.0996}, "12.35 ± 0.10", "V", "12.35 ± 0.10"},
		{"a large uncertainty", unit.Time, unit.Figures{Values: []float64{1234.5}, Uncertainty: 123}, "1230 ± 120", "s", "1230 ± 120"},
		{"a value below its uncertainty", unit.Voltage, unit.Figures{Values: []float64{0.0003}, Uncertainty: 0.0084, Limits: []float64{0.5}},
			"0.3 ± 8.4 | 500", "mV", "0.0003 ± 0.0084 | 0.5"},
		{"a negative value", unit.Voltage, unit.Figures{Values: []float64{-0.01234}, Uncertainty: 0.0012}, "-12.3 ± 1.2", "mV", "-0.0123 ± 0.0012"},
		{"a negative zero", unit.Voltage, unit.Figures{Values: []float64{-0.0001}, Uncertainty: 0.12}, "0 ± 120", "mV", "0.00 ± 0.12"},
		{"no uncertainty", unit.Voltage, unit.Figures{Values: []float64{0.4925, 0.49}, Uncertainty: nan}, "492 490", "mV", "0.492 0.490"},
		{"six digits", unit.Voltage, unit.Figures{Values: []float64{1.0 / 3}, Uncertainty: nan, Digits: 6}, "333.333", "mV", "0.333333"},
		{"an uncertainty of zero", unit.Time, unit.Figures{Values: []float64{0.25}}, "250 ± 0", "ms", "0.250 ± 0"},
		{"rounded up to the next unit", unit.Time, unit.Figures{Values: []float64{0.99996}, Uncertainty: nan}, "1.00", "s", "1.00"},
		{"a limit a thousand times as large", unit.Time, unit.Figures{Values: []float64{0.0124}, Uncertainty: 0.0012, Limits: []float64{3}}, "0.0124 ± 0.0012 | 3", "s", "0.0124 ± 0.0012 | 3"},
		{"a limit far above", unit.Time, unit.Figures{Values: []float64{12.4e-6}, Uncertainty: 1.2e-6, Limits: []float64{0.5}}, "0.0124 ± 0.0012 | 500", "ms", "0.0000124 ± 0.0000012 | 0.5"},
		{"all zero", unit.Voltage, unit.Figures{Values: []float64{0}, Uncertainty: nan}, "0.00", "V", "0.00"},
		{"zero with a limit", unit.Voltage, unit.Figures{Values: []float64{0}, Uncertainty: nan, Limits: []float64{0.02}}, "0 | 20", "mV", "0.00 | 0.02"},
		{"no value", unit.Voltage, unit.Figures{Values: []float64{nan}, Uncertainty: nan, Limits: []float64{-inf, 12}}, "- | - 12", "V", "- | - 12"},
		{"a count", unit.Number, unit.Figures{Values: []float64{3, 12}, Uncertainty: nan, Limits: []float64{10}}, "3 12 | 10", "", "3 12 | 10"},
		{"a mean of counts", unit.Number, unit.Figures{Values: []float64{2.5}, Uncertainty: nan}, "2.50", "", "2.50"},
		{"a share", unit.Share, unit.Figures{Values: []float64{0.0123}, Uncertainty: 0.0011}, "1.23 ± 0.11", "%", "1.23 ± 0.11"},
		{"nanoseconds", unit.Time, unit.Figures{Values: []float64{83e-9}, Uncertainty: 12e-9}, "83 ± 12", "ns", "0.000000083 ± 0.000000012"},
		{"kilo-ohms", unit.Resistance, unit.Figures{Values: []float64{39123}, Uncertainty: 390}, "39.12 ± 0.39", "kohm", "39120 ± 390"},
		// The side of a limit is seen, however near the value lies.
		{"just below", unit.Voltage, unit.Figures{Values: []float64{0.49999}, Uncertainty: 0.0084, Limits: []float64{nan, 0.5}}, "499.99 ± 8.4 | - 500", "mV", "0.49999 ± 0.0084 | - 0.5"},
		{"just above", unit.Voltage, unit.Figures{Values: []float64{12.00004}, Uncertainty: 0.12, Limits: []float64{nan, 12}}, "12.00004 ± 0.12 | - 12", "V", "12.00004 ± 0.12 | - 12"},
		{"just below a low limit", unit.Voltage, unit.Figures{Values: []float64{11.998}, Uncertainty: 0.12, Limits: []float64{12, nan}}, "11.998 ± 0.12 | 12 -", "V", "11.998 ± 0.12 | 12 -"},
		{"on it", unit.Voltage, unit.Figures{Values: []float64{12}, Uncertainty: 0.12, Limits: []float64{12, nan}}, "12.00 ± 0.12 | 12 -", "V", "12.00 ± 0.12 | 12 -"},
		{"between two", unit.Time, unit.Figures{Values: []float64{0.1004, 0.1996}, Uncertainty: 0.012, Limits: []float64{0.1, 0.2}}, "100.4 199.6 ± 12 | 100 200", "ms", "0.1004 0.1996 ± 0.012 | 0.1 0.2"},
		{"a limit with more digits", unit.Voltage, unit.Figures{Values: []float64{13.0}, Uncertainty: 0.12, Limits: []float64{12.375}}, "13.00 ± 0.12 | 12.375", "V", "13.00 ± 0.12 | 12.375"},
		{"a limit from arithmetic", unit.Voltage, unit.Figures{Values: []float64{1}, Uncertainty: 0.1, Limits: []float64{0.1 + 0.2}}, "1.00 ± 0.10 | 0.3", "V", "1.00 ± 0.10 | 0.3"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := tc.kind.Scaler(tc.figures)
			if got := written(s, tc.figures); got != tc.numbers || s.Unit() != tc.unit {
				t.Errorf("got  %s in %q\nwant %s in %q", got, s.Unit(), tc.numbers, tc.unit)
			}
			if got := written(s.Unscaled(), tc.figures); got != tc.machine {
				t.Errorf("unscaled\ngot  %s\nwant %s", got, tc.machine)
			}
		})
	}
}

func written(s unit.Scaler, f unit.Figures) string {
	var parts []string
	word := func(s string) {
		if s == "" {
			s = "-"
		}
		parts = append(parts, s)
	}
	for _, v := range f.Values {
		word(s.Number(v))
	}
	if u := s.Uncertainty(); u != "" {
		parts = append(parts, "±", u)
	}
	if len(f.Limits) > 0 {
		parts = append(parts, "|")
	}
	for _, l := range f.Limits {
		word(s.Limit(l))
	}
	return strings.Join(parts, " ")
}

func TestScaler_sentences(t *testing.T) {
	s := unit.Voltage.Scaler(unit.Figures{Values: []float64{0.4919, 0.4931}, Uncertainty: 0.0084, Limits: []float64{0.5}})
	bare := unit.Voltage.Scaler(unit.Figures{Values: []float64{0.4919, 0.4931}, Uncertainty: nan})
	count := unit.Number.Scaler(unit.Figures{Values: []float64{2, 3}, Uncertainty: nan})
	for _, tc := range []struct{ got, want string }{
		{s.Text(0.4925), "492.5 mV"},
		{s.Text(nan), "—"},
		{s.PlusMinus(), "± 8.4 mV"},
		{strconv.FormatFloat(s.In(0.49251234), 'g', -1, 64), "492.51234"},
		{strconv.FormatFloat(s.In(inf), 'g', -1, 64), "+Inf"},
		{bare.Trimmed().Text(0.49), "490 mV"},
		{unit.Voltage.Scaler(unit.Figures{Values: []float64{0.5}, Uncertainty: nan, Digits: 6}).Unscaled().Trimmed().Number(0.5), "0.5"},
		{s.LimitText(0.5), "500 mV"},
		{s.LimitText(inf), "—"},
		{s.Range(0.4919, 0.4931, " to "), "491.9 to 493.1 mV"},
		{s.Range(0.4925, 0.49251, " … "), "492.5 mV"},
		{s.Range(nan, 0.4925, " to "), "492.5 mV"},
		{s.Range(nan, nan, " to "), "—"},
		{bare.PlusMinus(), ""},
		{count.Range(2, 3, " to "), "2 to 3"},
		{count.Text(3), "3"},
		{unit.Voltage.Fixed(3).Text(12.34567), "12.346 V"},
		{unit.Voltage.Fixed(3).Number(0), "0.000"},
		{unit.Share.Fixed(1).Text(0.12345), "12.3 %"},
		{unit.Scaler{}.Text(12.7), "13"},
		{unit.Time.Reading(0.142, 0.0012), "142.0 ms ± 1.2 ms"},
		{unit.Time.Reading(0.142, nan), "142 ms"},
		{unit.Time.Reading(nan, 0.0012), "—"},
		{unit.Time.Short(0.00025, 3), "250 µs"},
		{unit.Voltage.Short(3.51234, 4), "3.512 V"},
	} {
		if tc.got != tc.want {
			t.Errorf("got %q, want %q", tc.got, tc.want)
		}
	}
}

// Whatever the figures, a value is never shown on the wrong side of a limit, is off by no
// more than half of its last place, and reads the same with and without a prefix.
func FuzzScaler(f *testing.F) {
	for _, c := range [][3]float64{{0.49999, 0.0084, 0.5}, {12.00004, 0.12, 12}, {-1e-9, 1e-12, 0}, {5e-324, 1, 1e-320}, {0.5, nan, math.Nextafter(0.5, 1)}, {1e300, 1e280, 1e300}, {0, 0, 0}} {
		f.Add(c[0], c[1], c[2])
	}
	f.Fuzz(func(t *testing.T, v, u, limit float64) {
		s := unit.Voltage.Scaler(unit.Figures{Values: []float64{v}, Uncertainty: u, Limits: []float64{limit}})
		text := s.Unscaled().Number(v)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			if text != "" {
				t.Fatalf("%g is written %q", v, text)
			}
			return
		}
		shown, err := strconv.ParseFloat(text, 64)
		if err != nil && !math.IsInf(shown, 0) {
			t.Fatalf("%g is written %q: %v", v, text, err)
		}
		if !math.IsNaN(limit) && !math.IsInf(limit, 0) && ((shown < limit) != (v < limit) || (shown > limit) != (v > limit)) {
			t.Fatalf("%g with the limit %g is written %s", v, limit, text)
		}
		if math.IsNaN(u) && math.Abs(shown-v) > 0.006*math.Abs(v) {
			t.Fatalf("%g is written %s", v, text)
		}
		if back, err := unit.Voltage.Parse(s.Text(v)); err == nil && back != shown {
			t.Fatalf("%g is written %s and %s", v, text, s.Text(v))
		}
	})
}
