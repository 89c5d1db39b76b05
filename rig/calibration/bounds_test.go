package calibration

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"makebreak/rig/problem"
)

// Meter and rig may lie apart by one and a half times what the meter's accuracy, three
// standard uncertainties of the reading and the rig's limits of error allow together, in
// either direction. By hand for 1 % resistors of 39 kohm and 10 kohm and the converter at
// ±4.096 V: the rig's limits are 1.921578 % of the voltage and 7.00325 mV.
func TestCheckPoint_tolerance(t *testing.T) {
	for _, c := range []struct {
		accuracy, shown string
		standard        float64 // of the rig's reading, in volts
		most            float64 // in volts
	}{
		{"0.5 % + 2 digits", "13.47 V", 0.0002, 1.5 * (0.08735 + 0.0006 + 0.265840)},
		{"0.5 % + 20 digits", "13.47 V", 0.0002, 1.5 * (0.26735 + 0.0006 + 0.265840)},
		{"0.5 % + 2 digits", "13.47 V", 0.1, 1.5 * (0.08735 + 0.3 + 0.265840)},
		{"0.5 % + 2 digits", "0.65 V", 0.0002, 1.5 * (0.02325 + 0.0006 + 0.0194935)},
		{"0.5 % + 2 digits", "-0.50 V", 0.0002, 1.5 * (0.0225 + 0.0006 + 0.0166111)},
	} {
		const near = 10e-6 // the figures above are rounded
		for off, ok := range map[float64]bool{c.most - near: true, near - c.most: true, c.most + near: false, -c.most - near: false} {
			p := points(t, c.accuracy, c.shown, 0.0)[0]
			p.ReadVolts, p.ReadStandard = p.Meter.Volts+off, c.standard
			if err := CheckPoint(benchRig(), "OUT3", &p); (err == nil) != ok {
				t.Errorf("%s at %s, read ± %g V: %+g V apart, of ± %g V allowed: %v", c.accuracy, c.shown, c.standard, off, c.most, err)
			}
		}
	}
}

