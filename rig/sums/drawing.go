package sums

import (
	"math"
	"strings"
	"unicode/utf8"

	"makebreak/rig/unit"
)

// canvas is a drawing in characters, filled in at columns and rows from 0.
type canvas [][]rune

// put writes a text over what is there.
func (c *canvas) put(x, y int, text string) {
	for len(*c) <= y {
		*c = append(*c, nil)
	}
	for _, r := range text {
		for len((*c)[y]) <= x {
			(*c)[y] = append((*c)[y], ' ')
		}
		(*c)[y][x] = r
		x++
	}
}

// wire draws a line across, both ends included.
func (c *canvas) wire(from, to, y int) {
	if to >= from {
		c.put(from, y, strings.Repeat("─", to-from+1))
	}
}

// down draws a line between two corners in one column.
func (c *canvas) down(x, top, bottom int) {
	for y := top + 1; y < bottom; y++ {
		c.put(x, y, "│")
	}
}

func (c *canvas) lines() []string {
	out := make([]string, len(*c))
	for i, row := range *c {
		out[i] = strings.TrimRight(string(row), " ")
	}
	return out
}

// inLine writes a part into a wire and returns the column after it.
func (c *canvas) inLine(x, y int, part string) int {
	part = "[ " + part + " ]"
	c.wire(x, x+2, y)
	c.put(x+3, y, part)
	x += 3 + utf8.RuneCountInString(part)
	c.wire(x, x+2, y)
	return x + 3
}

// terminals begins a drawing with two terminals, at the top row and at the bottom one, and
// returns the column at which their wires begin.
func (c *canvas) terminals(top, bottom string, y int) int {
	w := max(utf8.RuneCountInString(top), utf8.RuneCountInString(bottom))
	c.put(w-utf8.RuneCountInString(top), 0, top+" ○")
	c.put(w-utf8.RuneCountInString(bottom), y, bottom+" ○")
	return w + 2
}

// barColumns is how wide the bar of a whole battery is.
const barColumns = 36

// batteryDrawing shows as bars what a battery is rated for, what of it is counted on, and what
// standby and alarm take of that. The shares are of what is counted on.
func batteryDrawing(rated, usable, standby, alarm, standbyHours, alarmHours float64) []string {
	var c canvas
	bar := func(name string, from, to float64, fill, text string) {
		column := func(ampereHours float64) int {
			return int(math.Round(barColumns * math.Min(1, math.Max(0, ampereHours)/math.Max(rated, usable))))
		}
		a, b, y := column(from), column(to), len(c)
		if b == a && to > from { // small, but there
			a, b = min(a, barColumns-1), min(a, barColumns-1)+1
		}
		c.put(0, y, name)
		c.put(20+a, y, strings.Repeat(fill, b-a))
		c.put(22+barColumns, y, text)
	}
	bar("as rated", 0, rated, "█", ampereHours(rated))
	bar("counted on", 0, usable, "█", ampereHours(usable))
	bar("standby "+hours(standbyHours), 0, standby*usable, "▒", percent(standby))
	if alarm > 0 {
		bar("alarm "+hours(alarmHours), standby*usable, (standby+alarm)*usable, "▒", percent(alarm))
	}
	if left := 1 - standby - alarm; left > 1e-9 {
		bar("left", (standby+alarm)*usable, usable, "░", percent(left))
	}
	return c.lines()
}

// dropDrawing shows the two conductors and what is left at the load.
func dropDrawing(in *DropInput, loop, far float64) []string {
	var c canvas
	x := c.terminals(volts(in.Voltage), "0 V", 3)
	end := max(c.inLine(x, 0, ohms(loop/2)), c.inLine(x, 3, ohms(loop/2)))
	cable := "cable: " + show(unit.Length, in.Length) + " of " + in.metal()
	end = max(end, x+utf8.RuneCountInString(cable)+1)
	c.wire(c.inLine(x, 0, ohms(loop/2)), end, 0)
	c.wire(c.inLine(x, 3, ohms(loop/2)), end, 3)
	c.put(x, 1, cable)
	c.put(end, 0, "┐")
	c.put(end, 1, "█ load of "+in.loadText())
	c.put(end, 2, "█ sees "+volts(far))
	c.put(end, 3, "┘")
	return c.lines()
}

// coilDrawing shows a coil behind an output, with what is across it.
func coilDrawing(in *CoilInput) []string {
	var c canvas
	x := c.terminals("output "+volts(in.Voltage), "0 V", 3)
	at := x + 3
	if in.Source > 0 {
		at = c.inLine(x, 0, ohms(in.Source))
	}
	coil := "coil " + ohms(in.Resistance)
	far := at + utf8.RuneCountInString(coil) + 6
	c.wire(x, far, 3)
	c.wire(x, x, 0)
	c.wire(at, far, 0)
	if in.Source <= 0 {
		c.wire(x, far, 0)
	}
	c.put(at, 0, "┬")
	c.put(at, 1, "█ "+coil)
	c.put(at, 2, "█")
	c.put(at, 3, "┴")
	c.put(far, 0, "┐")
	across := [2]string{"▲ diode, its bar", "│ to the output"}
	if !math.IsNaN(in.Snub) {
		across = [2]string{"█ " + ohms(in.Snub), "█"}
	}
	c.put(far, 1, across[0])
	c.put(far, 2, across[1])
	c.put(far, 3, "┘")
	return c.lines()
}

// dividerDrawing shows a divider, and the capacitor where there is one.
func dividerDrawing(in *DividerInput, worst float64) []string {
	var c canvas
	x := c.terminals("output, up to "+volts(in.Highest), "0 V", 3)
	at := c.inLine(x, 0, ohms(in.Upper))
	lower := "█ " + ohms(in.Lower)
	end := at + utf8.RuneCountInString(lower) + 3
	c.wire(x, end, 3)
	c.wire(at, end, 0)
	c.put(at, 0, "┬")
	c.put(at, 1, lower)
	c.put(at, 2, "█")
	c.put(at, 3, "┴")
	if !math.IsNaN(in.Capacitor) {
		further := end + utf8.RuneCountInString(show(unit.Capacitance, in.Capacitor)) + 4
		c.wire(end, further, 0)
		c.wire(end, further, 3)
		c.put(end, 0, "┬")
		c.put(end, 1, "╪ "+show(unit.Capacitance, in.Capacitor))
		c.put(end, 2, "│")
		c.put(end, 3, "┴")
		end = further
	}
	c.put(end, 0, "── converter")
	c.put(end, 1, "   "+volts(worst))
	c.put(end, 2, "   at most")
	c.put(end, 3, "── 0 V")
	return c.lines()
}

// lampDrawing shows an LED behind its resistor.
func lampDrawing(in *LampInput) []string {
	var c canvas
	x := c.terminals(volts(in.Supply), "0 V", 2)
	at := c.inLine(x, 0, ohms(in.Resistor))
	c.wire(x, at, 2)
	c.put(at, 0, "┐")
	c.put(at, 1, "▼ LED of "+volts(in.LED))
	c.put(at, 2, "┘")
	return c.lines()
}
