package wiring

import (
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/rig/line"
)

func TestStage_At(t *testing.T) {
	g := &Stage{Drive: "STAGE", Off: 13.8, On: 10.5}
	for _, c := range []struct {
		volts   float64
		on, has bool
	}{
		{13.8, false, true}, {10.5, true, true}, {10.5 + 1e-9, true, true}, {13.8 - 1e-9, false, true},
		{10.499, false, false}, {13.801, false, false}, {12, false, false}, {0, false, false}, {math.NaN(), false, false},
	} {
		if on, has := g.At(c.volts); on != c.on || has != c.has {
			t.Errorf("%g V: on %t, has %t", c.volts, on, has)
		}
	}
	if got := g.Both(); got != "13.8 V or 10.5 V" {
		t.Errorf("both: %s", got)
	}
}

// What a file cannot say and Go code can.
func TestCheck_stage(t *testing.T) {
	for _, c := range []struct {
		off, on float64
		want    string
	}{
		{math.NaN(), 12, "supply.off: "},
		{12, math.Inf(1), "supply.on: "},
		{-1, 12, `supply.off: "-1 V": must be from 0 V to 100 V`},
		{12, 12 + 1e-7, "supply.on: "},
	} {
		r := benchRig()
		r.Drives = []Drive{{Line: line.Line{Name: "STAGE", Chip: "gpiochip0", Number: 5, Pull: line.PullNone}, LongestOn: 2 * time.Minute}}
		r.Supply = TwoStages("STAGE", c.off, c.on)
		if p := r.Check(); len(p) != 1 || !strings.HasPrefix(p[0].String(), c.want) {
			t.Errorf("%g and %g V: %v", c.off, c.on, p)
		}
	}
}
