package calibration

import (
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/wiring"
)

// benchRig is one ADS1115 at ±4.096 V with OUT3 behind 39 kohm and 10 kohm of 1 %.
func benchRig() *wiring.Rig {
	return &wiring.Rig{
		Name:  "bench",
		Chips: []wiring.Chip{{Name: "A", Model: ads1x15.ADS1115, Address: 0x48, Range: 4.096, Rate: 860, Supply: 3.3, Mode: wiring.Follow}},
		Outputs: []wiring.Output{{Name: "OUT3", Chip: "A", Highest: 15, Nominal: 12,
			Divider: wiring.Divider{Upper: 39e3, Lower: 10e3, Tolerance: 0.01}}},
	}
}

// madeOn is the day on which calibrationOf was made, and on which it is stored.
func madeOn(t testing.TB) Day { return day(t, "2026-03-31") }

func day(t testing.TB, s string) Day {
	t.Helper()
	d, err := ParseDay(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// calibrationOf is complete but for its line.
func calibrationOf(t testing.TB, all []Point) Calibration {
	return Calibration{Output: "OUT3", Meter: "4711", By: "A. Fitter", Date: madeOn(t), Due: day(t, "2027-03-31"),
		Wiring: Wiring(benchRig(), "OUT3", 0), Points: all}
}

// Two points give the line through them, worked by hand:
// (13.47 - 0.65)/(13.30 - 0.66) = 1.014241, 0.65 - 0.66 × 1.014241 = -0.019399.
func TestNew(t *testing.T) {
	rig := benchRig()
	c, err := New(rig, calibrationOf(t, points(t, "0.5 % + 1 digits", "0.65 V", 0.66, "13.47 V", 13.30)), madeOn(t))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "gain", c.Gain, 1.014241, 5e-7)
	near(t, "offset", c.Offset, -0.019399, 5e-7)
	near(t, "low", c.Corrected(0.66), 0.65, 1e-9)
	near(t, "high", c.Corrected(13.30), 13.47, 1e-9)
	if len(rig.Corrections) != 0 {
		t.Error("the rig was corrected")
	}
	// At the upper point: the meter's 0.5 % + 1 digit, and the point's own digit.
	near(t, "known at the upper point", combined(c.Doubts, 13.47), math.Sqrt((math.Pow(0.005*13.47+0.01, 2)+0.01*0.01)/3), 1e-5)
}

// Nonsense is refused with what is wrong and what would be right.
func TestNew_refused(t *testing.T) {
	good := []any{"0.65 V", 0.66, "13.47 V", 13.30}
	const accuracy = "0.5 % + 2 digits"
	for name, c := range map[string]struct {
		points []Point
		change func(*Calibration)
		want   string
	}{
		"no points":           {nil, nil, "2 to 50 points may be given, not 0"},
		"one point":           {points(t, accuracy, "13.47 V", 13.30), nil, "2 to 50 points may be given, not 1"},
		"too close":           {points(t, accuracy, "11.00 V", 10.9, "13.47 V", 13.30), nil, "the points lie within 2.47 V; to tell gain from offset they must be at least 3 V apart (20 % of 15 V)"},
		"too high":            {points(t, accuracy, "0.65 V", 0.66, "15.20 V", 15.1), nil, "point 2: the meter shows 15.20 V, which must be from -750 mV to 15 V, the highest of OUT3"},
		"too low":             {points(t, accuracy, "-1.00 V", -1.0, "13.00 V", 13.0), nil, "point 1: the meter shows -1.00 V"},
		"clipped":             {points(t, accuracy, "0.65 V", 0.66, "15.00 V", 16.5), nil, "point 2: the rig reads 16.5 V, the end of its converter's range"},
		"wrong divider":       {points(t, accuracy, "0.65 V", 0.66, "13.47 V", 11.80), nil, "point 2: the meter shows 13.47 V and the rig reads 11.8 V. They differ by 1.67 V; the divider's tolerance, the converter and the meter explain 353.8 mV. Likely causes: a digit was mistyped, the probe is on another terminal than OUT3, the wrong output was named, or the divider is not the 39 kohm over 10 kohm of 1 % of the rig file"},
		"swapped":             {points(t, accuracy, "0.65 V", 13.30, "13.47 V", 0.66), nil, "the probe is on another terminal than OUT3"},
		"off the line":        {points(t, accuracy, "0.65 V", 0.66, "7.16 V", 6.98, "13.47 V", 13.30), nil, "point 2: 7.16 V lies"},
		"off by a fine meter": {points(t, "0.05 % + 2 digits", "0.651 V", 0.648, "6.020 V", 5.931, "13.471 V", 13.312), nil, "point 2: 6.020 V lies"},
		"off by half as much": {points(t, "0.05 % + 2 digits", "0.651 V", 0.648, "6.010 V", 5.931, "13.471 V", 13.312), nil, "point 2: 6.010 V lies"},
		"poor meter":          {points(t, "1.5 % + 5 digits", good...), nil, "nothing is gained: at 12 V a level would be known to ± "},
		"no serial":           {points(t, accuracy, good...), func(c *Calibration) { c.Meter = "" }, "the meter's serial is missing"},
		"serial of 2 lines":   {points(t, accuracy, good...), func(c *Calibration) { c.Meter = "47\n11" }, "must have printable characters only"},
		"name of spaces":      {points(t, accuracy, good...), func(c *Calibration) { c.By = " " }, "who calibrates"},
		"due before":          {points(t, accuracy, good...), func(c *Calibration) { c.Due = c.Date }, "it falls due on 2026-03-31, which is not after 2026-03-31"},
		"due today":           {points(t, accuracy, good...), func(c *Calibration) { c.Date, c.Due = day(t, "2025-03-31"), madeOn(t) }, "it falls due on 2026-03-31, which must be a day after today, 2026-03-31"},
		"overdue":             {points(t, accuracy, good...), func(c *Calibration) { c.Date, c.Due = day(t, "2024-03-31"), day(t, "2025-03-31") }, "it falls due on 2025-03-31, which must be a day after today, 2026-03-31"},
		"in the future":       {points(t, accuracy, good...), func(c *Calibration) { c.Date = day(t, "2026-04-01") }, "it was made on 2026-04-01, which must be today, 2026-03-31, or a day before"},
		"no output":           {points(t, accuracy, good...), func(c *Calibration) { c.Output = "OUT9" }, "rig bench has no such output"},
		"no accuracy":         {points(t, accuracy, good...), func(c *Calibration) { c.Points[1].Accuracy = Accuracy{}; c.Points[1].Meter.Digit = 0 }, "accuracy is missing"},
		"unsteady":            {points(t, accuracy, good...), func(c *Calibration) { c.Points[0].ReadStandard = 0.2 }, "point 1: the rig's reading is known to 200 mV only"},
		"not a number":        {points(t, accuracy, good...), func(c *Calibration) { c.Points[0].ReadVolts = math.NaN() }, "point 1: "},
	} {
		x := calibrationOf(t, c.points)
		if c.change != nil {
			c.change(&x)
		}
		got, err := New(benchRig(), x, madeOn(t))
		if err == nil || got != nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "calibration of OUT") {
			t.Errorf("%s: %v\nwant %s", name, err, c.want)
		}
	}
}

