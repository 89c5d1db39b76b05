package calibration

import (
	"strings"
	"testing"
)

// A point is refused from where meter and rig are further apart than 1.5 times what the
// limits of error allow. Worked by hand for 10 V behind 39 kohm and 10 kohm of 1 %, in
// millivolts: 2 × 79.6 of the resistors (39/49 of 1 % each); of the ADS1115 15 gain, 10 gain
// between ranges, 4 gain drift, 1.84 offset, 0.61 nonlinearity, 4.0 input impedance and 4.55
// input return. That is 199.2; 70 of the meter (0.5 % and 2 digits of 10 mV) make 269.2, and
// 1.5 times that is 403.7. Three times the reading's standard uncertainty comes to it: with
// 10 mV 448.7.
func TestCheckPoint_Tolerance(t *testing.T) {
	for _, c := range []struct {
		readStandard, off float64 // volts
		ok                bool
	}{
		{0, 0, true}, {0, 0.4027, true}, {0, -0.4027, true}, {0, 0.4047, false}, {0, -0.4047, false},
		{0.010, 0.4477, true}, {0.010, -0.4477, true}, {0.010, 0.4497, false}, {0.010, -0.4497, false},
	} {
		p := points(t, "0.5 % + 2 digits", "10.00 V", 10+c.off)[0]
		p.ReadStandard = c.readStandard
		err := CheckPoint(benchRig(), "OUT3", &p)
		if (err == nil) != c.ok || err != nil && !strings.Contains(err.Error(), "further apart than") {
			t.Errorf("off by %g V, read to ± %g V: %v", c.off, c.readStandard, err)
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

// What a points file leaves open: the day is today, and it is due a year later.
func TestSession_Calibration(t *testing.T) {
	today, day1, day2 := day(t, "2026-04-01"), day(t, "2026-03-01"), day(t, "2026-09-01")
	for _, c := range []struct {
		session   Session
		date, due string
	}{
		{Session{}, "2026-04-01", "2027-04-01"},
		{Session{Dated: true, Date: day1}, "2026-03-01", "2027-03-01"},
		{Session{HasDue: true, Due: day2}, "2026-04-01", "2026-09-01"},
		{Session{Dated: true, Date: day1, HasDue: true, Due: day2}, "2026-03-01", "2026-09-01"},
	} {
		c.session.Meter = "4711"
		got := c.session.Calibration("OUT3", today)
		if got.Date.String() != c.date || got.Due.String() != c.due || got.Output != "OUT3" || got.Meter != "4711" {
			t.Errorf("%+v: %+v", c.session, got)
		}
	}
}
