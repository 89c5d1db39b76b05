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
