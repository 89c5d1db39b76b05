package wiring

import (
	"fmt"
	"math"
	"strconv"

	"makebreak/rig/unit"
)

// MCP4725 is the one model of converter that sets a supply.
const MCP4725 = "MCP4725"

// Supply is the unit's supply where the rig can change it: a digital to analogue converter
// and an amplifier behind it, or two supplies and a drive that switches between them.
type Supply struct {
	// Stage is the drive's; nil: a converter's. A Supply with one has no Model, Address,
	// Reference and Gain, and no codes; TwoStages makes it.
	Stage *Stage

	Model     string  // MCP4725
	Address   uint16  // 7 bit, 0x60 to 0x67
	Reference float64 // volts: what the chip runs from, its full scale
	Gain      float64 // of the amplifier: volts at the unit per volt of the chip
	Highest   float64 // volts; it is never set higher
	Usual     float64 // volts: where it stands during a run unless the sequence says otherwise
	Rest      float64 // volts: where it is left before and after a run and when the program ends
}

// supplyCodes is how many codes the chip has: 12 bits (Microchip DS22039).
const supplyCodes = 1 << 12

// Step returns by how many volts the supply changes with one code.
func (s *Supply) Step() float64 { return s.Reference * s.Gain / supplyCodes }

// Reach returns the voltage of the highest code, one step below the chip's reference
// times the gain (DS22039: VOUT = VDD · code / 4096).
func (s *Supply) Reach() float64 { return s.Volts(supplyCodes - 1) }

// Volts returns the supply's voltage at a code.
func (s *Supply) Volts(code uint16) float64 { return float64(code) * s.Step() }

// Code returns the code nearest to a voltage, half a step away at most. A voltage that
// is asked for lies between 0 and Highest, and rounding never goes beyond: next to
// Highest it goes down, so that the code is then up to one step below.
func (s *Supply) Code(volts float64) uint16 {
	step := s.Step()
	if !(step > 0) || !(volts > 0) {
		return 0
	}
	// A voltage that is a whole number of steps stays one in spite of binary fractions.
	const hair = 1e-9
	highest := math.Floor(s.Highest/step + hair)
	return uint16(min(math.Round(volts/step), highest, supplyCodes-1))
}

// SupplyAddresses says in messages which addresses a supply's converter can have.
const SupplyAddresses = "from 0x60 to 0x67"

// supply checks the supply against itself and against the outputs that can see it.
func (c *checker) supply() {
	s := c.rig.Supply
	switch {
	case s == nil:
		return
	case s.Stage != nil:
		c.stage(s.Stage)
		return
	}
	if s.Model != MCP4725 {
		c.add("supply.model", s.Model, "", "use "+MCP4725)
	}
	if s.Address < 0x60 || s.Address > 0x67 {
		c.add("supply.address", hex(s.Address), "", "must be "+SupplyAddresses)
	}
	sound := true
	// Single-supply operation, DS22039 page 1.
	if !(s.Reference >= 2.7 && s.Reference <= 5.5) {
		c.add("supply.reference", unit.Voltage.Format(s.Reference), "", "must be from 2.7 V to 5.5 V")
		sound = false
	} else if s.Reference > highestPullUp {
		c.list = append(c.list, Problem{Path: "supply.reference", Read: unit.Voltage.Format(s.Reference), Warning: true,
			Why:    "boards of such chips pull SDA and SCL up to the chip's supply, and that can destroy the pins of a board that works at 3.3 V",
			Remedy: "supply it with 3.3 V, or take the pull-ups off or put a level shifter between"})
	}
	if !(s.Gain > 0 && s.Gain <= 100) {
		c.add("supply.gain", gainText(s.Gain), "", "must be above 0 V/V and up to 100 V/V")
		sound = false
	}
	switch {
	case !(s.Highest > 0):
		c.add("supply.highest", unit.Voltage.Format(s.Highest), "", "must be above 0 V")
		return
	case sound && s.Highest > s.Reach():
		c.add("supply.highest", unit.Voltage.Format(s.Highest), "more than the chip's highest code gives behind the amplifier",
			fmt.Sprintf("must be at most %.3f V (reference times gain, less one step of 4096)", math.Floor(s.Reach()*1e3)/1e3))
	}
	for _, v := range []struct {
		key   string
		volts float64
	}{{"usual", s.Usual}, {"rest", s.Rest}} {
		if !(v.volts >= 0 && v.volts <= s.Highest) {
			c.add("supply."+v.key, unit.Voltage.Format(v.volts), "", "must be from 0 V to "+unit.Voltage.Format(s.Highest)+" (highest)")
		}
	}
	c.supplyAtOutputs("supply.highest", s.Highest, s.Usual)
}

// supplyAtOutputs checks that the supply cannot drive an output higher than its
// divider was worked out for. An output of much less than the supply is not switched
// from it but from a voltage that the unit makes of it, as that of a logic circuit.
func (c *checker) supplyAtOutputs(path string, highest, usual float64) {
	for i := range c.rig.Outputs {
		o := &c.rig.Outputs[i]
		if o.Nominal < usual/2 || o.Highest >= highest {
			continue
		}
		c.add(path, unit.Voltage.Format(highest),
			fmt.Sprintf("output %s may reach only %s (its highest)", o.Name, unit.Voltage.Format(o.Highest)),
			"must be at most "+unit.Voltage.Format(o.Highest)+", or raise that output's highest")
		return
	}
}

func gainText(gain float64) string { return strconv.FormatFloat(gain, 'g', 6, 64) + " V/V" }
