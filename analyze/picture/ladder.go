package picture

import (
	"cmp"
	"io"
	"math"
	"slices"
	"strings"
)

// Symbol is a kind of part that a Ladder has between its wires.
type Symbol int

// The parts.
const (
	ResistorSymbol Symbol = iota
	CoilSymbol
	DiodeSymbol // its bar to the upper wire
	CapacitorSymbol
	LEDSymbol // from the upper wire to the lower
	LoadSymbol
)

// Rung is a part between both wires, with lines of text beside it.
type Rung struct {
	Symbol Symbol
	Text   []string
}

// Ladder is a small circuit that a sum is about: two wires from terminals at the left, with
// resistances in them, parts between them, and what they lead to.
type Ladder struct {
	Heading        string
	Words          []string // the result, beneath the heading
	Top, Bottom    string   // the terminals
	Series, Return []string // resistances in the upper and the lower wire
	Along          string   // beneath the upper wire, as of a cable
	Rungs          []Rung
	End            []string // what the wires lead to, from the upper to the lower; none where the last rung ends them
}

const (
	ladderHigh = 84.0 // from wire to wire
	serialRoom = 18.0 // of a wire before and after a resistance
	rungText   = 16.0 // from a part to its text
	rungRoom   = 24.0 // from that to the next part
)

// SVG writes the circuit as an SVG element without a prologue, as a file.
func (l *Ladder) SVG(out io.Writer) error { return l.drawing().svg(out, true) }

func (l *Ladder) drawing() *drawing {
	w := &Wiring{d: &drawing{title: l.Heading, about: about(l.Words, l.Heading)}}
	top := w.d.heading(headingText, l.Words...) + 34
	low := top + ladderHigh
	w.d.height = low + 20
	left := math.Max(widthOf(l.Top, smallText), widthOf(l.Bottom, smallText)) + 14
	from := math.Max(l.serial(w, left, top, l.Series), l.serial(w, left, low, l.Return))
	from = math.Max(from, left+widthOf(l.Along, smallText)+rungRoom)
	right := l.rungs(w, from, top, low)
	for i, name := range []string{l.Top, l.Bottom} {
		y := top + float64(i)*ladderHigh
		w.d.shapes = slices.Insert(w.d.shapes, 0, shape{role: ink, points: []spot{{left, y}, {right, y}}, width: 1.5}) // beneath the parts
		w.d.text(ink, spot{left - 10, y + 4}, smallText, end, name)
		w.ring(TestPoint{Name: name}, left, y)
	}
	w.d.text(soft, spot{left + 12, top + 22}, smallText, start, l.Along)
	for i, text := range l.End {
		y := top + ladderHigh*float64(i)/float64(max(1, len(l.End)-1))
		w.d.text(ink, spot{right + 8, y + 4}, smallText, start, text)
	}
	return w.d
}

// serial draws resistances in a wire and returns where it goes on.
func (l *Ladder) serial(w *Wiring, x, y float64, values []string) float64 {
	for _, v := range values {
		width := math.Max(partWidth, widthOf(v, smallText)+14)
		w.part(v, x+serialRoom, y, width, partHeight)
		x += width + 2*serialRoom
	}
	return x + serialRoom
}

// rungs draws the parts between the wires and returns where the wires end.
func (l *Ladder) rungs(w *Wiring, x, top, low float64) float64 {
	for i, r := range l.Rungs {
		w.wire(spot{x, top}, spot{x, low})
		w.node(x, top)
		w.node(x, low)
		w.symbol(r.Symbol, x, (top+low)/2)
		widest := 0.0
		for k, text := range r.Text {
			y := (top+low)/2 + 4 + smallText*1.35*(float64(k)-float64(len(r.Text)-1)/2)
			w.d.text(ink, spot{x + rungText, y}, smallText, start, text)
			widest = math.Max(widest, widthOf(text, smallText))
		}
		if i < len(l.Rungs)-1 || len(l.End) > 0 {
			x += rungText + widest + rungRoom
		}
	}
	return x
}

// symbol draws a part that stands upright.
func (w *Wiring) symbol(s Symbol, x, y float64) {
	switch s {
	case CoilSymbol:
		w.coil(x, y)
	case DiodeSymbol:
		w.diode(x, y)
	case LEDSymbol:
		w.led(x, y)
	case CapacitorSymbol:
		const half, gap = 9.0, 2.5
		w.d.area(sheet, spot{x - half, y - gap}, spot{x + half, y - gap}, spot{x + half, y + gap}, spot{x - half, y + gap})
		for _, at := range []float64{y - gap, y + gap} {
			w.d.line(ink, 2, 0, spot{x - half, at}, spot{x + half, at})
		}
	default:
		half, high := 6.0, 19.0
		if s == LoadSymbol {
			half = 10
		}
		w.block(x-half, y-high, x+half, y+high)
	}
}

// led draws an LED that shines to the left, its bar below.
func (w *Wiring) led(x, y float64) {
	const half = 6.0
	w.d.area(ink, spot{x - half, y - half}, spot{x + half, y - half}, spot{x, y + half})
	w.wire(spot{x - half, y + half}, spot{x + half, y + half})
	for _, dy := range []float64{-3, 4} {
		from, to := spot{x - 10, y + dy}, spot{x - 18, y + dy - 5}
		w.wire(from, to)
		w.d.area(ink, to, spot{to.x + 5, to.y}, spot{to.x + 2, to.y + 4.5})
	}
}

// about says a drawing's result to who does not see it.
func about(words []string, heading string) string {
	return cmp.Or(strings.Join(words, " "), heading)
}
