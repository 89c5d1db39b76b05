package unit_test

import (
	"errors"
	"math"
	"strconv"
	"testing"
	"time"

	"makebreak/rig/problem"
	"makebreak/rig/unit"
)

// Every unit word of every kind with its factor. The prefixes are those of the SI brochure
// (9th edition, table 7), minute, hour and day of its table 8, ohm in letters as in SI 10; ppm is
// 1e-6 by definition; Hz is 1/s; a foot is 0.3048 m (international agreement of 1959, from memory). R, K and M for resistances: IEC 60062, 3.1 (from memory).
func TestKind_Parse_units(t *testing.T) {
	foot, second := 0.3048, 1.0/3600 // multiplied as the program does, not exactly
	for _, tc := range []struct {
		kind unit.Kind
		word string
		want float64 // of 3
	}{
		{unit.Voltage, "V", 3}, {unit.Voltage, "mV", 0.003}, {unit.Voltage, "uV", 0.000003}, {unit.Voltage, "µV", 0.000003}, {unit.Voltage, "\u03bcV", 0.000003},
		{unit.Time, "s", 3}, {unit.Time, "ms", 0.003}, {unit.Time, "us", 0.000003}, {unit.Time, "µs", 0.000003}, {unit.Time, "\u03bcs", 0.000003},
		{unit.Time, "ns", 0.000000003}, {unit.Time, "min", 180}, {unit.Time, "h", 10800},
		{unit.Resistance, "ohm", 3}, {unit.Resistance, "kohm", 3000}, {unit.Resistance, "Mohm", 3000000},
		{unit.Resistance, "Ohm", 3}, {unit.Resistance, "kOhm", 3000}, {unit.Resistance, "MOhm", 3000000},
		{unit.Resistance, "Ω", 3}, {unit.Resistance, "kΩ", 3000}, {unit.Resistance, "MΩ", 3000000},
		{unit.Resistance, "\u2126", 3}, {unit.Resistance, "k\u2126", 3000}, {unit.Resistance, "M\u2126", 3000000},
		{unit.Resistance, "R", 3}, {unit.Resistance, "k", 3000}, {unit.Resistance, "K", 3000}, {unit.Resistance, "M", 3000000},
		{unit.Share, "%", 0.03}, {unit.Share, "ppm", 0.000003},
		{unit.Current, "A", 3}, {unit.Current, "mA", 0.003}, {unit.Current, "uA", 0.000003}, {unit.Current, "µA", 0.000003},
		{unit.Power, "W", 3}, {unit.Power, "mW", 0.003}, {unit.Power, "uW", 0.000003}, {unit.Power, "µW", 0.000003},
		{unit.Inductance, "H", 3}, {unit.Inductance, "mH", 0.003}, {unit.Inductance, "uH", 0.000003}, {unit.Inductance, "µH", 0.000003},
		{unit.Frequency, "/s", 3}, {unit.Frequency, "Hz", 3}, {unit.Frequency, "kHz", 3000},
		{unit.Capacitance, "F", 3}, {unit.Capacitance, "mF", 0.003}, {unit.Capacitance, "uF", 0.000003}, {unit.Capacitance, "µF", 0.000003}, {unit.Capacitance, "nF", 3e-9}, {unit.Capacitance, "pF", 3e-12},
		{unit.Length, "m", 3}, {unit.Length, "km", 3000}, {unit.Length, "mm", 0.003}, {unit.Length, "ft", 3 * foot},
		{unit.Area, "mm²", 3}, {unit.Area, "mm2", 3}, {unit.Charge, "Ah", 3}, {unit.Charge, "mAh", 0.003},
		{unit.Hours, "h", 3}, {unit.Hours, "min", 0.05}, {unit.Hours, "s", 3 * second}, {unit.Hours, "d", 72},
		{unit.Celsius, "°C", 3}, {unit.Celsius, "C", 3}, {unit.Celsius, "degC", 3}, {unit.Kelvin, "K", 3},
		{unit.Slope, "V/s", 3}, {unit.Slope, "mV/s", 0.003}, {unit.Slope, "uV/s", 0.000003}, {unit.Slope, "µV/s", 0.000003},
	} {
		for _, text := range []string{"3 " + tc.word, "3" + tc.word, " +3.0  " + tc.word + " "} {
			if got, err := tc.kind.Parse(text); err != nil || got != tc.want {
				t.Errorf("%q is %g, %v; want %g", text, got, err, tc.want)
			}
		}
		if got, err := tc.kind.Parse("-30e-1 " + tc.word); err != nil || math.Abs(got+tc.want) > 1e-12*tc.want {
			t.Errorf("-30e-1 %s is %g, %v; want %g", tc.word, got, err, -tc.want)
		}
	}
	for _, k := range kinds {
		if n := unit.Words(k); n != counted[k.Name] {
			t.Errorf("%s has %d unit words; %d are tried above", k.Name, n, counted[k.Name])
		}
	}
}

var kinds = []unit.Kind{unit.Voltage, unit.Time, unit.Resistance, unit.Share, unit.Current, unit.Power, unit.Inductance, unit.Frequency, unit.Slope,
	unit.Capacitance, unit.Length, unit.Area, unit.Charge, unit.Hours, unit.Celsius, unit.Kelvin}