// A point on a bound is taken, one just beyond it is not.
func TestCheckPoint_bounds(t *testing.T) {
	const coarse = "5 % + 100 digits" // so that meter and rig may lie far apart
	for name, c := range map[string]struct {
		accuracy, shown string
		read, standard  float64 // volts
		want            string  // empty: taken
	}{
		"lowest":            {coarse, "-0.75 V", -0.75, 0, ""},
		"below the lowest":  {coarse, "-0.76 V", -0.76, 0, "which must be from -750 mV to 15 V"},
		"highest":           {coarse, "15.00 V", 15, 0, ""},
		"above the highest": {coarse, "15.01 V", 15.01, 0, "which must be from -750 mV to 15 V"},
		"before the clip":   {coarse, "15.00 V", 16.191, 0, ""},
		"at the clip":       {coarse, "15.00 V", 16.192, 0, "the end of its converter's range"},
		"just steady":       {coarse, "13.00 V", 13, 0.15, ""},
		"unsteady":          {coarse, "13.00 V", 13, 0.1501, "is known to 150.1 mV only"},
		"below nothing":     {coarse, "13.00 V", 13, -1e-6, "take a steady voltage"},
		"scatter unknown":   {coarse, "13.00 V", 13, math.NaN(), "take a steady voltage"},
		"no reading":        {coarse, "13.00 V", math.NaN(), 0, "take a lower voltage"},
	} {
		p := points(t, c.accuracy, c.shown, c.read)[0]
		p.ReadStandard = c.standard
		err := CheckPoint(benchRig(), "OUT3", &p)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// onLine makes so many points without error, evenly spaced from low to high, in volts.
func onLine(t *testing.T, n int, low, high float64) []Point {
	var pairs []any
	for i := range n {
		v := low + (high-low)*float64(i)/float64(n-1)
		shown := fmt.Sprintf("%.3f V", v)
		r, err := ParseReading(shown)
		if err != nil {
			t.Fatal(err)
		}
		pairs = append(pairs, shown, r.Volts)
	}
	return points(t, "0.05 % + 2 digits", pairs...)
}

func TestNew_bounds(t *testing.T) {
	for name, c := range map[string]struct {
		points []Point
		want   string
	}{
		"fewest":            {onLine(t, 2, 1, 13), ""},
		"most":              {onLine(t, 50, 1, 13), ""},
		"too many":          {onLine(t, 51, 1, 13), "2 to 50 points may be given, not 51"},
		"just apart":        {onLine(t, 2, 10, 13), ""},
		"not apart":         {onLine(t, 2, 10, 12.999), "at least 3 V apart"},
		"apart in the file": {onLine(t, 2, 13, 10), ""},
	} {
		_, err := New(benchRig(), calibrationOf(t, c.points))
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// A calibration that cannot be right is bad input, whoever calls.
func TestNew_kind(t *testing.T) {
	_, err := New(benchRig(), calibrationOf(t, onLine(t, 2, 10, 11)))
	if problem.KindOf(err) != problem.Input {
		t.Errorf("%v is of the kind %v", err, problem.KindOf(err))
	}
}

// Of three even points that weigh the same, the middle one may lie three of its standard
// uncertainties off the line, in either direction. By hand: u is that of the meter's two
// digits, the reading and the nonlinearity, √(2²/3 + 0.2² + 0.613²/3) mV = 1.2242 mV. The
// middle residual has u·√(2/3) and is 2/3 of the point's own error, so 3·u·√(3/2) = 4.498 mV
// are the most.
func TestNew_residualBound(t *testing.T) {
	for off, ok := range map[float64]bool{4.49e-3: true, -4.49e-3: true, 4.51e-3: false, -4.51e-3: false} {
		all := onLine(t, 3, 1, 13)
		all[1].ReadVolts += off
		_, err := New(benchRig(), calibrationOf(t, all))
		if (err == nil) != ok || err != nil && !strings.Contains(err.Error(), "point 2: 7.000 V lies ") {
			t.Errorf("%+g V off: %v", off, err)
		}
	}
}

// What a poor meter is refused with states both uncertainties at 95 %. By hand for the
// resistors: 1.96 · 79.13 mV. For the meter: 2 % of 12 V and 5 digits of 10 mV are a
// half-width of 290 mV, 1.96/√3 of which are 328 mV, and some more by the points.
func TestNew_nothingGained(t *testing.T) {
	_, err := New(benchRig(), calibrationOf(t, points(t, "2 % + 5 digits", "0.65 V", 0.65, "13.47 V", 13.47)))
	if err == nil || !strings.Contains(err.Error(), "at 12 V a level would be known to ± 33") || !strings.Contains(err.Error(), "by the resistors alone it is known to ± 155.1 mV") {
		t.Error(err)
	}
}

// The line's gain has the sign and the size of the points, its offset makes up for the
// rig's.
func TestDraw_signs(t *testing.T) {
	for _, c := range []struct{ gain, offset float64 }{{1.01, 0}, {0.99, 0}, {1, 0.02}, {1, -0.02}, {1.01, -0.02}} {
		all := onLine(t, 3, 1, 13)
		for i := range all {
			all[i].ReadVolts = (all[i].Meter.Volts - c.offset) / c.gain
		}
		l, err := draw(all, 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "gain", l.Gain, c.gain, 1e-9)
		near(t, "offset", l.Offset, c.offset, 1e-9)
		near(t, "corrected", l.Corrected(10), c.offset+10*c.gain, 1e-9)
	}
}

// A gain of 0.5 or 2 is refused, one between is not.
func TestDraw_gainBounds(t *testing.T) {
	for gain, ok := range map[float64]bool{0.5: false, 0.501: true, 1.999: true, 2: false} {
		all := onLine(t, 2, 1, 13)
		for i := range all {
			all[i].ReadVolts = all[i].Meter.Volts / gain
		}
		if _, err := draw(all, 0); (err == nil) != ok {
			t.Errorf("gain %g: %v", gain, err)
		}
	}
}

// Of a highest voltage of 15 V, samples may scatter by 150 mV and drift by 45 mV, up or
// down. Eight values d above and below in turn scatter by d·√(8/7).
func TestMean_bounds(t *testing.T) {
	for name, c := range map[string]struct {
		volts []float64
		ok    bool
	}{
		"scatters a little": {[]float64{5.14, 4.86, 5.14, 4.86, 5.14, 4.86, 5.14, 4.86}, true},
		"scatters":          {[]float64{5.141, 4.859, 5.141, 4.859, 5.141, 4.859, 5.141, 4.859}, false},
		"rises a little":    {[]float64{5, 5, 5.0449, 5.0449}, true},
		"rises":             {[]float64{5, 5, 5.0451, 5.0451}, false},
		"falls a little":    {[]float64{5, 5, 4.9551, 4.9551}, true},
		"falls":             {[]float64{5, 5, 4.9549, 4.9549}, false},
		"fewest":            {[]float64{5, 5, 5, 5}, true},
	} {
		if _, err := Mean(traceOf(c.volts...), 15); (err == nil) != c.ok || err != nil && !errors.Is(err, ErrUnsteady) {
			t.Errorf("%s: %v", name, err)
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

// A serial has 1 to 64 characters, whatever their bytes, and prints on one line.
func TestCheckSerial(t *testing.T) {
	for s, ok := range map[string]bool{
		"4": true, "": false, strings.Repeat("ß", 64): true, strings.Repeat("ß", 65): false,
		"47 11": true, " 4711": false, "4711 ": false, "47\t11": false, "\xff": false,
	} {
		if err := CheckSerial(s); (err == nil) != ok {
			t.Errorf("%q: %v", s, err)
		}
	}
}

// A calibration holds without a warning from its own day to the day before it is due.
func TestFile_Apply_days(t *testing.T) {
	rig := benchRig()
	c, err := New(rig, calibrationOf(t, onLine(t, 2, 1, 13)))
	if err != nil {
		t.Fatal(err)
	}
	f := &File{Rig: rig.Name, Calibrations: []*Calibration{c}}
	for today, want := range map[string]string{
		"2026-03-30": "still to come", "2026-03-31": "", "2027-03-30": "", "2027-03-31": "is due for calibration since 2027-03-31",
	} {
		got := strings.Join(f.Apply(benchRig(), day(t, today), 0), "; ")
		if want == "" && got != "" || !strings.Contains(got, want) {
			t.Errorf("on %s: %q, want %q", today, got, want)
		}
	}
}
