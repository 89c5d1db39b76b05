package circuit

import (
	"errors"
	"math"
	"testing"
)

func volts(t *testing.T, n *Network, plus, minus string) float64 {
	t.Helper()
	s, err := n.Solve()
	if err != nil {
		t.Fatal(err)
	}
	v, err := s.Volts(plus, minus)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*(1+math.Abs(want)) {
		t.Errorf("%s: %.12g instead of %.12g", what, got, want)
	}
}

// The rule of the voltage divider, by hand: 13.2 V behind 12 ohm on 39 and 10 kohm.
func TestSolve_Divider(t *testing.T) {
	n := &Network{
		Sources:   []Source{{Name: "out", Plus: "out", Minus: "0", Volts: 13.2, Ohms: 12}},
		Resistors: []Resistor{{"", "out", "pin", 39e3}, {"lower", "pin", "0", 10e3}},
	}
	near(t, "pin", volts(t, n, "pin", "0"), 13.2*10e3/49012)
	s, _ := n.Solve()
	f, _ := s.through("lower")
	near(t, "current", f.amperes, 13.2/49012)
	near(t, "power", f.watts, 13.2/49012*13.2/49012*10e3)
	f, _ = s.through("out")
	near(t, "source's current", f.amperes, 13.2/49012)
	near(t, "highest at the pin", s.Highest("pin"), 13.2*39e3/49012)
	near(t, "highest at 0 V", s.Highest("0"), 13.2*49e3/49012)
	near(t, "highest nowhere", s.Highest("x"), 0)
}

// An open resistor carries nothing and turns nothing into heat.
func TestSolution_ThroughOpen(t *testing.T) {
	n := &Network{
		Sources:   []Source{{Name: "out", Plus: "out", Minus: "0", Volts: 13.2, Ohms: 12}},
		Resistors: []Resistor{{"open", "out", "0", math.Inf(1)}},
	}
	s, err := n.Solve()
	if err != nil {
		t.Fatal(err)
	}
	if f, ok := s.through("open"); !ok || f != (flow{}) {
		t.Errorf("%+v, %v", f, ok)
	}
}

// Wheatstone's bridge, textbook: between the middles V·(R2/(R1+R2) - R4/(R3+R4)), and with a
// detector across them what Thévenin's theorem makes of that.
func TestSolve_Bridge(t *testing.T) {
	const r1, r2, r3, r4, detector, v = 100.0, 150.0, 220.0, 390.0, 50.0, 5.0
	n := &Network{Resistors: []Resistor{{"", "+", "a", r1}, {"", "a", "-", r2}, {"", "+", "b", r3}, {"", "b", "-", r4}}}
	// The source has the least resistance that one can have, and as much more voltage as it
	// loses there.
	n.Sources = []Source{{Plus: "+", Minus: "-", Volts: v * (1 + 1e-3*(1/(r1+r2)+1/(r3+r4))), Ohms: 1e-3}}
	open := v * (r2/(r1+r2) - r4/(r3+r4))
	near(t, "open", volts(t, n, "a", "b"), open)
	n.Resistors[3].Ohms = r2 * r3 / r1
	near(t, "balanced", volts(t, n, "a", "b"), 0)
	n.Resistors[3].Ohms = r4
	n.Resistors = append(n.Resistors, Resistor{"detector", "a", "b", detector})
	inner := r1*r2/(r1+r2) + r3*r4/(r3+r4)
	if got, want := volts(t, n, "a", "b"), open*detector/(detector+inner); math.Abs(got-want) > 1e-5 {
		t.Errorf("with a detector: %g instead of %g", got, want)
	}
}

// A coil with its diode: it blocks the right way round and clamps the wrong way round, by hand.
func TestSolve_Flyback(t *testing.T) {
	coil := &Network{
		Sources:   []Source{{Name: "out", Plus: "A1", Minus: "A2", Volts: 13.6, Ohms: 12}},
		Resistors: []Resistor{{"coil", "A1", "A2", 400}},
		Diodes:    []Diode{Silicon("diode", "A2", "A1")},
	}
	near(t, "right way round", volts(t, coil, "A1", "A2"), 13.6*(1/12.0)/(1/12.0+1/400.0+1e-9))
	coil.Diodes[0] = Silicon("diode", "A1", "A2")
	near(t, "wrong way round", volts(t, coil, "A1", "A2"), (13.6/12+0.7/0.05)/(1/12.0+1/400.0+1/0.05+1e-9))
	coil.Resistors[0].Ohms = math.Inf(1)
	coil.Diodes = nil
	near(t, "open coil, no diode", volts(t, coil, "A1", "A2"), 13.6)
}

// Wires that are open, points that nothing joins, points that nobody knows.
func TestSolve_Floating(t *testing.T) {
	n := &Network{
		Wires:     []Wire{{"a", "b", false}, {"b", "c", true}},
		Resistors: []Resistor{{"", "c", "d", 0}, {"", "d", "e", math.Inf(1)}, {"", "e", "f", 1e3}},
	}
	s, err := n.Solve()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		plus, minus string
		want        error
	}{
		{"a", "b", nil}, {"c", "d", nil}, {"e", "f", nil}, {"a", "a", nil},
		{"b", "c", ErrFloating}, {"d", "e", ErrFloating}, {"a", "x", ErrUnknownPoint}, {"x", "x", ErrUnknownPoint},
	} {
		if v, err := s.Volts(c.plus, c.minus); !errors.Is(err, c.want) || err == nil && v != 0 {
			t.Errorf("from %s to %s: %g V, %v", c.plus, c.minus, v, err)
		}
	}
	if _, ok := s.through("x"); ok || s.Has("x") || !s.Has("f") {
		t.Error("parts that are not there are known")
	}
}

// The figures of each danger have a unit.
func TestDanger_Units(t *testing.T) {
	for _, c := range []DangerCode{LiveOhms, HighSupply, Burns, Shorted} {
		if c.Kind().Base == "" {
			t.Errorf("%s has figures without a unit", c)
		}
	}
}

// Values that cannot be calculated with are refused.
func TestSolve_Refused(t *testing.T) {
	for name, n := range map[string]*Network{
		"negative":    {Resistors: []Resistor{{"r", "a", "b", -1}}},
		"no number":   {Resistors: []Resistor{{"r", "a", "b", math.NaN()}}},
		"too small":   {Resistors: []Resistor{{"r", "a", "b", 1e-9}}},
		"too large":   {Resistors: []Resistor{{"r", "a", "b", 1e15}}},
		"stiff":       {Sources: []Source{{Name: "s", Plus: "a", Minus: "b", Volts: 1}}},
		"volts":       {Sources: []Source{{Name: "s", Plus: "a", Minus: "b", Volts: math.NaN(), Ohms: 1}}},
		"much":        {Sources: []Source{{Name: "s", Plus: "a", Minus: "b", Volts: math.Inf(1), Ohms: 1}}},
		"stiff diode": {Diodes: []Diode{{"d", "a", "b", 0.7, 0, 1e9}}},
		"no leakage":  {Diodes: []Diode{{"d", "a", "b", 0.7, 1, math.Inf(1)}}},
	} {
		if _, err := n.Solve(); err == nil {
			t.Errorf("%s: solved", name)
		}
	}
}
