package meter

import (
	"math"
	"testing"

	"makebreak/rig/circuit"
)

// bench is a coil on a supply, a wire, an open wire and a diode by itself.
func bench(volts float64) *circuit.Network {
	return &circuit.Network{
		Resistors: []circuit.Resistor{{From: "a", To: "b", Ohms: 400}, {From: "b", To: "c", Ohms: 47}},
		Sources:   []circuit.Source{{Plus: "p", Minus: "c", Volts: volts, Ohms: 12}},
		Wires:     []circuit.Wire{{From: "x", To: "y"}, {From: "p", To: "q", Open: true}},
		Diodes:    []circuit.Diode{circuit.Silicon("d", "c", "e")},
	}
}

// What the meter shows is within what its manual promises, whichever meter it is; NaN stands
// for OL.
func TestRead(t *testing.T) {
	for _, c := range []struct {
		mode       Mode
		red, black string
		want       float64
	}{
		{DCVolts, "p", "c", 13.2}, {DCVolts, "c", "p", -13.2}, {DCVolts, "q", "c", 0}, {DCVolts, "x", "e", 0},
		{Ohms, "a", "b", 400.2}, {Ohms, "a", "c", 447.2}, {Ohms, "x", "y", 0.2}, {Ohms, "p", "q", math.NaN()},
		{Ohms, "c", "e", math.NaN()}, // its test voltage does not open a silicon diode
		{Continuity, "x", "y", 0.2}, {Continuity, "b", "c", 47.2}, {Continuity, "q", "c", math.NaN()},
		{Diode, "c", "e", 0.7}, {Diode, "e", "c", math.NaN()}, {Diode, "b", "c", 3 * 47.2 / 2247.2},
		{ACVolts, "p", "c", 0},
	} {
		for seed := range uint64(50) {
			r, err := New(seed).Read(bench(13.2), c.mode, c.red, c.black)
			off := math.Abs(r.Value - c.want)
			if err != nil || r.Overload != math.IsNaN(c.want) || off > r.Within {
				t.Errorf("meter %d, %s from %s to %s: %v ± %g instead of %g, %v", seed, c.mode, c.red, c.black, r, r.Within, c.want, err)
			}
		}
	}
}
