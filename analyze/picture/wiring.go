package picture

import (
	"cmp"
	"io"
	"math"
	"slices"

	"makebreak/rig/words"
)

// Wiring is a bench's wiring as it is drawn: the unit to the left, the rig to the right, relay
// boards between them. Relays are drawn released. It shows what should be there, and nothing of
// what is wrong.
type Wiring struct {
	Places []PlacedPoint // from top to bottom

	d *drawing
}

// PlacedPoint is where a point is drawn.
type PlacedPoint struct {
	TestPoint
	X, Y float64 // units from the upper left corner
}

// Where the columns of the drawing are.
const (
	unitEdge   = 118.0 // the unit's terminals
	branchAt   = 134.0 // where a second wire leaves a terminal
	wireName   = 146.0
	supplyAt   = 186.0
	boardLeft  = 206.0 // a relay's board
	boardRight = 366.0
	rigEdge    = 424.0 // the rig's terminals
	inRig      = rigEdge + 76
	pinAt      = 646.0
)

// Sizes of symbols.
const (
	partWidth  = 54.0
	partHeight = 16.0
	ringRadius = 4.0
	noteDrop   = 15.0
	aboveWire  = 5.0
	branchDrop = 20.0 // from a line to what hangs on it
)

// Heights of rows.
const (
	boxHeader   = 34.0
	outputRow   = 44.0
	plainRow    = 34.0
	boardRoom   = 132.0 // a relay's board, below its output
	boardHeight = 112.0
	betweenRow  = 16.0 // of another kind
	frameEnd    = 28.0 // below the last row of a box
)

// NewWiring works out the drawing of a bench.
func NewWiring(b *Bench) *Wiring {
	w := &Wiring{d: &drawing{title: b.Heading, about: b.About}}
	top := w.d.heading(headingText, b.Words...) + 16
	above := w.d.shapes
	w.d.shapes = nil
	y := w.supply(b, top+boxHeader)
	y = w.outputs(b, y)
	y = w.inputs(b, y)
	unitEnd := y - plainRow + frameEnd
	y = w.contacts(b, y)
	rest := w.d.shapes // rings lie on the frames
	w.d.shapes = above
	w.frame(b.Unit, 0, unitEdge, top, unitEnd)
	w.frame("rig", rigEdge, across, top, y-plainRow+frameEnd)
	w.d.shapes = append(w.d.shapes, rest...)
	w.d.height = math.Ceil(y-plainRow+frameEnd) + 4
	slices.SortStableFunc(w.Places, func(a, b PlacedPoint) int { return cmp.Compare(a.Y, b.Y) })
	return w
}

// Inline writes the drawing as an SVG element for a page that holds Style.
func (w *Wiring) Inline(out io.Writer) error { return w.d.svg(out, false) }

// SVG writes the drawing as an SVG file.
func (w *Wiring) SVG(out io.Writer) error { return w.d.svg(out, true) }

// PNG writes the drawing as a PNG, as it is on a light ground.
func (w *Wiring) PNG(out io.Writer) error { return w.d.png(out) }

// Choice is what becomes of a point of a drawing on a page.
type Choice struct {
	Address string // that choosing it leads to; empty: it cannot be chosen
	Words   string // what choosing it does, as in "Hold the red lead to panel.OUT3"
	Mark    string // what is held there, a letter or two; empty: nothing
}

// Choosable writes the drawing as Inline does, with points that can be chosen.
func (w *Wiring) Choosable(out io.Writer, of func(TestPoint) Choice) error {
	d := *w.d
	d.shapes = slices.Clone(d.shapes)
	for _, p := range w.Places {
		c := of(p.TestPoint)
		at := spot{p.X, p.Y}
		if c.Mark != "" {
			d.dot(ink, at, 9)
			d.shapes = append(d.shapes, shape{role: sheet, points: []spot{{at.x, at.y + 4.5}}, text: c.Mark, size: smallText, anchor: middle, bold: true})
		}
		if c.Address != "" {
			d.shapes = append(d.shapes, shape{points: []spot{at}, radius: 12, link: &link{c.Address, cmp.Or(c.Words, p.Name)}})
		}
	}
	return d.svg(out, false)
}

// frame draws the box of a part, with its name.
func (w *Wiring) frame(name string, left, right, top, bottom float64) {
	w.d.line(soft, 1, 0, spot{left, top}, spot{right, top}, spot{right, bottom}, spot{left, bottom}, spot{left, top})
	w.bold(mediumText, spot{left + 8, top + 18}, start, name)
}

func (w *Wiring) bold(size float64, at spot, a anchor, text string) {
	w.d.text(ink, at, size, a, text)
	w.d.shapes[len(w.d.shapes)-1].bold = true
}

