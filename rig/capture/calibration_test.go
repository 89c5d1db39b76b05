package capture

import (
	"slices"
	"strings"
	"testing"
)

// A calibration holds from its own day to the day before it is due; one that is not applied
// stays so on any day.
func TestCalibration_On(t *testing.T) {
	c := Calibration{State: InDate, Made: "2026-03-31", Due: "2027-03-31"}
	for day, want := range map[string]CalibrationState{
		"2026-03-30": InFuture, "2026-03-31": InDate, "2026-12-31": InDate, "2027-03-30": InDate, "2027-03-31": Overdue, "2030-01-01": Overdue, "1999-12-31": InFuture,
	} {
		for _, from := range []CalibrationState{InDate, Overdue, InFuture} { // whatever it was before
			c.State = from
			if got := c.On(day); got.State != want || got.Due != c.Due {
				t.Errorf("%s: %+v", day, got)
			}
		}
	}
	for _, s := range []CalibrationState{OtherBench, Rewired, NotCalibrated} {
		c.State = s
		if got := c.On("2030-01-01"); got.State != s || got.Applied() || got.Doubted() {
			t.Errorf("%s: %+v", s, got)
		}
	}
}

// An overdue calibration may be judged all the same; one dated in the future may not.
func TestCalibration_Doubted(t *testing.T) {
	for _, c := range []struct {
		state  CalibrationState
		judged bool
		want   bool
	}{
		{InDate, false, false}, {InDate, true, false}, {Overdue, false, true}, {Overdue, true, false},
		{InFuture, false, true}, {InFuture, true, true}, {NotCalibrated, true, false}, {OtherBench, false, false},
	} {
		x := Calibration{State: c.state, Judged: c.judged}
		if x.Doubted() != c.want {
			t.Errorf("%+v: doubted %t", x, x.Doubted())
		}
	}
}

// Every source that a calibration brings is known as one, and none of another.
func TestSource_RestsOnCalibration(t *testing.T) {
	var rests []Source
	for _, s := range Sources() {
		if s.RestsOnCalibration() {
			rests = append(rests, s)
		}
	}
	if !slices.Equal(rests, []Source{MeterAccuracy, CalibrationPoints, CalibrationSlope, CalibrationAgeing}) {
		t.Errorf("%q", rests)
	}
}

func TestCalibrationLines(t *testing.T) {
	seed := uint64(7)
	dated := func(output, meter, due string, s CalibrationState) Calibration {
		return Calibration{Output: output, State: s, Meter: meter, Made: "2026-03-31", Due: due, Rig: "shelf"}
	}
	never := func(outputs ...string) (all []Calibration) {
		for _, o := range outputs {
			all = append(all, Calibration{Output: o, State: NotCalibrated})
		}
		return all
	}
	late, soak := dated("OUT2", "4711", "2026-04-30", Overdue), dated("OUT2", "4711", "2026-04-30", Overdue)
	late.Judged, soak.Since = true, 12
	other := dated("OUT2", "4711", "2027-03-31", OtherBench)
	simulated := other
	simulated.Seed = &seed
	for name, c := range map[string]struct {
		all  []Calibration
		want []string
	}{
		"none": {nil, nil},
		"mixed": {append([]Calibration{dated("OUT1", "M", "2027-03-01", InDate), dated("OUT2", "M", "2027-03-01", InDate), dated("OUT3", "M", "2027-03-01", InDate), dated("OUT4", "M", "2027-03-01", InDate)}, never("OUT5", "OUT6", "OUT7", "OUT8")...),
			[]string{"OUT1 to OUT4 by meter M on 2026-03-31, due 2027-03-01", "OUT5 to OUT8 never calibrated: the tolerances of resistors and converter stand in the budget"}},
		"other meters":  {[]Calibration{dated("OUT1", "M", "2027-03-01", InDate), dated("OUT2", "N", "2027-03-01", InDate)}, []string{"OUT1 by meter M on 2026-03-31, due 2027-03-01", "OUT2 by meter N on 2026-03-31, due 2027-03-01"}},
		"two, and gaps": {never("OUT1", "OUT2", "OUT4", "COIL", "OUT9", "OUT10", "OUT11"), []string{"OUT1, OUT2, OUT4, COIL, OUT9 to OUT11 never calibrated: the tolerances of resistors and converter stand in the budget"}},
		"overdue":       {[]Calibration{dated("OUT2", "4711", "2026-04-30", Overdue)}, []string{"OUT2 by meter 4711 on 2026-03-31, overdue since 2026-04-30: figures that rest on it are undecided"}},
		"judged":        {[]Calibration{late}, []string{"OUT2 by meter 4711 on 2026-03-31, overdue since 2026-04-30: figures that rest on it are judged all the same, as overdue_calibrations says"}},
		"in a soak":     {[]Calibration{soak}, []string{"OUT2 by meter 4711 on 2026-03-31, overdue since 2026-04-30: figures that rest on it are undecided (from cycle 12 on)"}},
		"some go on":    {append(append(never("OUT1"), dated("OUT2", "4711", "2026-04-30", InDate)), append([]Calibration{{Output: "OUT1", State: NotCalibrated, Since: 12}}, soak)...), []string{"OUT1 never calibrated: the tolerances of resistors and converter stand in the budget", "OUT2 by meter 4711 on 2026-03-31, due 2026-04-30", "OUT2 by meter 4711 on 2026-03-31, overdue since 2026-04-30: figures that rest on it are undecided (from cycle 12 on)"}},
		"in the future": {[]Calibration{dated("OUT2", "4711", "2027-03-31", InFuture)}, []string{"OUT2 by meter 4711 on 2026-03-31, which is in the future: figures that rest on it are undecided; check the clock and the date"}},
		"another rig":   {[]Calibration{other}, []string{"OUT2 calibrated on another bench (rig shelf), which does not count here: the tolerances of resistors and converter stand in the budget"}},
		"another seed":  {[]Calibration{simulated}, []string{"OUT2 calibrated on another bench (rig shelf, simulated with seed 7), which does not count here: the tolerances of resistors and converter stand in the budget"}},
		"rewired":       {[]Calibration{dated("OUT2", "4711", "2027-03-31", Rewired)}, []string{"OUT2 calibrated on 2026-03-31 and wired differently since, which does not count any more: the tolerances of resistors and converter stand in the budget"}},
	} {
		if got := CalibrationLines(c.all); !slices.Equal(got, c.want) {
			t.Errorf("%s:\n%s\nwant\n%s", name, strings.Join(got, "\n"), strings.Join(c.want, "\n"))
		}
	}
}
