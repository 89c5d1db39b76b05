package wiring

import (
	"testing"

	"makebreak/testdata/netlists"
)

// The divider with the converter's input on it, as ngspice has it: what stands at the pin,
// times what the rig multiplies by, is what stands at the terminal.
func TestSpice_Divider(t *testing.T) {
	netlists.Each(t, "edge", func(t *testing.T, o *netlists.Output) {
		per := benchRig().TerminalPerPin("OUT3")
		near(t, "low", o.Figure(t, "pin_low")*per, o.Figure(t, "low_level"), 1e-6)
		near(t, "high", o.Figure(t, "pin_high")*per, o.Figure(t, "high_level"), 1e-5)
	})
}