// counted is how many unit words the test above tries of each kind, without likenesses.
var counted = map[string]int{"a voltage": 4, "a time": 7, "a resistance": 10, "a share": 2, "a current": 4, "a power": 4, "an inductance": 4, "a rate": 3, "a slope": 4,
	"a capacitance": 6, "a length": 4, "a cross-section": 2, "a capacity": 2, "a duration": 4, "a temperature": 3, "a temperature rise": 1}

// Values as they are printed on components: IEC 60062 (from memory), and common practice for
// voltages, no source.
func TestKind_Parse_markings(t *testing.T) {
	for _, tc := range []struct {
		kind unit.Kind
		text string
		want float64
	}{
		{unit.Resistance, "10k", 10000}, {unit.Resistance, "10K", 10000}, {unit.Resistance, "10 k", 10000}, {unit.Resistance, "47R", 47},
		{unit.Resistance, "4k7", 4700}, {unit.Resistance, "4K7", 4700}, {unit.Resistance, "2R2", 2.2}, {unit.Resistance, "R47", 0.47},
		{unit.Resistance, "1M0", 1000000}, {unit.Resistance, "2M21", 2210000}, {unit.Resistance, "1k21", 1210}, {unit.Resistance, " 0R1 ", 0.1},
		{unit.Voltage, "3V3", 3.3}, {unit.Voltage, "12V0", 12}, {unit.Voltage, "1V25", 1.25}, {unit.Voltage, "5V", 5},
	} {
		if got, err := tc.kind.Parse(tc.text); err != nil || got != tc.want {
			t.Errorf("%q is %g, %v; want %g", tc.text, got, err, tc.want)
		}
	}
}

func TestKind_Parse_refused(t *testing.T) {
	for _, tc := range []struct {
		kind       unit.Kind
		text, want string
	}{
		{unit.Time, "3", `"3" has no unit: write 3 s or 500 ms`},
		{unit.Time, "0.25", `"0.25" has no unit: write 0.25 s or 500 ms`},
		{unit.Voltage, "12", `"12" has no unit: write 12 V or 350 mV`},
		{unit.Share, "5", `"5" has no unit: write 5 %`},
		{unit.Resistance, "390", `"390" has no unit: write 390 ohm or 4.7 kohm`},
		{unit.Voltage, "12,5 V", `"12,5 V" has a decimal comma: write 12.5 V`},
		{unit.Time, "0,5ms", `"0,5ms" has a decimal comma: write 0.5 ms`},
		{unit.Resistance, "4,7", `"4,7" has a decimal comma and no unit: write 4.7 ohm or 4.7 kohm`},
		{unit.Resistance, "1,200,000 ohm", `"1,200,000 ohm" has a comma: write the number without one, as in 4.7 kohm or 390 ohm`},
		{unit.Resistance, "1,200.5 ohm", `"1,200.5 ohm" has a comma: write the number without one, as in 4.7 kohm or 390 ohm`},
		{unit.Voltage, "12 v", `"12 v" is not a voltage: "v" is not a unit of it: use one of: V, mV, µV`},
		{unit.Voltage, "12 kV", `"12 kV" is not a voltage: "kV" is not a unit of it: use one of: V, mV, µV`},
		{unit.Time, "3 sec", `"3 sec" is not a time: "sec" is not a unit of it: use one of: s, ms, µs, ns, min, h`},
		{unit.Resistance, "10 mohm", `"10 mohm" is not a resistance: "mohm" is not a unit of it: use one of: ohm, kohm, Mohm`},
		{unit.Resistance, "10 KOHM", `"10 KOHM" is not a resistance: "KOHM" is not a unit of it: use one of: ohm, kohm, Mohm`},
		{unit.Resistance, "10 V", `"10 V" is not a resistance: "V" is not a unit of it: use one of: ohm, kohm, Mohm`},
		{unit.Resistance, "k47", `"k47" is not a resistance: write 4.7 kohm or 390 ohm`},
		{unit.Resistance, "4k7 ohm", `"4k7 ohm" is not a resistance: "k7 ohm" is not a unit of it: use one of: ohm, kohm, Mohm`},
		{unit.Resistance, "4.7k0", `"4.7k0" is not a resistance: "k0" is not a unit of it: use one of: ohm, kohm, Mohm`},
		{unit.Voltage, "V5", `"V5" is not a voltage: write 12 V or 350 mV`},
		{unit.Voltage, "3k3", `"3k3" is not a voltage: "k3" is not a unit of it: use one of: V, mV, µV`},
		{unit.Share, "5 percent", `"5 percent" is not a share: "percent" is not a unit of it: use one of: %, ppm`},
		{unit.Frequency, "860 SPS", `"860 SPS" is not a rate: "SPS" is not a unit of it: use one of: /s, Hz, kHz`},
		{unit.Time, "", `"" is not a time: write 3 s or 500 ms`},
		{unit.Time, "soon", `"soon" is not a time: write 3 s or 500 ms`},
		{unit.Time, "1.2.3 s", `"1.2.3 s" has no number that can be read: write 3 s or 500 ms`},
		{unit.Time, "1e999 s", `"1e999 s" has no number that can be read: write 3 s or 500 ms`},
		{unit.Time, "- s", `"- s" has no number that can be read: write 3 s or 500 ms`},
	} {
		v, err := tc.kind.Parse(tc.text)
		if err == nil || err.Error() != tc.want {
			t.Errorf("%q gives %g and %v\nwant %s", tc.text, v, err, tc.want)
			continue
		}
		if bad := new(unit.Error); !errors.As(err, &bad) || bad.Read != tc.text || problem.KindOf(err) != problem.Input {
			t.Errorf("%q: the error is %#v", tc.text, err)
		}
	}
}

