package calibration

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"makebreak/rig/problem"
	"makebreak/rig/wiring"
)

func TestCheckPoint(t *testing.T) {
	p := points(t, "0.5 % + 2 digits", "13.47 V", 13.30)[0]
	rig := benchRig()
	rig.Correct("OUT3", &wiring.Correction{Gain: 2}) // points are read without corrections
	if err := CheckPoint(rig, "OUT3", &p); err != nil {
		t.Error(err)
	}
	if err := CheckPoint(rig, "OUT9", &p); err == nil {
		t.Error("an output that is not there has points")
	}
}

// Meter and rig may lie apart by what the meter's accuracy, three standard uncertainties of
// the reading and the rig's limits of error explain together, in either direction. By hand
// for 1 % resistors of 39 kohm and 10 kohm and the converter at ±4.096 V, in millivolts at
// 10 V: 2 × 79.6 of the resistors (39/49 of 1 % each); of the ADS1115 15 gain, 10 gain between
// ranges, 4 gain drift, 1.84 offset, 0.61 nonlinearity, 4.0 input impedance and 4.55 input
// return: 1.921578 % of the voltage and 7.00325 mV.
func TestCheckPoint_tolerance(t *testing.T) {
	for _, c := range []struct {
		accuracy, shown string
		standard        float64 // of the rig's reading, in volts
		most            float64 // in volts
	}{
		{"0.5 % + 2 digits", "10.00 V", 0, 0.07 + 0.199161},
		{"0.5 % + 2 digits", "10.00 V", 0.010, 0.07 + 0.03 + 0.199161},
		{"0.5 % + 2 digits", "13.47 V", 0.0002, 0.08735 + 0.0006 + 0.265840},
		{"0.5 % + 20 digits", "13.47 V", 0.0002, 0.26735 + 0.0006 + 0.265840},
		{"0.5 % + 2 digits", "13.47 V", 0.1, 0.08735 + 0.3 + 0.265840},
		{"0.5 % + 2 digits", "0.65 V", 0.0002, 0.02325 + 0.0006 + 0.0194935},
		{"0.5 % + 2 digits", "-0.50 V", 0.0002, 0.0225 + 0.0006 + 0.0166111},
	} {
		const near = 10e-6 // the figures above are rounded
		for off, ok := range map[float64]bool{0: true, c.most - near: true, near - c.most: true, c.most + near: false, -c.most - near: false} {
			p := points(t, c.accuracy, c.shown, 0.0)[0]
			p.ReadVolts, p.ReadStandard = p.Meter.Volts+off, c.standard
			err := CheckPoint(benchRig(), "OUT3", &p)
			var apart *DifferenceError
			if (err == nil) != ok || err != nil && (!errors.As(err, &apart) || math.Abs(apart.Away-math.Abs(off)) > 1e-9 || math.Abs(apart.Most-c.most) > near) {
				t.Errorf("%s at %s, read ± %g V: %+g V apart, of ± %g V explained: %v", c.accuracy, c.shown, c.standard, off, c.most, err)
			}
		}
	}
}

// A point that differs too much is taken where somebody has accepted it, and marked for
// good; one that does not differ is not marked. What no looking can make right stays refused.
func TestNew_accepted(t *testing.T) {
	all := points(t, "0.5 % + 2 digits", "0.65 V", 0.66, "13.47 V", 12.50)
	if _, err := New(benchRig(), calibrationOf(t, all), madeOn(t)); err == nil || !strings.Contains(err.Error(), "point 2: the meter shows 13.47 V") {
		t.Fatal(err)
	}
	for i := range all {
		all[i].Accepted = true
	}
	c, err := New(benchRig(), calibrationOf(t, all), madeOn(t))
	if err != nil {
		t.Fatal(err)
	}
	if c.Points[0].Accepted || !c.Points[1].Accepted || !all[0].Accepted {
		t.Errorf("accepted: %+v of %+v", c.Points, all)
	}
	f := &File{Path: "f.yaml", Rig: "bench", Calibrations: []*Calibration{c}}
	if text := string(f.Format()); strings.Count(text, ", accepted: true}") != 1 {
		t.Error(text)
	}
	again, err := Parse("f.yaml", f.Format())
	if err != nil || again.Calibrations[0].Points[0].Accepted || !again.Calibrations[0].Points[1].Accepted {
		t.Errorf("%+v, %v", again, err)
	}
	all[1].ReadVolts = 16.5 // the end of the converter's range
	if _, err := New(benchRig(), calibrationOf(t, all), madeOn(t)); err == nil || !strings.Contains(err.Error(), "the end of its converter's range") {
		t.Error(err)
	}
}