// The calibration's figures reach a reading's budget, with what has aged since.
func TestCorrection_ageing(t *testing.T) {
	c, err := New(benchRig(), calibrationOf(t, points(t, "0.05 % + 2 digits", "0.650 V", 0.66, "13.470 V", 13.30)), madeOn(t))
	if err != nil {
		t.Fatal(err)
	}
	fresh, old := c.Correction(c.Date), c.Correction(day(t, "2028-03-31"))
	if len(old.Doubts) != len(fresh.Doubts)+1 {
		t.Fatalf("%d doubts on the day, %d two years on", len(fresh.Doubts), len(old.Doubts))
	}
	d := old.Doubts[len(old.Doubts)-1]
	near(t, "0.1 % a year", d.Relative, 0.002, 5e-6)
	near(t, "gain", fresh.Gain, c.Gain, 0)
	near(t, "offset", fresh.Offset, c.Offset, 0)
}

func TestDay(t *testing.T) {
	if got := DayOf(time.Date(2026, 3, 31, 23, 30, 0, 0, time.FixedZone("CEST", 7200))).String(); got != "2026-03-31" {
		t.Errorf("by its clock it is %s", got)
	}
	if got := day(t, "2028-02-29").YearLater().String(); got != "2029-03-01" {
		t.Errorf("a year after a leap day is %s", got)
	}
	for _, s := range []string{"", "31.3.2026", "2026-02-30", "2026-3-1", "0001-01-01", "2026-03-31 10:00"} {
		if d, err := ParseDay(s); err == nil || !strings.Contains(err.Error(), "2026-03-31") {
			t.Errorf("%q: %v, %v", s, d, err)
		}
	}
}
