package sim

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"

	"makebreak/rig/unit"
)

// FaultValue is what kind of value a fault takes, and so how it is written.
type FaultValue int

// The kinds of values.
const (
	NoValue     FaultValue = iota
	Volts                  // V
	VoltSlope              // V/s
	Seconds                // s
	Share                  // a share, up to 50 %
	TurnsShare             // a share of a coil's turns, up to 99 %
	WholeNumber            // 1 or more
	SecondsWorn            // s, in 1,000 operations of a relay
	Ohms                   // ohm
	OutputName             // an output of the rig, in Fault.Output
	EventName              // an event of the rig, in Fault.Event
)

// valueForm is how a kind of value is called, read and written, and its largest one in
// base units that means anything.
type valueForm struct {
	words  string
	most   float64
	parse  func(string) (float64, error)
	format func(float64) string
}

var valueForms = [...]valueForm{
	NoValue:     {},
	Volts:       {"a voltage", 30, unit.Voltage.Parse, unit.Voltage.Format},
	VoltSlope:   {"volts a second", 1000, parseSlope, func(x float64) string { return unit.Voltage.Format(x) + "/s" }},
	Seconds:     {"a time", 1e6, unit.Time.Parse, unit.Time.Format},
	Share:       {"a share", 0.5, unit.Share.Parse, unit.Share.Format},
	TurnsShare:  {"a share", 0.99, unit.Share.Parse, unit.Share.Format},
	WholeNumber: {"a whole number, 1 or more", math.MaxInt32, parseWhole, func(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }},
	SecondsWorn: {"a time in 1,000 operations", 1e3, unit.Time.Parse, unit.Time.Format},
	Ohms:        {"a resistance", 1e9, unit.Resistance.Parse, unit.Resistance.Format},
	OutputName:  {words: "an output"},
	EventName:   {words: "an event"},
}

// String names the kind, as in "a voltage"; nothing for none.
func (v FaultValue) String() string { return valueForms[v].words }

// Measured reports whether the kind is a number, which a generator can draw.
func (v FaultValue) Measured() bool { return valueForms[v].parse != nil }

func parseSlope(s string) (float64, error) {
	per, ok := strings.CutSuffix(strings.TrimSpace(s), "/s")
	if !ok {
		return 0, fmt.Errorf("%q is not in volts a second: write it as in 0.3 V/s", s)
	}
	return unit.Voltage.Parse(per)
}

func parseWhole(s string) (float64, error) {
	n, err := strconv.Atoi(strings.TrimSpace(s))
	if err != nil || n < 1 {
		return 0, fmt.Errorf("%q must be a whole number, 1 or more", s)
	}
	return float64(n), nil
}

// check refuses values that mean nothing. most is the fault's own largest one, 0 where it has none.
func (v FaultValue) check(name string, x, most float64) error {
	f := &valueForms[v]
	most = cmp.Or(most, f.most)
	if !v.Measured() || x > 0 && x <= most {
		return nil
	}
	return fmt.Errorf("fault %s: %s must be more than 0 and at most %s", name, f.format(x), f.format(most))
}

// FaultPlace is what can have a fault.
type FaultPlace int

// The kinds of places.
const (
	WholeBench FaultPlace = iota // the fault has no place of its own
	AtOutput
	AtRelay
)

// String names the kind of place, as in "an output"; nothing for the whole bench.
func (p FaultPlace) String() string { return [...]string{"", "an output", "a relay"}[p] }

// FaultGroup says where on a bench a fault sits.
type FaultGroup string

// The groups, in the order in which they are listed.
const (
	InPanel    FaultGroup = "panel"
	InOutput   FaultGroup = "output"
	InSupply   FaultGroup = "supply"
	InWiring   FaultGroup = "wiring"
	InRelay    FaultGroup = "relay"
	InContacts FaultGroup = "contacts"
	InRig      FaultGroup = "rig"
)

// About says what of a bench the group is.
func (g FaultGroup) About() string {
	return map[FaultGroup]string{
		InPanel:    "what the unit decides, by its programming",
		InOutput:   "what switches one of the unit's outputs",
		InSupply:   "what feeds the unit",
		InWiring:   "wires and terminals between the unit, its loads and the rig",
		InRelay:    "a relay's coil, the diode across it, and its armature",
		InContacts: "a relay's contacts",
		InRig:      "the rig's own parts; the unit is in order",
	}[g]
}
