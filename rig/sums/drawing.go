package sums

import (
	"math"
	"strings"
	"unicode/utf8"
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

// text draws a circuit in characters.
func (c *Circuit) text() []string {
	var d canvas
	from := d.terminals(c.Top, c.Bottom, lowRow)
	along := func(y int, parts []string) int {
		x := from
		for _, p := range parts {
			x = d.inLine(x, y, p)
		}
		return x
	}
	top, low := along(0, c.Series), along(lowRow, c.Return)
	at := max(top, low, from+3, from+utf8.RuneCountInString(c.Along)+1)
	d.wire(top, at, 0)
	d.wire(low, at, lowRow)
	d.put(from, 1, c.Along)
	for i, p := range c.Across {
		last := i == len(c.Across)-1 && len(c.End) == 0
		next := at + p.columns() + 3
		if !last {
			d.wire(at, next, 0)
			d.wire(at, next, lowRow)
		}
		d.across(at, p, last)
		at = next
	}
	for y, text := range c.End {
		lead := "   "
		if y == 0 || y == lowRow {
			lead = "── "
		}
		d.put(at, y, lead+text)
	}
	return d.lines()
}

// lowRow is the row of the lower wire.
const lowRow = 3

// columns is how wide a part is with its text.
func (p *Part) columns() int {
	w := 0
	for _, text := range p.Text {
		w = max(w, 2+utf8.RuneCountInString(text))
	}
	return w
}

// across draws a part between both wires; the last one ends them.
func (c *canvas) across(x int, p Part, last bool) {
	corners, symbols := [2]string{"┬", "┴"}, map[PartKind][2]string{
		PartResistor: {"█", "█"}, PartCoil: {"█", "█"}, PartLoad: {"█", "█"}, PartDiode: {"▲", "│"}, PartCapacitor: {"╪", "│"}, PartLED: {"▼", "│"},
	}[p.Kind]
	if last {
		corners = [2]string{"┐", "┘"}
	}
	c.put(x, 0, corners[0])
	c.put(x, 1, symbols[0])
	c.put(x, 2, symbols[1])
	c.put(x, lowRow, corners[1])
	for i, text := range p.Text {
		c.put(x+2, 1+i, text)
	}
}

// barColumns is how wide the longest bar is.
const barColumns = 36

// barsText draws bars in characters.
func barsText(bars []Bar) []string {
	var c canvas
	column := func(share float64) int { return int(math.Round(barColumns * math.Min(1, math.Max(0, share)))) }
	for y, b := range bars {
		from, to := column(b.From), column(b.To)
		if from == to && b.To > b.From { // small, but there
			from, to = min(from, barColumns-1), min(from, barColumns-1)+1
		}
		c.put(0, y, b.Name)
		c.put(20+from, y, strings.Repeat(map[Fill]string{BarWhole: "█", BarUsed: "▒", BarLeft: "░"}[b.Fill], to-from))
		c.put(22+barColumns, y, b.Text)
	}
	return c.lines()
}
