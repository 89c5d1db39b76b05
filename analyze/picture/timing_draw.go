package picture

import (
	"fmt"
	"io"
	"math"

	"makebreak/rig/unit"
)

// Inline writes the diagram as an SVG element for a page that holds Style.
func (t *Timing) Inline(w io.Writer) error { return t.drawing().svg(w, false) }

// SVG writes the diagram as an SVG file.
func (t *Timing) SVG(w io.Writer) error { return t.drawing().svg(w, true) }

// PNG writes the diagram as a PNG, as it is on a light ground.
func (t *Timing) PNG(w io.Writer) error { return t.drawing().png(w) }

// Heights of a view's parts.
const (
	marksHeight    = 34.0 // the events' names, above all lanes
	laneName       = 16.0
	voltsHeight    = 132.0
	contactHeight  = 30.0
	laneGap        = 12.0
	rowHeight      = 26.0
	axisHeight     = 30.0
	enlargedVolts  = 84.0
	enlargedHeader = 26.0
)

func (t *Timing) drawing() *drawing {
	d := &drawing{title: t.Heading, about: t.about}
	y := d.heading(headingText, t.Words...) + 10
	g := &timingDrawing{d: d}
	y = g.view(&t.Main, y, voltsHeight, t.Enlarged)
	for i := range t.Enlarged {
		v := &t.Enlarged[i]
		y += enlargedHeader
		name := fmt.Sprintf("Enlarged %s times", factorText(v.Factor))
		if len(t.Enlarged) > 1 {
			name = fmt.Sprintf("%c: enlarged %s times", 'A'+rune(i), factorText(v.Factor))
		}
		d.text(ink, spot{0, y}, mediumText, start, name)
		y = g.view(v, y+4, enlargedVolts, nil)
	}
	d.height = math.Ceil(y)
	return d
}

func factorText(x float64) string {
	step := math.Pow(10, math.Floor(math.Log10(x))-1)
	return count(math.Round(x/step) * step)
}

// timingDrawing draws views below one another.
type timingDrawing struct{ d *drawing }

// layout is where the parts of a view lie.
type layout struct {
	lanes          []frame
	rows           float64 // where the first row of dimensions begins
	top, bottom, y float64
}

func (g *timingDrawing) layout(v *View, y, volts float64) layout {
	var l layout
	l.top = y + marksHeight
	y = l.top
	rows := 0
	for _, x := range v.Dimensions {
		rows = max(rows, x.Row+1)
	}
	for i := range v.Lanes {
		height := contactHeight
		if !v.Lanes[i].Contact {
			height = volts
		}
		y += laneName
		l.lanes = append(l.lanes, frame{left: timingLeft, right: timingRight, top: y, bottom: y + height,
			fromX: v.From, toX: v.To, fromY: v.Lanes[i].Low, toY: v.Lanes[i].High})
		y += height + laneGap
		if i == 0 {
			l.rows = y
			y += float64(rows) * rowHeight
		}
	}
	l.bottom = y
	l.y = y + axisHeight
	return l
}

func (g *timingDrawing) view(v *View, y, volts float64, enlarged []View) float64 {
	l := g.layout(v, y, volts)
	g.axis(v, &l)
	for i := range v.Lanes {
		g.lane(&v.Lanes[i], &l.lanes[i])
	}
	g.marks(v, &l)
	g.dimensions(v, &l)
	g.places(v, &l, enlarged)
	return l.y
}

// axis draws the time axis below the lanes, with its unit once at its end.
func (g *timingDrawing) axis(v *View, l *layout) {
	s := unit.Time.Scaler(unit.Figures{Values: []float64{math.Max(math.Abs(v.From), math.Abs(v.To))}, Uncertainty: math.NaN()})
	for _, k := range ticksOf(s.In(v.From), s.In(v.To)) {
		x := v.across(v.From + (k.value-s.In(v.From))/(s.In(v.To)-s.In(v.From))*(v.To-v.From))
		g.d.line(rule, 1, 0, spot{x, l.top}, spot{x, l.bottom})
		g.d.text(ink, spot{x, l.bottom + 16}, smallText, middle, k.label)
	}
	g.d.line(soft, 1, 0, spot{timingLeft, l.bottom}, spot{timingRight, l.bottom})
	g.d.text(soft, spot{timingRight + 24, l.bottom + 16}, smallText, start, s.Unit())
}

