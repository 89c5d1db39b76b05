package sums

import (
	"math"
	"testing"

	"makebreak/rig/ads1x15"
	"makebreak/testdata/netlists"
)

// The coil of testdata/netlists/flyback.cir, switched off at 20 ms: the times until its current has
// fallen to 3 mA, and what the output sees, against ngspice. Its steps are 1 µs; its diode takes
// up to 10 mV more than 0.7 V.
func TestSpice_Flyback(t *testing.T) {
	in := relayCoil()
	in.Tolerance, in.Tau, in.MustRelease, in.Snub, in.Stands = 0, 1.3e-3, 1.2, 680, 40
	s, err := Coil(in)
	if err != nil {
		t.Fatal(err)
	}
	netlists.Each(t, "flyback", func(t *testing.T, o *netlists.Output) {
		const off = 20e-3
		hold(t, s, figures{
			"coil_amperes":        {o.Figure(t, "i_on"), 1e-8},
			"diode_decay_seconds": {o.Figure(t, "t_diode") - off, 2e-6},
			"zener_decay_seconds": {o.Figure(t, "t_zener") - off, 2e-6},
			"snub_decay_seconds":  {o.Figure(t, "t_snub") - off, 2e-6},
			"diode_volts":         {-o.Figure(t, "v_diode"), 0.01},
			"zener_voltage_volts": {12 - o.Figure(t, "v_zener"), 0.01},
			"snub_voltage_volts":  {12 - o.Figure(t, "v_snub"), 1e-3},
			"bare_volts":          {-o.Figure(t, "v_bare"), 12.1}, // of which the coil's resistance takes up to 12 V off
		})
	})
	if !yes(t, s, "stands_zener") || !yes(t, s, "stands_snub") {
		t.Errorf("40 V are enough for 36.7 V and 33.4 V: %v", s.Answers)
	}
	if most := s.Value("most_snub_ohms"); !(most*1.05*0.03 <= 28 && nextAbove(most)*1.05*0.03 > 28) { // 40 V − 12 V at 30 mA
		t.Errorf("the largest resistor is %g ohm", most)
	}
}

// nextAbove is the next larger value of E24.
func nextAbove(r float64) float64 {
	for x := r * 1.001; ; x *= 1.001 {
		if b := nextBelow(24, x); b > r*1.001 {
			return b
		}
	}
}

// The divider of testdata/netlists/filter.cir with its capacitor, against ngspice: how late a step
// and a long ramp cross their half, when the step has settled, and what is left of a sine.
func TestSpice_Filter(t *testing.T) {
	in := outputDivider()
	in.Upper, in.Tolerance, in.Source, in.Capacitor, in.CapacitorTolerance, in.Rate = 39e3, 0, 100, 100e-9, 0, 860
	s, err := Divider(in)
	if err != nil {
		t.Fatal(err)
	}
	netlists.Each(t, "filter", func(t *testing.T, o *netlists.Output) {
		const step = 1e-3
		hold(t, s, figures{
			"crossing_delay_seconds": {o.Figure(t, "half") - step, 1e-7},
			"most_delay_seconds":     {o.Figure(t, "ramp") - step - 50e-3, 1e-7},
			"settling_seconds":       {o.Figure(t, "settled") - step, 5e-6},
			"half_rate_share":        {o.Figure(t, "half_rate") / o.Figure(t, "slow"), 1e-5},
			"rate_share":             {o.Figure(t, "rate") / o.Figure(t, "slow"), 1e-5},
			// The divider's load through the source: of 15 V × 10/49, with the input on it.
			"source_share": {1 - o.Figure(t, "end_level")/(15*9983.361/48983.361), 1e-5},
		})
	})
}

// To 15 bits an RC circuit settles in 10.40 time constants: TI SLYW038, table of settling times. Half
// a step of a voltage of 2^14 steps is 15 bits.
func TestDivider_SettlingTable(t *testing.T) {
	in := outputDivider()
	in.Upper, in.Tolerance, in.Capacitor, in.CapacitorTolerance = 39e3, 0, 100e-9, 0
	s, err := Divider(in)
	if err != nil {
		t.Fatal(err)
	}
	in.Highest = math.Pow(2, 14) * s.Value("step_volts")
	if s, err = Divider(in); err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{"settling_seconds": {10.40 * s.Value("filter_tau_seconds"), 0.005 * s.Value("filter_tau_seconds")}})
}

// A corner of 200 Hz with 7.95 kohm asks for 100 nF; a corner above half the rate is warned of, and
// parts at the ends of their tolerance keep between what is said.
func TestDivider_Corner(t *testing.T) {
	in := outputDivider()
	in.Corner, in.Rate, in.Model = 200, 860, ads1x15.ADS1115
	s, err := Divider(in)
	if err != nil {
		t.Fatal(err)
	}
	hold(t, s, figures{"capacitor_farads": {100e-9, 1e-18}, "corner_hertz": {200.2, 0.1}, "settling_conversions": {9, 0}})
	tau := 7.9487e3 * 100e-9
	hold(t, s, figures{
		"least_delay_seconds": {tau * math.Ln2 * 0.99 * 0.9, 1e-7}, "most_delay_seconds": {tau * 1.01 * 1.1, 1e-7},
	})
	in.Corner = 2000
	if s, err = Divider(in); err != nil || len(s.Warnings) != 2 {
		t.Errorf("2 kHz: %q, %v", s.Warnings, err)
	}
	in.Capacitor = 1e-9
	if _, err = Divider(in); err == nil {
		t.Error("a capacitor and a corner were taken")
	}
}
