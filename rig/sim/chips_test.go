package sim

import (
	"math"
	"testing"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/wiring"
)

// What a divider makes of a volt at the terminal, and of one at the point that the
// converter's input current returns to: the input lies across the lower resistor.
func TestPinShare(t *testing.T) {
	exact := newDraws(1, "divider", true)
	for _, c := range []struct {
		name            string
		divider         wiring.Divider
		load            float64 // ohms
		share, returned float64
	}{
		{"no divider", wiring.Divider{Lower: 10e3}, 1e6, 1, 0},
		{"no load", wiring.Divider{Upper: 30e3, Lower: 10e3}, 0, 0.25, 0},
		// 10 kΩ across 10 kΩ are 5 kΩ; by superposition 30 kΩ and 10 kΩ across the terminal.
		{"a heavy load", wiring.Divider{Upper: 30e3, Lower: 10e3}, 10e3, 5e3 / 35e3, 7.5e3 / 17.5e3},
	} {
		share := drawDivider(c.divider, c.load, exact).share()
		if got := returnShare(c.divider, share, c.load); math.Abs(share-c.share) > 1e-12 || math.Abs(got-c.returned) > 1e-12 {
			t.Errorf("%s: %g and %g, want %g and %g", c.name, share, got, c.share, c.returned)
		}
	}
}

// Behind capacitors the pins follow the terminals later.
func TestOpts_Filter(t *testing.T) {
	const late = 200 * time.Microsecond
	for _, filter := range []time.Duration{0, late} {
		w, err := NewWorld(panelRig(), Opts{Exact: true, Filter: filter})
		if err != nil {
			t.Fatal(err)
		}
		o := w.outputs[0]
		at := int64(Start) + int64(time.Second)
		o.sense.push(constant(at, 10))
		in, err := w.inputs(&w.rig.Chips[0], Opts{Exact: true, Filter: filter})
		if err != nil {
			t.Fatal(err)
		}
		volts := func(from int64) float64 {
			return in[w.rig.Outputs[0].Channel](capture.Instant(from), capture.Instant(from+1))
		}
		before, after := volts(at+int64(filter)-2), volts(at+int64(filter)+1)
		if want := 10 * o.share; math.Abs(after-want) > 1e-9 || before > want/2 {
			t.Errorf("filter %v: %g V before the step comes through, %g V after, want %g V then", filter, before, after, want)
		}
	}
}
