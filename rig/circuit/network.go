package circuit

import (
	"errors"
	"fmt"
	"math"

	"makebreak/rig/problem"
)

// Network is a network of named points. A point is there as soon as a part names it.
// The zero Network is empty. Parts have names for errors; they may be empty.
type Network struct {
	Wires     []Wire
	Resistors []Resistor
	Sources   []Source
	Diodes    []Diode
}

// Wire joins two points without resistance, unless it is open. A switch is one, too.
type Wire struct {
	From, To string
	Open     bool
}

// Resistor lies between two points.
type Resistor struct {
	Name     string
	From, To string
	Ohms     float64 // ohms; 0: a wire; infinite: nothing
}

// Source is a voltage behind an inner resistance.
type Source struct {
	Name        string
	Plus, Minus string
	Volts       float64 // volts from Minus to Plus without load
	Ohms        float64 // ohms, more than 0
	// Hum is the amplitude of a sine of mains frequency that comes to the voltage, in volts.
	Hum float64 // volts
}

// Diode conducts from its anode to its cathode above its forward voltage.
type Diode struct {
	Name           string
	Anode, Cathode string
	Forward        float64 // volts
	Ohms           float64 // ohms when it conducts, more than 0
	Leakage        float64 // ohms when it does not, more than 0
}

// Silicon returns a silicon diode: 0.7 V behind 50 milliohms, and 1 gigaohm when it blocks
// (a small rectifier's 20 nA or so at 20 V, from memory).
func Silicon(name, anode, cathode string) Diode {
	return Diode{Name: name, Anode: anode, Cathode: cathode, Forward: 0.7, Ohms: 0.05, Leakage: 1e9}
}

// What a part's resistance can be. Beyond it the numbers' precision is not enough for
// what lies beside it.
const (
	leastOhms = 1e-3
	mostOhms  = 1e12
)

// Add adds the parts of another network, whose points of the same names are the same points.
func (n *Network) Add(o *Network) {
	n.Wires = append(n.Wires, o.Wires...)
	n.Resistors = append(n.Resistors, o.Resistors...)
	n.Sources = append(n.Sources, o.Sources...)
	n.Diodes = append(n.Diodes, o.Diodes...)
}

// With returns a network of this one's parts and the other's. This one stays as it is.
func (n *Network) With(o *Network) *Network {
	both := &Network{}
	both.Add(n)
	both.Add(o)
	return both
}

// check refuses parts that no bench has, of the kind Internal: whoever builds a network from
// what a person wrote checks that before.
func (n *Network) check() error {
	var all []error
	ohms := func(kind, name string, v float64, may func(float64) bool) {
		if !may(v) {
			all = append(all, problem.New(problem.Internal, fmt.Sprintf("%s %s: %g ohm cannot be calculated with", kind, name, v)))
		}
	}
	volts := func(kind, name string, v float64) {
		if math.IsNaN(v) || math.Abs(v) > 1e6 {
			all = append(all, problem.New(problem.Internal, fmt.Sprintf("%s %s: %g V cannot be calculated with", kind, name, v)))
		}
	}
	for _, r := range n.Resistors {
		ohms("resistor", r.Name, r.Ohms, func(v float64) bool { return v == 0 || inReach(v) || math.IsInf(v, 1) })
	}
	for _, s := range n.Sources {
		ohms("source", s.Name, s.Ohms, inReach)
		volts("source", s.Name, s.Volts)
		volts("source", s.Name, s.Hum)
	}
	for _, d := range n.Diodes {
		ohms("diode", d.Name, d.Ohms, inReach)
		ohms("diode", d.Name, d.Leakage, inReach)
		volts("diode", d.Name, d.Forward)
	}
	return errors.Join(all...)
}

func inReach(ohms float64) bool { return ohms >= leastOhms && ohms <= mostOhms }
