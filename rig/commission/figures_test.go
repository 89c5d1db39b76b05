package commission

import (
	"fmt"
	"strings"
	"testing"

	"makebreak/rig/calibration"
	"makebreak/rig/wiring/rigfile"
)

// The sheet states how well a level is known as an expanded uncertainty: 1.96 times the
// standard one, in millivolts.
func TestWriteDividers(t *testing.T) {
	rig := rigfile.Builtin()[0]
	var w strings.Builder
	if err := writeDividers(&w, rig); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(w.String(), "\n")
	for _, o := range rig.Outputs {
		f, err := rig.DividerReport(o.Name)
		if err != nil {
			t.Fatal(err)
		}
		want := fmt.Sprintf("%.0f mV at %g V", 1960*f.NominalUncertainty, o.Nominal)
		found := false
		for _, line := range lines {
			found = found || strings.HasPrefix(strings.TrimLeft(line, "| "), o.Name+" ") && strings.Contains(line, want)
		}
		if !found {
			t.Errorf("%s is not said to be known to ± %s:\n%s", o.Name, want, &w)
		}
	}
}

// Two points give the line through them, worked by hand: the meter shows 0.010 V more than
// the rig read at both, so that the gain is 1 and the offset 10 mV.
func TestWriteCalibration(t *testing.T) {
	rig := rigfile.Builtin()[0]
	day, err := calibration.ParseDay("2026-03-31")
	if err != nil {
		t.Fatal(err)
	}
	due, err := calibration.ParseDay("2027-03-31")
	if err != nil {
		t.Fatal(err)
	}
	accuracy, err := calibration.ParseAccuracy("0.5 % + 1 digits")
	if err != nil {
		t.Fatal(err)
	}
	c := calibration.Calibration{Output: "OUT3", Meter: "4711", By: "A. Fitter", Date: day, Due: due, Wiring: calibration.Wiring(rig, "OUT3", 0)}
	for i, read := range []float64{0.99, 12.99} {
		reading, err := calibration.ParseReading([]string{"1.000 V", "13.000 V"}[i])
		if err != nil {
			t.Fatal(err)
		}
		c.Points = append(c.Points, calibration.Point{Meter: reading, Accuracy: accuracy, ReadVolts: read, ReadStandard: 1e-4, N: 1000})
	}
	done, err := calibration.New(rig, c, today(t))
	if err != nil {
		t.Fatal(err)
	}
	var w strings.Builder
	if err := WriteCalibration(&w, rig, done, day, "cal.yaml"); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Gain 1.00000, offset +10.0 mV.", "Stored in cal.yaml; due on 2027-03-31."} {
		if !strings.Contains(w.String(), want) {
			t.Errorf("it does not say %q:\n%s", want, &w)
		}
	}
}
