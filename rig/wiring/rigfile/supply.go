package rigfile

import (
	"math"
	"strconv"
	"strings"

	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/yamlfile"
)

const supplyRule = "must be a supply, as in {model: MCP4725, address: 0x60, reference: 3.3 V, gain: 5 V/V, highest: 15 V, usual: 13.8 V}" +
	" or {drive: STAGE, off: 13.8 V, on: 10.5 V}"

func readSupply(n *yamlfile.Node) *wiring.Supply {
	f, ok := n.Fields(supplyRule)
	switch {
	case !ok:
		return nil
	case f.Has("drive") || !f.Has("model") && (f.Has("off") || f.Has("on")):
		return readStage(f)
	}
	return readConverter(f)
}

// readConverter reads a supply that a converter sets.
func readConverter(f *yamlfile.Fields) *wiring.Supply {
	s := &wiring.Supply{}
	s.Model, _ = f.Need("model", wiring.MCP4725).Word(wiring.MCP4725)
	address, _ := f.Need("address", "0x60").Whole(0, 0x7f)
	s.Address = uint16(address)
	s.Reference, _ = f.Need("reference", "3.3 V").Quantity(unit.Voltage)
	s.Gain = readGain(f.Need("gain", "5 V/V"))
	s.Highest, _ = f.Need("highest", "15 V").Quantity(unit.Voltage)
	s.Usual, _ = f.Need("usual", "13.8 V").Quantity(unit.Voltage)
	s.Rest, _ = f.May("rest").Quantity(unit.Voltage)
	refuseOthers(f, "a converter sets this supply", "off", "on")
	f.Done()
	return s
}

const gainRule = "must be volts at the unit per volt of the chip, as in 5 V/V"

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
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		n.Fail(strconv.Quote(text)+" has no unit", "write "+text+" V/V")
		return 0
	}
	n.Refuse("", gainRule)
	return 0
}

// readStage reads a supply that a drive switches.
func readStage(f *yamlfile.Fields) *wiring.Supply {
	drive, _ := f.Need("drive", "STAGE").Text()
	off := stageVolts(f.Need("off", "13.8 V"))
	on := stageVolts(f.Need("on", "10.5 V"))
	refuseOthers(f, "a drive switches this supply", "model", "address", "reference", "gain", "highest", "usual", "rest")
	f.Done()
	return wiring.TwoStages(drive, off, on)
}

// stageVolts reads a voltage; one that was refused is none, and is not compared further.
func stageVolts(n *yamlfile.Node) float64 {
	if v, ok := n.Quantity(unit.Voltage); ok {
		return v
	}
	return math.NaN()
}

// refuseOthers refuses the keys of the other kind of supply.
func refuseOthers(f *yamlfile.Fields, why string, keys ...string) {
	for _, key := range keys {
		if f.Has(key) {
			f.May(key).Refuse(why, "leave it out")
		}
	}
}
