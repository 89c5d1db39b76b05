package circuit

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	_ "makebreak/testdata/fixedseed"
)

// draw draws a network of a few points. Parts may leave some of them apart.
func draw(t *rapid.T, diodes int) *Network {
	points := rapid.IntRange(2, 8).Draw(t, "points")
	n := &Network{}
	point := rapid.Map(rapid.IntRange(0, points-1), func(i int) string { return fmt.Sprint("p", i) })
	ohms := rapid.Map(rapid.Float64Range(0, 6), func(x float64) float64 { return math.Pow(10, x) })
	for i := range rapid.IntRange(0, 3).Draw(t, "wires") {
		n.Wires = append(n.Wires, Wire{point.Draw(t, "from"), point.Draw(t, "to"), i == 0})
	}
	for i := range rapid.IntRange(1, 12).Draw(t, "resistors") {
		n.Resistors = append(n.Resistors, Resistor{fmt.Sprint("r", i), point.Draw(t, "from"), point.Draw(t, "to"), ohms.Draw(t, "ohms")})
	}
	for i := range rapid.IntRange(1, 4).Draw(t, "sources") {
		n.Sources = append(n.Sources, Source{Name: fmt.Sprint("s", i), Plus: point.Draw(t, "plus"), Minus: point.Draw(t, "minus"),
			Volts: rapid.Float64Range(-24, 24).Draw(t, "volts"), Ohms: ohms.Draw(t, "ohms"), Hum: rapid.Float64Range(0, 1).Draw(t, "hum")})
	}
	for i := range rapid.IntRange(0, diodes).Draw(t, "diodes") {
		n.Diodes = append(n.Diodes, Silicon(fmt.Sprint("d", i), point.Draw(t, "anode"), point.Draw(t, "cathode")))
	}
	return n
}

func solve(t *rapid.T, n *Network) *Solution {
	s, err := n.Solve()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// flow is what a part carries.
type flow struct {
	amperes float64 // out of a source's plus, from a resistor's From, out of a diode's cathode
	watts   float64 // turned into heat in it; a source's are those in its inner resistance
}

// through returns what the part of a name carries; false where there is none.
func (s *Solution) through(name string) (flow, bool) {
	for _, r := range s.net.Resistors {
		if r.Name == name && r.Ohms != 0 {
			v := s.at(r.From) - s.at(r.To)
			return flow{v / r.Ohms, v * v / r.Ohms}, true // none in an infinite one
		}
	}
	for _, x := range s.net.Sources {
		if x.Name == name {
			i := (x.Volts - s.at(x.Plus) + s.at(x.Minus)) / x.Ohms
			return flow{i, i * i * x.Ohms}, true
		}
	}
	for k, d := range s.net.Diodes {
		if d.Name == name {
			v := s.at(d.Anode) - s.at(d.Cathode)
			i := v / d.Leakage
			if s.on[k] {
				i += (v - d.Forward) / d.Ohms
			}
			return flow{i, i * v}, true
		}
	}
	return flow{}, false
}

// pairs calls each with two points and the voltage between them, where it is known.
func pairs(t *rapid.T, s *Solution, each func(a, b string, volts float64)) {
	for _, a := range s.nodes.names {
		for _, b := range s.nodes.names {
			v, err := s.Volts(a, b)
			if err != nil && !errors.Is(err, ErrFloating) {
				t.Fatal(err)
			}
			if err == nil {
				each(a, b, v)
			}
		}
	}
}

func alike(a, b, scale float64) bool { return math.Abs(a-b) <= 1e-6*(1+scale) }

// Of what flows into a node all flows out again, and a diode conducts forward only.
func TestSolve_CurrentLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := draw(t, 4)
		s := solve(t, n)
		sum, most := map[string]float64{}, 0.0
		flow := func(name, out, in string) {
			f, ok := s.through(name)
			if !ok {
				t.Fatalf("nothing is known of %s", name)
			}
			most = max(most, math.Abs(f.amperes))
			sum[s.nodes.of(out)] += f.amperes
			sum[s.nodes.of(in)] -= f.amperes
		}
		for _, r := range n.Resistors {
			flow(r.Name, r.To, r.From)
		}
		for _, x := range n.Sources {
			flow(x.Name, x.Plus, x.Minus)
		}
		for _, d := range n.Diodes {
			flow(d.Name, d.Cathode, d.Anode)
			f, _ := s.through(d.Name)
			v, _ := s.Volts(d.Anode, d.Cathode)
			if v > d.Forward+5 || f.amperes < -100/d.Leakage || v < d.Forward-1e-6 && f.amperes > 1e-8 {
				t.Fatalf("diode %s carries %g A at %g V", d.Name, f.amperes, v)
			}
		}
		for p, i := range sum {
			if !alike(i, 0, most) {
				t.Fatalf("%g A stay at %s", i, p)
			}
		}
	})
}

// What sources do together is the sum of what each does alone.
func TestSolve_Superposition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := draw(t, 0)
		all := solve(t, n)
		var alone []*Solution
		for i := range n.Sources {
			one := *n
			one.Sources = slices.Clone(n.Sources)
			for k := range one.Sources {
				if k != i {
					one.Sources[k].Volts = 0
				}
			}
			alone = append(alone, solve(t, &one))
		}
		pairs(t, all, func(a, b string, want float64) {
			sum := 0.0
			for _, s := range alone {
				v, _ := s.Volts(a, b)
				sum += v
			}
			if !alike(sum, want, 24) {
				t.Fatalf("from %s to %s %g V alone and %g V together", a, b, sum, want)
			}
		})
	})
}

// A voltage in one branch drives the same current in another as it does the other way round.
func TestSolve_Reciprocity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := draw(t, 0)
		for i := range n.Sources {
			n.Sources[i].Volts = 0
		}
		through := func(driven, seen int) float64 {
			one := *n
			one.Sources = slices.Clone(n.Sources)
			one.Sources[driven].Volts = 10
			f, _ := solve(t, &one).through(one.Sources[seen].Name)
			return f.amperes
		}
		last := len(n.Sources) - 1
		if there, back := through(0, last), through(last, 0); !alike(there, back, math.Abs(there)) {
			t.Fatalf("%g A there and %g A back", there, back)
		}
	})
}

// Which diode stands first in the list, and which point is named first, changes nothing.
func TestSolve_Order(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := draw(t, 6)
		s := solve(t, n)
		other := *n
		other.Diodes = rapid.Permutation(n.Diodes).Draw(t, "diodes")
		other.Resistors = rapid.Permutation(n.Resistors).Draw(t, "resistors")
		o := solve(t, &other)
		pairs(t, s, func(a, b string, want float64) {
			// Where only leakages of 1 gigaohm tell, rounding does, too.
			if v, err := o.Volts(a, b); err != nil || math.Abs(v-want) > 1e-4 {
				t.Fatalf("from %s to %s %g V, in another order %g V, %v", a, b, want, v, err)
			}
		})
	})
}

// Hum is the difference that an instant of it makes to a network without diodes.
func TestHum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := draw(t, 0)
		crest := *n
		crest.Sources = slices.Clone(n.Sources)
		for i := range crest.Sources {
			crest.Sources[i].Volts += crest.Sources[i].Hum
		}
		up := solve(t, &crest)
		pairs(t, solve(t, n), func(a, b string, level float64) {
			v, _ := up.Volts(a, b)
			if h, err := n.Hum(a, b); err != nil || !alike(h, math.Abs(v-level), 24) {
				t.Fatalf("from %s to %s %g V of hum instead of %g V, %v", a, b, h, v-level, err)
			}
		})
	})
}