// What a meter shows with too few digits would agree with anything. Of 15 V, a last digit of
// 75 mV may stand for any share of what is shown; of 100 mV for 5 %.
func TestCheckPoint_coarse(t *testing.T) {
	for shown, ok := range map[string]bool{
		"0.66 V": true, "0.02 V": true, "0.00 V": true, "-0.02 V": true, "2.0 V": true, "1.9 V": false, "0.7 V": false, "0.0 V": false, "-0.5 V": false,
		"1 V": false, "13.5 V": true, "14 V": false,
	} {
		p := points(t, "0.5 % + 2 digits", shown, 0.0)[0]
		p.ReadVolts = p.Meter.Volts
		err := CheckPoint(benchRig(), "OUT3", &p)
		if (err == nil) != ok || err != nil && !strings.Contains(err.Error(), "the meter shows "+shown+", which is too coarse: its last digit stands for ") {
			t.Errorf("%s: %v", shown, err)
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

// Three times the standard uncertainty is what a point may lie off the line.
func TestCheckResiduals(t *testing.T) {
	for _, c := range []struct {
		residual float64 // of the second point, in units of what is tolerated
		ok       bool
	}{{0, true}, {2.99, true}, {-2.99, true}, {3.01, false}, {-3.01, false}} {
		cal := calibrationOf(t, points(t, "0.5 % + 2 digits", "1.00 V", 1.0, "5.00 V", 5.0, "10.00 V", 10.0))
		cal.Residuals, cal.Tolerated = []float64{0.001, c.residual * 0.004, 0}, []float64{0.004, 0.004, 0}
		err := cal.checkResiduals()
		if (err == nil) != c.ok || err != nil && !strings.HasPrefix(err.Error(), "point 2: 5.00 V lies ") {
			t.Errorf("%g: %v", c.residual, err)
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
		_, err := New(benchRig(), calibrationOf(t, c.points), madeOn(t))
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// A calibration that cannot be right is bad input, whoever calls.
func TestNew_kind(t *testing.T) {
	_, err := New(benchRig(), calibrationOf(t, onLine(t, 2, 10, 11)), madeOn(t))
	if problem.KindOf(err) != problem.Input {
		t.Errorf("%v is of the kind %v", err, problem.KindOf(err))
	}
}

// A point off the line by less than its digits explain is taken, by more is not.
func TestNew_residual(t *testing.T) {
	for shown, ok := range map[string]bool{"7.07 V": true, "7.08 V": true, "7.14 V": false, "6.99 V": false} {
		_, err := New(benchRig(), calibrationOf(t, points(t, "0.5 % + 2 digits", "0.65 V", 0.66, shown, 6.98, "13.47 V", 13.30)), madeOn(t))
		if (err == nil) != ok {
			t.Errorf("%s: %v", shown, err)
		}
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
		_, err := New(benchRig(), calibrationOf(t, all), madeOn(t))
		if (err == nil) != ok || err != nil && !strings.Contains(err.Error(), "point 2: 7.000 V lies ") {
			t.Errorf("%+g V off: %v", off, err)
		}
	}
}

// What a poor meter is refused with states both uncertainties at 95 %. By hand for the
// resistors: 1.96 · 79.13 mV. For the meter: 2 % of 12 V and 5 digits of 10 mV are a
// half-width of 290 mV, 1.96/√3 of which are 328 mV, and some more by the points.
func TestNew_nothingGained(t *testing.T) {
	_, err := New(benchRig(), calibrationOf(t, points(t, "2 % + 5 digits", "0.65 V", 0.65, "13.47 V", 13.47)), madeOn(t))
	if err == nil || !strings.Contains(err.Error(), "at 12 V a level would be known to ± 33") || !strings.Contains(err.Error(), "by the resistors alone it is known to ± 155.1 mV") {
		t.Error(err)
	}
}