func (w *Wiring) wire(points ...spot) { w.d.line(ink, 1.5, 0, points...) }

// named writes a wire's name above it.
func (w *Wiring) named(wire string, x, y float64) {
	if wire != "" {
		w.d.text(soft, spot{x, y - aboveWire}, smallText, start, wire)
	}
}

// node is where three wires meet.
func (w *Wiring) node(x, y float64) { w.d.dot(ink, spot{x, y}, 2.5) }

// ring draws a point on its wire.
func (w *Wiring) ring(p TestPoint, x, y float64) {
	if p.Name == "" {
		return
	}
	w.d.dot(ink, spot{x, y}, ringRadius)
	w.d.dot(sheet, spot{x, y}, ringRadius-1.5)
	w.Places = append(w.Places, PlacedPoint{p, x, y})
}

// within draws a point at a box's edge, with its terminal and a note inside the box.
func (w *Wiring) within(p TestPoint, note string, x, y float64, a anchor) {
	w.ring(p, x, y)
	at := x + 10
	if a == end {
		at = x - 10
	}
	if p.Name != "" {
		w.bold(smallText, spot{at, y + 4}, a, fitting(p.Terminal, mostTerminal))
	}
	if note != "" {
		w.d.text(soft, spot{at, y + 4 + noteDrop}, smallText, a, note)
	}
}

// How wide the name of a terminal may be, and by how much bold text is wider.
const (
	mostTerminal = 84.0
	beforePart   = 55.0 // before a divider
	bolder       = 1.3
)

// fitting cuts a text to a width.
func fitting(text string, width float64) string {
	return words.Short(text, int(width/widthOf("x", smallText)))
}

// behindName is where what is behind a terminal of the rig can begin.
func behindName(p TestPoint) float64 {
	return rigEdge + 14 + widthOf(fitting(p.Terminal, mostTerminal), smallText)*bolder
}

// part draws a box with its value within.
func (w *Wiring) part(text string, left, y, width, height float64) {
	w.block(left, y-height/2, left+width, y+height/2)
	w.d.text(ink, spot{left + width/2, y + 4}, smallText, middle, text)
}

// block draws the outline of a part over the wire that it lies in.
func (w *Wiring) block(left, top, right, bottom float64) {
	corners := []spot{{left, top}, {right, top}, {right, bottom}, {left, bottom}}
	w.d.area(sheet, corners...)
	w.wire(append(corners, corners[0])...)
}

// ground draws the sign of 0 V at the end of a wire.
func (w *Wiring) ground(x, y float64) {
	w.wire(spot{x, y}, spot{x, y + 5})
	for i, half := range []float64{7, 4.5, 2} {
		at := y + 5 + 3*float64(i)
		w.wire(spot{x - half, at}, spot{x + half, at})
	}
}

// diode draws one that stands upright, with its bar above.
func (w *Wiring) diode(x, y float64) {
	const half = 6.0
	w.d.area(ink, spot{x - half, y + half}, spot{x + half, y + half}, spot{x, y - half})
	w.wire(spot{x - half, y - half}, spot{x + half, y - half})
}

// supply draws what the unit lives on, and how 0 V of unit and rig are joined.
func (w *Wiring) supply(b *Bench, y float64) float64 {
	s, z := &b.Supply, &b.Zero
	zero := y
	if s.Plus.Name != "" {
		zero = y + 40
		w.wire(spot{unitEdge, y}, spot{supplyAt, y})
		w.named(s.PlusWire, wireName, y)
		w.within(s.AtUnit, "", unitEdge, y, end)
		w.battery(s, y, zero)
		w.wire(spot{unitEdge, zero}, spot{supplyAt, zero})
		w.named(s.MinusWire, wireName, zero)
		w.ring(s.Minus, supplyAt, zero)
	}
	joint := zero
	if s.Plus.Name != "" {
		joint = zero + 22
		w.node(branchAt, zero)
		w.d.line(ink, 2, 0, spot{branchAt, zero}, spot{branchAt, joint}, spot{rigEdge, joint})
	} else {
		w.d.line(ink, 2, 0, spot{unitEdge, joint}, spot{rigEdge, joint})
	}
	w.named(z.Wire, wireName, joint)
	w.within(z.Unit, "", unitEdge, zero, end)
	w.within(z.Rig, "", rigEdge, joint, start)
	if z.Logic.Name != "" {
		w.within(z.Logic, "", rigEdge, y, start)
		w.d.text(soft, spot{inRig - 20, y + 4}, smallText, start, "3.3 V of the rig")
	}
	return joint + plainRow
}

