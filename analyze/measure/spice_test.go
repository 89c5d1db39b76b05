package measure_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/testdata/netlists"
)

// spiced measures what ngspice wrote, read as any capture is, and returns the figures by
// quantity and event.
func spiced(t *testing.T, o *netlists.Output, name string) map[string]analyze.Measurement {
	t.Helper()
	all := map[string]analyze.Measurement{}
	for _, m := range measureStream(t, strings.NewReader(o.CSV(t, name)), name, 0).Measurements {
		all[fmt.Sprintf("%s at %s", m.Quantity, m.Event)] = m
	}
	return all
}

// holds fails unless a figure is what was worked out by hand, and what ngspice measured.
// Both have to lie within the figure's own uncertainty and no further off than told.
func holds(t *testing.T, all map[string]analyze.Measurement, what string, byHand, bySpice, within float64) {
	t.Helper()
	m, ok := all[what]
	if !ok {
		t.Errorf("%s was not measured", what)
		return
	}
	for by, want := range map[string]float64{"by hand": byHand, "by ngspice": bySpice} {
		if off := math.Abs(m.Value - want); !(off <= within) || !(off <= m.Expanded+1e-5) {
			t.Errorf("%s: %.9g ± %.2g, %s %.9g; allowed %g", what, m.Value, m.Expanded, by, want, within)
		}
	}
}

// An output behind 120 ohm with 1.25 µF across it, loaded by a divider of 39 kohm over
// 10 kohm with 6 Mohm across: by the divider rule its levels are the source's times
// 48983/49103, and by the law of the RC circuit it passes the middle after ln 2 and goes from
// 10 % to 90 % in ln 9 times C·(120 ohm parallel to the divider). ngspice solves the
// circuit by steps.
func TestSpice_Edge(t *testing.T) {
	netlists.Each(t, "edge", func(t *testing.T, o *netlists.Output) {
		all := spiced(t, o, "edge")
		f := func(name string) float64 { return o.Figure(t, name) }
		load := 39e3 + 10e3*6e6/(10e3+6e6)
		share, tau := load/(load+120), 1.25e-6*120*load/(load+120)
		holds(t, all, "low_level at disarm", 0.65*share, f("low_level"), 5e-4)
		holds(t, all, "high_level at arm-away", 13.2*share, f("high_level"), 5e-4)
		delay := netlists.Takes + tau*math.Ln2
		holds(t, all, "switching_delay at arm-away", delay, f("rise_50")-netlists.ToldOn, 2e-6)
		holds(t, all, "switching_delay at disarm", delay, f("fall_50")-netlists.ToldOff, 2e-6)
		lasts := tau * math.Log(9)
		holds(t, all, "transition_duration at arm-away", lasts, f("rise_90")-f("rise_10"), 4e-6)
		holds(t, all, "transition_duration at disarm", lasts, f("fall_10")-f("fall_90"), 4e-6)
	})
}

// A coil of 400 ohm with a diode of 0.7 V across it. On, 13.2 V behind 12 ohm leave
// 13.2 · 400/412 at the terminal; off, the leakage of 2.275 V behind 1 kohm leaves 0.65 V. The diode
// pulls the terminal below 0 V for milliseconds: that is no level, and the output's
// crossing is the switch's instant.
func TestSpice_Coil(t *testing.T) {
	netlists.Each(t, "coil", func(t *testing.T, o *netlists.Output) {
		all := spiced(t, o, "coil")
		holds(t, all, "low_level at disarm", 0.65, o.Figure(t, "end_level"), 2e-3)
		holds(t, all, "high_level at arm-away", 13.2*400/412, o.Figure(t, "high_level"), 2e-3)
		for _, event := range []string{"arm-away", "disarm"} {
			holds(t, all, "switching_delay at "+event, netlists.Takes, netlists.Takes, 26e-6) // half a row of 50 µs
		}
	})
}

// A leakage in the off state: 2.275 V behind 1 kohm into 400 ohm are 0.65 V, 9.1 V are 2.6 V.
func TestSpice_Leakage(t *testing.T) {
	netlists.Each(t, "leakage", func(t *testing.T, o *netlists.Output) {
		holds(t, spiced(t, o, "leakage"), "low_level at disarm", 2.275*400/1400, o.Figure(t, "low_level"), 2e-3)
		holds(t, spiced(t, o, "held"), "low_level at disarm", 9.1*400/1400, o.Figure(t, "held_level"), 2e-3)
	})
}

// An astable that charges and discharges 2.885 µF through 100 kohm between a third and two thirds of
// its supply: by the law of the RC circuit each pulse, and each time between two, takes RC ln 2, and
// the first pulse, from an empty capacitor, RC ln 3. Nothing is expected of it, so a row is the mean.
func TestSpice_Astable(t *testing.T) {
	netlists.Each(t, "astable", func(t *testing.T, o *netlists.Output) {
		all := spiced(t, o, "astable")
		at := func(edge string, n int) float64 { return o.Figure(t, fmt.Sprintf("%s_%d", edge, n)) }
		rc := 100e3 * 2.885e-6
		var on, off float64
		for n := 1; n <= 4; n++ {
			on += (at("fall", n) - at("rise", n)) / 4
			if n < 4 {
				off += (at("rise", n+1) - at("fall", n)) / 3
			}
		}
		holds(t, all, "on_time at disarm", rc*(math.Log(3)+3*math.Ln2)/4, on, 3e-4)
		holds(t, all, "off_time at disarm", rc*math.Ln2, off, 3e-4)
		if m := all["pulse_count at disarm"]; m.Value != 4 {
			t.Errorf("%g pulses, want 4", m.Value)
		}
	})
}
