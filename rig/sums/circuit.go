package sums

import (
	"fmt"
	"math"

	"makebreak/rig/unit"
)

// PartKind is a kind of part in a circuit that is drawn.
type PartKind int

// The parts that stand between a circuit's two wires.
const (
	PartResistor PartKind = iota
	PartCoil
	PartDiode // its bar to the upper wire
	PartCapacitor
	PartLED
	PartLoad
)

// Part is a part between both wires, with up to two lines of text.
type Part struct {
	Kind PartKind
	Text []string
}

// Circuit is what a sum is about, as it is drawn: two wires from terminals at the left, with
// resistances in them, parts between them, and what they lead to.
type Circuit struct {
	Top, Bottom    string   // the terminals
	Series, Return []string // resistances in the upper and in the lower wire
	Along          string   // beneath the upper wire, as of a cable
	Across         []Part
	End            []string // what the wires lead to, on four lines from the upper to the lower; none where the last part ends them
}

// Fill is what a bar stands for.
type Fill int

// What bars stand for.
const (
	BarWhole Fill = iota
	BarUsed
	BarLeft
)

// Bar is a bar from one share to another of the longest bar's length.
type Bar struct {
	Name     string
	From, To float64 // shares of one
	Fill     Fill
	Text     string
}

// batteryBars show what a battery is rated for, what of it is counted on, and what standby and
// alarm take of that. Capacities are in ampere-hours, times in hours; the shares are of what is
// counted on.
func batteryBars(rated, usable, standby, alarm, standbyHours, alarmHours float64) []Bar {
	part := usable / math.Max(rated, usable)
	bars := []Bar{
		{"as rated", 0, rated / math.Max(rated, usable), BarWhole, ampereHours(rated)},
		{"counted on", 0, part, BarWhole, ampereHours(usable)},
		{"standby " + hours(standbyHours), 0, standby * part, BarUsed, percent(standby)},
	}
	if alarm > 0 {
		bars = append(bars, Bar{"alarm " + hours(alarmHours), standby * part, (standby + alarm) * part, BarUsed, percent(alarm)})
	}
	if left := 1 - standby - alarm; left > 1e-9 {
		bars = append(bars, Bar{"left", (standby + alarm) * part, part, BarLeft, percent(left)})
	}
	return bars
}

// dropCircuit is a cable's two conductors and what is left at the load.
func dropCircuit(in *DropInput, loop, far float64) *Circuit {
	return &Circuit{
		Top: volts(in.Voltage), Bottom: "0 V",
		Series: []string{ohms(loop / 2)}, Return: []string{ohms(loop / 2)},
		Along:  "cable: " + show(unit.Length, in.Length) + " of " + in.metal(),
		Across: []Part{{PartLoad, []string{"load of " + in.loadText(), "sees " + volts(far)}}},
	}
}

// coilCircuit is a coil behind an output, with what is across it.
func coilCircuit(in *CoilInput) *Circuit {
	c := &Circuit{Top: "output " + volts(in.Voltage), Bottom: "0 V", Across: []Part{{PartCoil, []string{"coil " + ohms(in.Resistance)}}}}
	if in.Source > 0 {
		c.Series = []string{ohms(in.Source)}
	}
	beside := Part{PartDiode, []string{"diode, its bar", "to the output"}}
	if !math.IsNaN(in.Snub) {
		beside = Part{PartResistor, []string{ohms(in.Snub)}}
	}
	c.Across = append(c.Across, beside)
	return c
}

// dividerCircuit is a divider, with the capacitor where there is one.
func dividerCircuit(in *DividerInput, worst float64) *Circuit {
	c := &Circuit{
		Top: "output, up to " + volts(in.Highest), Bottom: "0 V",
		Series: []string{ohms(in.Upper)}, Across: []Part{{PartResistor, []string{ohms(in.Lower)}}},
		End: []string{"converter", volts(worst), "at most", "0 V"},
	}
	if !math.IsNaN(in.Capacitor) {
		c.Across = append(c.Across, Part{PartCapacitor, []string{show(unit.Capacitance, in.Capacitor)}})
	}
	return c
}

// lampCircuit is an LED behind its resistor.
func lampCircuit(in *LampInput) *Circuit {
	return &Circuit{
		Top: volts(in.Supply), Bottom: "0 V", Series: []string{ohms(in.Resistor)},
		Across: []Part{{PartLED, []string{"LED of " + volts(in.LED), fmt.Sprintf("%s at %s", amperes((in.Supply-in.LED)/in.Resistor), volts(in.Supply))}}},
	}
}