// battery draws the supply between its two points.
func (w *Wiring) battery(s *BenchSupply, y, zero float64) {
	const at = supplyAt + 70
	mid := (y + zero) / 2
	w.wire(spot{supplyAt, y}, spot{at, y}, spot{at, mid - 3})
	w.wire(spot{at - 13, mid - 3}, spot{at + 13, mid - 3})
	w.d.line(ink, 3, 0, spot{at - 7, mid + 3}, spot{at + 7, mid + 3})
	w.wire(spot{at, mid + 3}, spot{at, zero}, spot{supplyAt, zero})
	w.d.text(ink, spot{at + 20, mid + 4}, smallText, start, fitting(s.Words, rigEdge-at-24))
	w.ring(s.Plus, supplyAt, y)
	w.bold(smallText, spot{supplyAt - 2, y - 9}, start, s.Plus.Name)
	w.bold(smallText, spot{supplyAt - 2, zero - 9}, start, s.Minus.Name)
}

// outputs draws the unit's terminals, each with what hangs on it.
func (w *Wiring) outputs(b *Bench, y float64) float64 {
	for i := range b.Outputs {
		o := &b.Outputs[i]
		w.output(o, y)
		board := y
		for k := range b.Relays {
			if b.Relays[k].Output == o.At.Terminal {
				w.board(b, &b.Relays[k], y, board)
				board += boardRoom
			}
		}
		y = board + outputRow
	}
	for k := range b.Relays {
		if !slices.ContainsFunc(b.Outputs, func(o BenchOutput) bool { return o.At.Terminal == b.Relays[k].Output }) {
			w.board(b, &b.Relays[k], math.NaN(), y-outputRow/2)
			y += boardRoom
		}
	}
	return y + betweenRow - outputRow + plainRow
}

// output draws an output's terminal, its wire, its divider and its converter's input.
func (w *Wiring) output(o *BenchOutput, y float64) {
	w.wire(spot{unitEdge, y}, spot{rigEdge, y})
	w.named(o.Wire, wireName, y)
	at := o.Rig
	at.Terminal = fitting(at.Terminal, beforePart)
	from := max(inRig, behindName(at))
	w.wire(spot{from, y}, spot{pinAt, y})
	node := from + partWidth + 16
	if o.Upper != "" {
		below := y + branchDrop
		w.part(o.Upper, from+6, y, partWidth, partHeight)
		w.node(node, y)
		w.wire(spot{node, y}, spot{node, below}, spot{node + partWidth + 16, below})
		w.part(o.Lower, node+7, below, partWidth, partHeight)
		w.ground(node+partWidth+16, below)
	}
	w.within(o.At, fitting(o.Note, unitEdge-20), unitEdge, y, end)
	w.within(at, "", rigEdge, y, start)
	input := y + 4
	if o.Pin.Name != "" {
		w.ring(o.Pin, pinAt, y)
		w.d.text(ink, spot{pinAt + 8, y + 4}, smallText, start, fitting(o.Pin.Name, across-pinAt-10))
		input += noteDrop
	}
	w.d.text(soft, spot{pinAt + 9, input}, smallText, start, fitting(o.Input, across-pinAt-10))
}

// board draws a relay's board below an output: coil, what is across it, and contacts with
// their lines.
func (w *Wiring) board(b *Bench, k *BenchRelay, output, y float64) {
	const (
		coilAt = boardLeft + 62
		bus    = boardLeft + 44.0
	)
	top := y + 26
	from, to := top+34, top+86
	w.d.line(soft, 1, 0, spot{boardLeft, top}, spot{boardRight, top}, spot{boardRight, top + boardHeight}, spot{boardLeft, top + boardHeight}, spot{boardLeft, top})
	w.bold(smallText, spot{boardLeft + 6, top + 15}, start, fitting(k.title(), (boardRight-boardLeft-12)/bolder))
	if !math.IsNaN(output) {
		w.node(branchAt, output)
		w.wire(spot{branchAt, output}, spot{branchAt, from}, spot{boardLeft, from})
		w.named(k.FromWire, wireName, from)
	}
	w.wire(spot{boardLeft, to}, spot{boardLeft - 38, to})
	w.named(k.ToWire, boardLeft-36, to)
	w.ground(boardLeft-38, to)
	w.d.text(soft, spot{boardLeft - 38, to + 25}, smallText, middle, b.Zero.Unit.Name)
	for _, y := range []float64{from, to} {
		w.wire(spot{bus - 14, y}, spot{coilAt, y})
	}
	w.wire(spot{coilAt, from}, spot{coilAt, to})
	w.coil(coilAt, (from+to)/2)
	if k.Flyback != "" {
		w.node(bus, from)
		w.node(bus, to)
		w.wire(spot{bus, from}, spot{bus, to})
		w.diode(bus, (from+to)/2)
	}
	w.within(k.From, "", boardLeft, from, start)
	w.within(k.To, "", boardLeft, to, start)
	w.changeOver(k, top+26, top+54, top+boardHeight-10)
}