// lane draws one signal.
func (g *timingDrawing) lane(n *Lane, f *frame) {
	d := g.d
	name := n.Signal
	if !n.Contact {
		name += ", V"
	}
	d.text(ink, spot{0, f.top - 5}, smallText, start, name)
	d.shapes[len(d.shapes)-1].bold = true
	if n.Contact {
		d.text(soft, spot{f.left - 7, f.at(0, 1).y + 8}, smallText, end, "closed")
		d.text(soft, spot{f.left - 7, f.at(0, 0).y + 2}, smallText, end, "open")
	}
	for i := range n.Bands {
		g.band(&n.Bands[i], f)
	}
	if !n.Contact {
		for _, k := range ticksOf(n.Low, n.High) {
			p := f.at(f.fromX, k.value)
			d.line(rule, 1, 0, p, spot{f.right, p.y})
			d.text(ink, spot{f.left - 7, p.y + 4}, smallText, end, k.label)
		}
	}
	g.behind(n, f)
	for _, u := range n.Unseen {
		a, b := f.at(u.From, 0).x, f.at(u.To, 0).x
		d.hatch(soft, box{a, f.top, b, f.bottom}, 6)
		if widthOf(u.Words, smallText) < b-a-8 {
			d.text(soft, spot{(a + b) / 2, (f.top+f.bottom)/2 + 4}, smallText, middle, u.Words)
		}
	}
	for _, line := range n.Lines {
		d.line(ink, 1.5, 0, straightened(pointsAt(f, line))...)
	}
	for _, p := range n.Samples {
		d.dot(ink, f.at(p.At, p.Value), 2)
	}
	for _, p := range n.Lost {
		at := f.at(p.At, p.Value)
		d.dot(sheet, at, 7)
		d.text(bound, spot{at.x, at.y + 4}, smallText, middle, "?")
	}
	for _, p := range n.Crossed {
		at := f.at(p.At, p.Value)
		d.dot(fitted, at, 4)
		d.dot(sheet, at, 2)
	}
}

func (g *timingDrawing) band(b *Band, f *frame) {
	low, high := f.fromY, f.toY
	if !math.IsNaN(b.Lower) {
		low = b.Lower
	}
	if !math.IsNaN(b.Upper) {
		high = b.Upper
	}
	p, q := f.at(b.From, high), f.at(b.To, low)
	g.d.area(pale, p, spot{q.x, p.y}, q, spot{p.x, q.y})
	guard := b.Guard / (f.toY - f.fromY) * (f.bottom - f.top)
	for i, v := range []float64{b.Lower, b.Upper} {
		if math.IsNaN(v) {
			continue
		}
		y := f.at(0, v).y
		g.d.line(bound, 1, 0, spot{p.x, y}, spot{q.x, y})
		strip := box{p.x, y, q.x, y + guard}
		if i == 0 {
			strip = box{p.x, y - guard, q.x, y}
		}
		if guard > 1 {
			g.d.hatch(bound, strip, 4)
		}
		if b.To == f.toX {
			g.d.text(ink, spot{f.right + 5, y + 4}, smallText, start, b.Words[i])
		}
	}
}

// behind draws where other cycles went.
func (g *timingDrawing) behind(n *Lane, f *frame) {
	if len(n.Behind) == 0 {
		return
	}
	var up, down []spot
	for _, r := range n.Behind {
		a, b := f.at(r.At, r.High), f.at(r.At, r.Low)
		up, down = append(up, spot{a.x, a.y - 1}), append(down, spot{b.x, b.y + 1})
	}
	up, down = straightened(up), straightened(down)
	for i := range down {
		up = append(up, down[len(down)-1-i])
	}
	g.d.area(others, up...)
}

func pointsAt(f *frame, line []Point) []spot {
	out := make([]spot, len(line))
	for i, p := range line {
		out[i] = f.at(p.At, p.Value)
	}
	return out
}

