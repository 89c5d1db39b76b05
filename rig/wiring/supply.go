package wiring

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"makebreak/rig/unit"
	"makebreak/rig/yamlfile"
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

const supplyMay = "a supply, as in {model: MCP4725, address: 0x60, reference: 3.3 V, gain: 5 V/V, highest: 15 V, usual: 13.8 V}" +
	" or {drive: STAGE, off: 13.8 V, on: 10.5 V}"

func readSupply(n *yamlfile.Node) *Supply {
	f, ok := n.Fields(supplyMay)
	switch {
	case !ok:
		return nil
	case f.Has("drive") || !f.Has("model") && (f.Has("off") || f.Has("on")):
		return readStage(f)
	}
	return readConverter(f)
}

// readConverter reads a supply that a converter sets.
func readConverter(f *yamlfile.Fields) *Supply {
	s := &Supply{}
	s.Model, _ = f.Need("model", MCP4725).Word(MCP4725)
	address, _ := f.Need("address", supplyAddresses).Whole(0, 0x7f)
	s.Address = uint16(address)
	s.Reference, _ = f.Need("reference", "what the chip runs from, as in 3.3 V").Quantity(unit.Voltage)
	s.Gain = readGain(f.Need("gain", gainMay))
	s.Highest, _ = f.Need("highest", "the highest voltage that the unit may be given, as in 15 V").Quantity(unit.Voltage)
	s.Usual, _ = f.Need("usual", "the voltage during a run, as in 13.8 V").Quantity(unit.Voltage)
	s.Rest, _ = f.May("rest").Quantity(unit.Voltage)
	refuseOthers(f, "a converter sets this supply", "off", "on")
	f.Done()
	return s
}

const (
	supplyAddresses = "from 0x60 to 0x67"
	gainMay         = "volts at the unit per volt of the chip, as in 5 V/V"
)

// readGain reads an amplifier's gain. It is a ratio, and as a bare number it could be
// meant in decibels.
func readGain(n *yamlfile.Node) float64 {
	text, ok := n.Text()
	if !ok {
		return 0
	}
	per, ok := strings.CutSuffix(text, "/V")
	if ok {
		if v, err := unit.Voltage.Parse(per); err == nil {
			return v
		}
	}
	why := ""
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		why = "a number without a unit"
	}
	n.Refuse(why, gainMay)
	return 0
}

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
		c.add("supply.model", s.Model, "", MCP4725)
	}
	if s.Address < 0x60 || s.Address > 0x67 {
		c.add("supply.address", hex(s.Address), "", supplyAddresses)
	}
	sound := true
	// Single-supply operation, DS22039 page 1.
	if !(s.Reference >= 2.7 && s.Reference <= 5.5) {
		c.add("supply.reference", unit.Voltage.Format(s.Reference), "", "from 2.7 V to 5.5 V")
		sound = false
	}
	if !(s.Gain > 0 && s.Gain <= 100) {
		c.add("supply.gain", gainText(s.Gain), "", "above 0 V/V and up to 100 V/V")
		sound = false
	}
	switch {
	case !(s.Highest > 0):
		c.add("supply.highest", unit.Voltage.Format(s.Highest), "", "above 0 V")
		return
	case sound && s.Highest > s.Reach():
		c.add("supply.highest", unit.Voltage.Format(s.Highest), "more than the chip's highest code gives behind the amplifier",
			fmt.Sprintf("up to %.3f V (reference times gain, less one step of 4096)", math.Floor(s.Reach()*1e3)/1e3))
	}
	for _, v := range []struct {
		key   string
		volts float64
	}{{"usual", s.Usual}, {"rest", s.Rest}} {
		if !(v.volts >= 0 && v.volts <= s.Highest) {
			c.add("supply."+v.key, unit.Voltage.Format(v.volts), "", "from 0 V to "+unit.Voltage.Format(s.Highest)+" (highest)")
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
			"up to "+unit.Voltage.Format(o.Highest)+", or a higher voltage as that output's highest")
		return
	}
}

func gainText(gain float64) string { return strconv.FormatFloat(gain, 'g', 6, 64) + " V/V" }