// title is a relay's name with its coil.
func (k *BenchRelay) title() string {
	if k.Coil == "" {
		return "relay board " + k.Name
	}
	return k.Name + ", coil " + k.Coil
}

// coil draws a coil upright.
func (w *Wiring) coil(x, y float64) {
	const half, high = 9.0, 11.0
	w.block(x-half, y-high, x+half, y+high)
	w.wire(spot{x - half, y + high}, spot{x + half, y - high})
}

// changeOver draws a relay's contacts, released, with their lines.
func (w *Wiring) changeOver(k *BenchRelay, makes, common, breaks float64) {
	if k.Common.Name != "" {
		w.wire(spot{boardRight, common}, spot{boardRight + 36, common})
		w.named(k.CommonWire, boardRight+8, common)
		if k.CommonTo.Terminal == "0V" {
			w.ground(boardRight+36, common)
		}
		w.d.text(soft, spot{boardRight + 29, common + 24}, smallText, middle, k.CommonTo.Name)
	}
	for _, c := range []struct {
		l *BenchLine
		y float64
	}{{&k.Make, makes}, {&k.Break, breaks}} {
		if c.l.At.Name == "" {
			continue
		}
		w.wire(spot{boardRight, c.y}, spot{rigEdge, c.y})
		w.named(c.l.Wire, boardRight+8, c.y)
		w.atBoard(c.l.Far, c.y)
		w.line(c.l, c.y)
	}
	const armature = boardRight - 60.0
	if k.Common.Name == "" {
		return
	}
	w.wire(spot{boardRight - 46, common}, spot{armature, common})
	w.atBoard(k.Common, common)
	for _, y := range []float64{makes, breaks} {
		w.wire(spot{boardRight - 36, y}, spot{armature - 14, y})
	}
	w.d.line(ink, 2, 0, spot{armature, common}, spot{armature - 14, breaks - 2})
	w.node(armature, common)
}

// atBoard draws a point at the right edge of a relay's board.
func (w *Wiring) atBoard(p TestPoint, y float64) { w.within(p, "", boardRight, y, end) }

// line draws a line's terminal at the rig and what is behind it.
func (w *Wiring) line(l *BenchLine, y float64) {
	from := max(inRig, behindName(l.At))
	to := pinAt - 6
	w.wire(spot{from, y}, spot{to, y})
	if l.Part != "" {
		w.part(l.Part, from+8, y, 88, partHeight)
	}
	if l.Pin.Name != "" {
		w.ring(l.Pin, pinAt-40, y)
		w.d.text(ink, spot{pinAt - 44, y - 8}, smallText, start, fitting(l.Pin.Name, across-pinAt+40))
	}
	w.d.text(soft, spot{pinAt + 1, y + 4}, smallText, start, fitting(l.Line, across-pinAt-4))
	w.within(l.At, fitting(l.Note, pinAt-rigEdge-66), rigEdge, y, start)
}

// inputs draws the unit's inputs with the rig's lines that are wired to them.
func (w *Wiring) inputs(b *Bench, y float64) float64 {
	for i := range b.Inputs {
		in := &b.Inputs[i]
		first := y
		for k := range in.Lines {
			l := &in.Lines[k]
			if k == 0 {
				w.wire(spot{unitEdge, y}, spot{rigEdge, y})
			} else {
				w.wire(spot{branchAt, y}, spot{rigEdge, y})
			}
			w.named(l.Wire, wireName, y)
			w.line(l, y)
			y += plainRow
		}
		if len(in.Lines) > 1 {
			w.node(branchAt, first)
			w.wire(spot{branchAt, first}, spot{branchAt, y - plainRow})
		}
		w.within(in.At, "", unitEdge, first, end)
	}
	if z := &b.Zero; z.Common.Name != "" {
		w.wire(spot{rigEdge - 60, y}, spot{rigEdge, y})
		w.named(z.CommonWire, rigEdge-50, y)
		w.ground(rigEdge-60, y)
		w.d.text(soft, spot{rigEdge - 72, y + 6}, smallText, end, z.Unit.Name)
		w.within(z.Common, "", rigEdge, y, start)
		w.d.text(soft, spot{inRig - 20, y + 4}, smallText, start, "common of the optocouplers")
		y += plainRow
	}
	return y
}

// contacts draws those of which nothing but the line is known.
func (w *Wiring) contacts(b *Bench, y float64) float64 {
	for i := range b.Contacts {
		w.wire(spot{rigEdge - 40, y}, spot{rigEdge, y})
		w.line(&b.Contacts[i], y)
		y += plainRow
	}
	return y
}