// straightened leaves out points of a line between others at the same height.
func straightened(line []spot) []spot {
	level := func(y float64) float64 { return math.Round(10 * y) }
	out := line[:0:0]
	for i, p := range line {
		if i > 0 && i+1 < len(line) && level(p.y) == level(line[i-1].y) && level(p.y) == level(line[i+1].y) {
			continue
		}
		out = append(out, p)
	}
	return out
}

// marks draws the events, and the limits of times that begin at one.
func (g *timingDrawing) marks(v *View, l *layout) {
	free := math.Inf(-1)
	for _, m := range v.Marks {
		x := v.across(m.At)
		g.d.line(ink, 1, 0, spot{x, l.top - 8}, spot{x, l.bottom})
		g.d.area(ink, spot{x - 5, l.top - 12}, spot{x + 5, l.top - 12}, spot{x, l.top - 3})
		if x > free {
			g.d.text(ink, spot{x + 8, l.top - 5}, smallText, start, m.Words)
			free = x + 16 + widthOf(m.Words, smallText)
		}
	}
	for _, m := range v.Latest {
		x := v.across(m.At)
		g.d.line(bound, 1.5, 4, spot{x, l.top}, spot{x, l.bottom})
		a, at := start, x+5
		if x+widthOf(m.Words, smallText) > across {
			a, at = end, x-5
		}
		g.d.text(ink, spot{at, l.top + 11}, smallText, a, m.Words)
	}
}

// dimensions draws the dimension lines in their rows.
func (g *timingDrawing) dimensions(v *View, l *layout) {
	for i := range v.Dimensions {
		x := &v.Dimensions[i]
		y := l.rows + float64(x.Row)*rowHeight + rowHeight - 6
		a, b := v.across(x.From), v.across(x.To)
		g.witness(v, l, x.starts, a, y)
		g.witness(v, l, x.ends, b, y)
		if b-a < arrowRoom {
			g.d.line(fitted, 1, 0, spot{a - arrowRoom, y}, spot{b + arrowRoom, y})
			g.arrow(spot{a, y}, -1)
			g.arrow(spot{b, y}, 1)
		} else {
			g.d.line(fitted, 1, 0, spot{a, y}, spot{b, y})
			g.arrow(spot{a, y}, 1)
			g.arrow(spot{b, y}, -1)
		}
		up := 4.0
		if x.label.left >= b || x.label.right <= a {
			up = -4
		}
		g.d.text(ink, spot{x.label.left, y - up}, smallText, start, x.Words)
	}
}

// arrow draws an arrow's head at its tip, which points against the direction.
func (g *timingDrawing) arrow(tip spot, away float64) {
	g.d.area(fitted, tip, spot{tip.x + 7*away, tip.y - 3}, spot{tip.x + 7*away, tip.y + 3})
}

// witness draws a thin line from a dimension's end to the lane that it is of.
func (g *timingDrawing) witness(v *View, l *layout, signal string, x, y float64) {
	for i := range v.Lanes {
		n := &v.Lanes[i]
		if n.Signal != signal {
			continue
		}
		f := &l.lanes[i]
		to := f.at(0, (n.Low+n.High)/2).y
		if len(n.Crossed) > 0 {
			to = f.at(0, n.Crossed[0].Value).y + 4
		}
		if to < y {
			y += 3
		} else {
			y -= 3
		}
		g.d.line(fitted, 1, 0, spot{x, to}, spot{x, y})
	}
}

// places frames what is enlarged below.
func (g *timingDrawing) places(v *View, l *layout, enlarged []View) {
	for i := range enlarged {
		e := &enlarged[i]
		a, b := v.across(e.From), v.across(e.To)
		if b-a < 6 {
			a, b = (a+b)/2-3, (a+b)/2+3
		}
		g.d.line(soft, 1, 3, spot{a, l.top + 2}, spot{b, l.top + 2}, spot{b, l.bottom - 2}, spot{a, l.bottom - 2}, spot{a, l.top + 2})
		if len(enlarged) > 1 {
			g.d.text(ink, spot{b + 3, l.bottom - 4}, smallText, start, string(rune('A'+i)))
		}
	}
}
