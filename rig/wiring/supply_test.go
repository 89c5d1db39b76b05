package wiring

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Codes of a supply worked by hand from VOUT = VDD · code / 4096 (Microchip DS22039; the
// Linux driver mcp4725.c scales the same) times the gain: a step is 3.3 V · 5 / 4096 = 4.02832 mV.
func TestSupply_Code(t *testing.T) {
	s := &Supply{Model: MCP4725, Address: 0x60, Reference: 3.3, Gain: 5, Highest: 15, Usual: 13.8}
	for _, c := range []struct {
		volts float64
		code  uint16
	}{
		{0, 0}, {0.002, 0}, {0.0021, 1}, {5, 1241}, {10.5, 2607}, {12, 2979}, {13.8, 3426},
		{15, 3723}, // 14.9974 V; 3724 would be 15.0015 V
		{-1, 0}, {20, 3723}, {math.NaN(), 0},
	} {
		if got := s.Code(c.volts); got != c.code {
			t.Errorf("%g V: code %d, want %d", c.volts, got, c.code)
		}
	}
	if got := s.Volts(3426); math.Abs(got-13.80103) > 5e-6 {
		t.Errorf("code 3426: %.5f V, want 13.80103 V", got)
	}
	if got := s.Reach(); math.Abs(got-16.49597) > 5e-6 {
		t.Errorf("reach %.5f V, want 16.49597 V", got)
	}
}

// Whatever the supply, no code gives more than its highest voltage, and every other
// voltage is met within half a step.
func TestSupply_CodeBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &Supply{Reference: rapid.Float64Range(2.7, 5.5).Draw(t, "reference"), Gain: rapid.Float64Range(0.1, 100).Draw(t, "gain")}
		s.Highest = rapid.Float64Range(0.001, 1).Draw(t, "share") * s.Reach()
		volts := rapid.Float64Range(0, 1).Draw(t, "of highest") * s.Highest
		got := s.Volts(s.Code(volts))
		switch {
		case got > s.Highest*(1+1e-12)+1e-9*s.Step():
			t.Fatalf("%g V is set as %g V, beyond %g V", volts, got, s.Highest)
		case s.Highest-volts >= s.Step()/2 && math.Abs(got-volts) > s.Step()/2*(1+1e-9):
			t.Fatalf("%g V is set as %g V, a step is %g V", volts, got, s.Step())
		case math.Abs(got-volts) > s.Step()*(1+1e-9):
			t.Fatalf("%g V is set as %g V, a step is %g V", volts, got, s.Step())
		}
	})
}

// A supply that a file cannot say and Go code can.
func TestCheck_Supply(t *testing.T) {
	r := benchRig()
	r.Supply = &Supply{Model: MCP4725, Address: 0x60, Reference: math.NaN(), Gain: math.NaN(), Highest: math.NaN()}
	if p := r.Check(); len(p) != 3 {
		t.Errorf("problems: %v", p)
	}
}

// A supply that can drive an output higher than its divider was worked out for is refused,
// save for an output that a unit makes of it: one of less than half of what is usual.
func TestCheck_SupplyAtOutputs(t *testing.T) {
	for _, c := range []struct {
		nominal, reach, highest float64
		problems                int
	}{
		{12, 15, 15, 0}, {12, 15, 14, 0}, {12, 15, 15.1, 1},
		{6, 15, 15.1, 1}, {5.9, 15, 15.1, 0}, {5, 15, 14, 0}, {5, 15, 30, 0},
	} {
		r := benchRig()
		r.Outputs[0].Nominal, r.Outputs[0].Highest = c.nominal, c.reach
		k := &checker{rig: r}
		k.supplyAtOutputs("supply.highest", c.highest, 12)
		if len(k.list) != c.problems {
			t.Errorf("%g V output of %g V at most, supply of %g V: %v", c.nominal, c.reach, c.highest, k.list)
		}
	}
}

// Worked by hand: 10 kohm, 1 % each way, 30 V brought to 3 V: 10.1 kohm × 9/0.99.
func TestLeastUpper(t *testing.T) {
	near(t, "1 %", LeastUpper(10e3, 0.01, 30, 3), 91818.1818, 1e-3)
	near(t, "exact resistors", LeastUpper(10e3, 0, 30, 3), 90e3, 1e-6)
	near(t, "no divider needed", LeastUpper(10e3, 0.01, 3, 3), 0, 1e-9)
	d := Divider{Upper: LeastUpper(10e3, 0.05, 30, 3), Lower: 10e3, Tolerance: 0.05}
	near(t, "volts at the pin at worst", 30*d.worstRatio(), 3, 1e-9)
}
