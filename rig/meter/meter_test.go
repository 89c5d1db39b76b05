package meter

import (
	"errors"
	"math"
	"strings"
	"testing"

	"makebreak/rig/circuit"
	"makebreak/rig/problem"
)

// bench is a coil on a supply, a wire, an open wire and a diode by itself.
func bench(volts float64) *circuit.Network {
	return &circuit.Network{
		Resistors: []circuit.Resistor{{From: "a", To: "b", Ohms: 400}, {From: "b", To: "c", Ohms: 47}},
		Sources:   []circuit.Source{{Plus: "p", Minus: "c", Volts: volts, Ohms: 12}},
		Wires:     []circuit.Wire{{From: "x", To: "y"}, {From: "p", To: "q", Open: true}, {From: "p", To: "w"}},
		Diodes:    []circuit.Diode{circuit.Silicon("d", "c", "e")},
	}
}

func solved(t *testing.T, n *circuit.Network) *circuit.Solution {
	t.Helper()
	s, err := n.Solve()
	if err != nil {
		t.Fatal(err)
	}
	return s
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
			r, err := New(seed).Read(solved(t, bench(13.2)), c.mode, c.red, c.black)
			off := math.Abs(r.Value - c.want)
			if err != nil || r.Overload != math.IsNaN(c.want) || off > r.Within {
				t.Errorf("meter %d, %s from %s to %s: %v ± %g instead of %g, %v", seed, c.mode, c.red, c.black, r, r.Within, c.want, err)
			}
		}
	}
}

// resistor is a resistor alone.
func resistor(ohms float64) *circuit.Network {
	return &circuit.Network{Resistors: []circuit.Resistor{{From: "a", To: "b", Ohms: ohms}}}
}