func TestKind_Format(t *testing.T) {
	for _, tc := range []struct {
		kind unit.Kind
		v    float64
		want string
	}{
		{unit.Voltage, 0, "0 V"}, {unit.Voltage, 12, "12 V"}, {unit.Voltage, 0.35, "350 mV"}, {unit.Voltage, -0.0042, "-4.2 mV"}, {unit.Voltage, 2e-6, "2 µV"},
		{unit.Voltage, 2e-9, "0.002 µV"}, {unit.Voltage, 1e6, "1000000 V"}, {unit.Voltage, 1.0 / 3, "333.333 mV"}, {unit.Voltage, 0.99999999, "1 V"},
		{unit.Voltage, math.NaN(), "—"}, {unit.Voltage, math.Inf(1), "—"}, {unit.Voltage, math.Copysign(0, -1), "0 V"},
		{unit.Time, 3600, "3600 s"}, {unit.Time, 0.5, "500 ms"}, {unit.Time, 18.5e-6, "18.5 µs"}, {unit.Time, 30e-9, "30 ns"},
		{unit.Resistance, 390, "390 ohm"}, {unit.Resistance, 4700, "4.7 kohm"}, {unit.Resistance, 1e6, "1 Mohm"}, {unit.Resistance, 0.47, "0.47 ohm"},
		{unit.Share, 0.05, "5 %"}, {unit.Share, 0.001, "0.1 %"}, {unit.Share, 0, "0 %"}, {unit.Share, 1, "100 %"}, {unit.Share, 25, "2500 %"}, {unit.Share, 1e-6, "0.0001 %"},
		{unit.Frequency, 860, "860 /s"}, {unit.Frequency, 400e3, "400 kHz"},
		{unit.Slope, 0.05, "50 mV/s"},
		{unit.Capacitance, 100e-9, "100 nF"}, {unit.Length, 25, "25 m"}, {unit.Length, 0.6e-3, "0.6 mm"}, {unit.Area, 1.5, "1.5 mm²"},
		{unit.Charge, 7.2, "7.2 Ah"}, {unit.Hours, 24, "24 h"}, {unit.Hours, 0.5, "0.5 h"}, {unit.Celsius, -5, "-5 °C"}, {unit.Kelvin, 40, "40 K"},
		{unit.Number, 3, "3"}, {unit.Number, 0.25, "0.25"}, {unit.Number, 1e9, "1000000000"},
		{unit.Of("bar"), 0.5, "0.5 bar"},
	} {
		if got := tc.kind.Format(tc.v); got != tc.want {
			t.Errorf("%g is written %q, want %q", tc.v, got, tc.want)
		}
	}
}

func TestOf(t *testing.T) {
	for _, k := range kinds {
		if got := unit.Of(k.Base); got.Name != k.Name {
			t.Errorf("%q is the unit of %s, want %s", k.Base, got.Name, k.Name)
		}
	}
	if unit.Of("1").Name != unit.Number.Name || unit.Of("").Name != unit.Number.Name {
		t.Error("a count is no plain number")
	}
}

func TestQuantities(t *testing.T) {
	for want, got := range map[string]interface{ String() string }{
		"350 mV": unit.Volts(0.35), "1.5 s": unit.Seconds(1.5),
	} {
		if got.String() != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	if got := unit.Seconds(0.25).Duration(); got != 250*time.Millisecond {
		t.Error(got)
	}
}

// What Format writes is read back as the number rounded to six digits, whatever it is.
func FuzzKind_Format(f *testing.F) {
	for i, v := range []float64{0, 1, -1, 0.35, 999.9996, 0.9999995, 1e-9, 123456.5, 1e15, -3e-6, 1e-300, 5e-324, 1.7e308} {
		f.Add(uint8(i), v)
	}
	f.Fuzz(func(t *testing.T, kind uint8, v float64) {
		k := kinds[int(kind)%len(kinds)]
		text := k.Format(v)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			if text != unit.Missing {
				t.Fatalf("%g is written %q", v, text)
			}
			return
		}
		want, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 5, 64), 64)
		if err != nil || math.Abs(want) > 1e300 {
			return // beyond the largest number, rounded up or in hundredths
		}
		if got, err := k.Parse(text); err != nil || got != want {
			t.Fatalf("%g is written %q and read as %g, %v; want %g", v, text, got, err, want)
		}
	})
}
