package unit_test

import (
	"testing"

	"makebreak/rig/unit"
)

// A unit's likenesses are read as the unit: Unicode has two signs each for ohm and micro.
func TestKind_Parse_Likenesses(t *testing.T) {
	for _, tc := range []struct {
		kind unit.Kind
		text string
		want float64
	}{
		{unit.Resistance, "1.2 kohm", 1200},
		{unit.Resistance, "1.2 kOhm", 1200},
		{unit.Resistance, "390Ohm", 390},
		{unit.Resistance, "39 k\u03a9", 39e3},
		{unit.Resistance, "39 k\u2126", 39e3},
		{unit.Time, "250 \u00b5s", 250e-6},
		{unit.Time, "250 \u03bcs", 250e-6},
	} {
		if got, err := tc.kind.Parse(tc.text); err != nil || got != tc.want {
			t.Errorf("%q is %g, %v; want %g", tc.text, got, err, tc.want)
		}
	}
	for _, text := range []string{"10", "10 k", "10 KOHM", "10 mohm", "10 V"} {
		if got, err := unit.Resistance.Parse(text); err == nil {
			t.Errorf("%q is read as %g ohm", text, got)
		}
	}
}