func must(t *testing.T, n *circuit.Network, mode Mode, red, black string) Reading {
	t.Helper()
	r, err := exact().Read(solved(t, n), mode, red, black)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// exact is a meter that is off by nothing.
func exact() *Meter { return &Meter{errors: make([]off, len(ranges))} }

// The display shows as many places as the range has: 4,000 steps and OL.
func TestReading_String(t *testing.T) {
	for _, c := range []struct {
		n    *circuit.Network
		mode Mode
		want string
	}{
		{resistor(399), Ohms, "399.2 ohm"}, {resistor(3990), Ohms, "3.990 kohm"}, {resistor(39.9e3), Ohms, "39.90 kohm"}, {resistor(399e3), Ohms, "399.0 kohm"},
		{resistor(3.99e6), Ohms, "3.990 Mohm"}, {resistor(39e6), Ohms, "39.00 Mohm"}, {resistor(41e6), Ohms, "OL"}, {resistor(399), Continuity, "399.2 ohm"}, {resistor(410), Continuity, "OL"},
		{bench(0.3), DCVolts, "300.0 mV"}, {bench(3), DCVolts, "3.000 V"}, {bench(13.213), DCVolts, "13.21 V"}, {bench(120), DCVolts, "120.0 V"}, {bench(500), DCVolts, "OL"}, {bench(-13.213), DCVolts, "-13.21 V"},
		{resistor(1000), Diode, "938 mV"}, {resistor(1e6), Diode, "OL"}, {resistor(4600), Diode, "OL"}, {resistor(4300), Diode, "1.985 V"},
	} {
		red, black := "a", "b"
		if len(c.n.Sources) > 0 {
			red, black = "p", "c"
		}
		if got := must(t, c.n, c.mode, red, black).String(); got != c.want {
			t.Errorf("%s: %q instead of %q", c.mode, got, c.want)
		}
	}
}

// A meter loads what it measures, by hand: 10 Mohm across a source behind 1 Mohm.
func TestRead_Burden(t *testing.T) {
	n := &circuit.Network{Sources: []circuit.Source{{Plus: "p", Minus: "c", Volts: 11, Ohms: 1e6}}}
	if r := must(t, n, DCVolts, "p", "c"); math.Abs(r.Value-10) > 0.005 {
		t.Errorf("%v instead of 10 V", r)
	}
}

// It beeps for what is below 30 ohm, leads included, and in continuity only.
func TestRead_Beeps(t *testing.T) {
	for _, c := range []struct {
		ohms float64
		mode Mode
		want bool
	}{{0, Continuity, true}, {29, Continuity, true}, {30, Continuity, false}, {1e3, Continuity, false}, {29, Ohms, false}, {29, Diode, false}} {
		if r := must(t, resistor(c.ohms), c.mode, "a", "b"); r.Beeps != c.want {
			t.Errorf("%g ohm, %s: %v", c.ohms, c.mode, r.Beeps)
		}
	}
}

// On a live circuit a test is told as a danger, with the voltage; a measurement of volts is not.
func TestRead_Live(t *testing.T) {
	for _, mode := range Modes() {
		live, quiet := must(t, bench(13.2), mode, "p", "c"), must(t, bench(0.04), mode, "c", "p")
		switch {
		case len(quiet.Dangers) > 0:
			t.Errorf("%s at 40 mV: %v", mode, quiet.Dangers)
		case mode == DCVolts || mode == ACVolts:
			if len(live.Dangers) > 0 {
				t.Errorf("%s: %v", mode, live.Dangers)
			}
		case len(live.Dangers) != 1 || live.Dangers[0].Code != circuit.LiveOhms || live.Dangers[0].Place != "p" || math.Abs(live.Dangers[0].Value-13.2) > 1e-4 || live.Dangers[0].Limit != liveVolts:
			t.Errorf("%s: %+v", mode, live.Dangers)
		}
	}
	// Along a live wire nothing stands between the leads, and it is live all the same.
	if r := must(t, bench(13.2), Ohms, "p", "w"); r.String() != "0.2 ohm" || len(r.Dangers) != 1 {
		t.Errorf("along a live wire: %v, %v", r, r.Dangers)
	}
	if r := must(t, bench(13.2), Ohms, "x", "y"); len(r.Dangers) != 0 {
		t.Errorf("along a wire by itself: %v", r.Dangers)
	}
	if r := must(t, bench(13.2), Ohms, "x", "p"); len(r.Dangers) != 1 || r.Dangers[0].Place != "p" {
		t.Errorf("with the black lead on a live wire: %v", r.Dangers)
	}
	// 100 mV behind 12 ohm, with 0.45 V behind 400 ohm against it: by hand 3.4 times what 12.2 ohm are.
	r := must(t, bench(0.1), Ohms, "p", "c")
	v := (0.1/12.2 + 0.45/400) / (1/12.2 + 1/400.0)
	if want := 400 * v / (0.45 - v); math.Abs(r.Value-want) > 0.06 || len(r.Dangers) != 1 {
		t.Errorf("%v instead of %g ohm", r, want)
	}
}

// Hum is shown by its effective value, by hand, and DC does not see it.
func TestRead_Hum(t *testing.T) {
	n := &circuit.Network{Sources: []circuit.Source{{Plus: "p", Minus: "c", Volts: 13, Ohms: 10, Hum: math.Sqrt2}}}
	if r := must(t, n, ACVolts, "p", "c"); r.String() != "1.000 V" {
		t.Errorf("%v instead of 1 V", r)
	}
	if r := must(t, n, DCVolts, "p", "c"); r.String() != "13.00 V" {
		t.Errorf("%v instead of 13 V", r)
	}
}

// Where the leads have no place to be, and what the switch does not have, is bad usage.
func TestRead_Refused(t *testing.T) {
	for _, mode := range Modes() {
		for _, leads := range [][2]string{{"p", "z"}, {"z", "p"}, {"z", "z"}} {
			if _, err := exact().Read(solved(t, bench(1)), mode, leads[0], leads[1]); !errors.Is(err, circuit.ErrUnknownPoint) || problem.KindOf(err) != problem.Usage {
				t.Errorf("%s at %v: %v", mode, leads, err)
			}
		}
	}
	if _, err := exact().Read(solved(t, bench(1)), "amps", "p", "c"); err == nil || !strings.Contains(err.Error(), "ac-volts") || problem.KindOf(err) != problem.Usage {
		t.Errorf("amps: %v", err)
	}
	if _, err := resistor(-1).Solve(); err == nil {
		t.Error("a negative resistor was measured")
	}
}

// The meters of many seeds use up what their manuals promise, and are the same for the same seed.
func TestNew_Drawn(t *testing.T) {
	for i, x := range ranges {
		most := off{}
		for seed := range uint64(300) {
			e := New(seed).errors[i]
			if e != New(seed).errors[i] {
				t.Fatal("a seed gives two meters")
			}
			most = off{max(most.share, math.Abs(e.share)), max(most.digits, math.Abs(e.digits))}
		}
		if most.share > x.Share || most.share < 0.95*x.Share || most.digits > x.Digits-1.5 || most.digits < 0.95*(x.Digits-1.5) {
			t.Errorf("%s up to %g: off by %+v at most", x.Mode, x.FullScale, most)
		}
	}
}

// The accuracy is that of the manual's table, from memory.
func TestRanges(t *testing.T) {
	n := 0
	for _, m := range Modes() {
		last := 0.0
		for _, r := range Ranges(m) {
			n++
			if r.Mode != m || r.FullScale <= last || math.Abs(r.Digit*4000-r.FullScale) > 1e-9*r.FullScale || m.Tests() != (r.Test > 0) {
				t.Errorf("%s: %+v", m, r)
			}
			last = r.FullScale
		}
	}
	top := Ranges(Ohms)
	if n != len(ranges) || top[len(top)-1].Accuracy != (Accuracy{0.02, 5}) || top[0].Accuracy != (Accuracy{0.008, 3}) || Ranges(DCVolts)[2].Accuracy != (Accuracy{0.005, 2}) {
		t.Errorf("%d ranges, %+v", n, top)
	}
}

// Who measures again sees the last digit move, by one or two, and within what the manual promises.
// The same time gives the same figure.
func TestMeter_At(t *testing.T) {
	n := solved(t, bench(13.2134))
	for _, c := range []struct {
		mode       Mode
		red, black string
		want       float64
	}{{DCVolts, "p", "c", 13.2134}, {Ohms, "a", "b", 400.2}, {Ohms, "x", "y", 0.2}, {Diode, "c", "e", 0.7}} {
		shown := map[string]bool{}
		for take := range uint64(40) {
			r, err := New(7).At(take).Read(n, c.mode, c.red, c.black)
			again, _ := New(7).At(take).Read(n, c.mode, c.red, c.black)
			if err != nil || r.String() != again.String() || math.Abs(r.Value-c.want) > r.Within {
				t.Fatalf("%s, take %d: %v, then %v, %v", c.mode, take, r, again, err)
			}
			shown[r.String()] = true
		}
		if len(shown) < 2 || len(shown) > 3 {
			t.Errorf("%s from %s to %s shows %v", c.mode, c.red, c.black, shown)
		}
	}
}
