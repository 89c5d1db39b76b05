package picture

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"

	"makebreak/analyze"
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
	laneName       = 23.0
	voltsHeight    = 124.0
	contactHeight  = 24.0
	laneGap        = 8.0
	rowHeight      = 26.0
	axisHeight     = 30.0
	enlargedVolts  = 72.0
	outlinedVolts  = 64.0
	enlargedHeader = 28.0
	bareMarks      = 4.0 // without an event
	timeTicks      = 10.0
)

func (t *Timing) drawing() *drawing {
	d := &drawing{title: t.Heading, about: t.about}
	y := d.heading(headingText, t.Words...) + 10
	g := &timingDrawing{d: d}
	volts := voltsHeight
	if t.small {
		volts = outlinedVolts
	}
	y = g.view(&t.Main, y, volts, t.Enlarged)
	if len(t.Enlarged) > 0 {
		y = g.enlarged(t.Enlarged, y+enlargedHeader)
	}
	if t.Behind != "" {
		y += smallText + 2
		d.text(soft, spot{0, y}, smallText, start, "Grey: "+t.Behind+".")
		y += 4
	}
	d.height = math.Ceil(y)
	return d
}

// enlarged draws the enlarged places, two of them side by side.
func (g *timingDrawing) enlarged(all []View, y float64) float64 {
	lowest := y
	for i := range all {
		v := &all[i]
		name := fmt.Sprintf("Enlarged %s times", factorText(v.Factor))
		if len(all) > 1 {
			name = fmt.Sprintf("%c: enlarged %s times", 'A'+rune(i), factorText(v.Factor))
		}
		left, _ := v.ends()
		g.d.text(ink, spot{left, y}, mediumText, start, name)
		lowest = max(lowest, g.view(v, y+4, enlargedVolts, nil))
	}
	return lowest
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
	names          []named
	rows           float64 // where the first row of dimensions begins
	top, bottom, y float64
}

func (g *timingDrawing) layout(v *View, y, volts float64) layout {
	var l layout
	if l.top = y + bareMarks; len(v.Marks) > 0 {
		var rows int
		l.names, rows = v.names()
		l.top = y + marksHeight + nameRow*float64(rows)
	}
	y = l.top
	rows := v.rows
	for _, x := range v.Dimensions {
		rows = max(rows, x.Row+1)
	}
	for i := range v.Lanes {
		height := contactHeight
		if !v.Lanes[i].Contact {
			height = volts
		}
		y += laneName
		left, right := v.field()
		l.lanes = append(l.lanes, frame{left: left, right: right, top: y, bottom: y + height,
			fromX: v.From, toX: v.To, fromY: v.Lanes[i].Low, toY: v.Lanes[i].High})
		y += height + laneGap
		if i == 0 {
			l.rows = y
			if y += float64(rows) * rowHeight; rows > 0 && len(v.Lanes) == 1 {
				y += rowHeight / 3
			}
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
	g.framed(v, &l, enlarged)
	g.marks(v, &l)
	g.dimensions(v, &l)
	return l.y
}

// axis draws the time axis below the lanes, with its unit once at its end.
func (g *timingDrawing) axis(v *View, l *layout) {
	s := unit.Time.Scaler(unit.Figures{Values: []float64{math.Max(math.Abs(v.From), math.Abs(v.To))}, Uncertainty: math.NaN()})
	left, right := v.field()
	most, unitAt := timeTicks, right+24
	if v.half > 0 {
		most, unitAt = timeTicks/2, right+4
	}
	for _, k := range ticksUpTo(most, s.In(v.From), s.In(v.To)) {
		x := v.across(v.From + (k.value-s.In(v.From))/(s.In(v.To)-s.In(v.From))*(v.To-v.From))
		g.d.line(rule, 1, 0, spot{x, l.top}, spot{x, l.bottom})
		if x+widthOf(k.label, smallText)/2 < unitAt-4 {
			g.d.text(ink, spot{x, l.bottom + 16}, smallText, middle, k.label)
		}
	}
	g.d.line(soft, 1, 0, spot{left, l.bottom}, spot{right, l.bottom})
	g.d.text(soft, spot{unitAt, l.bottom + 16}, smallText, start, s.Unit())
}

// lane draws one signal.
func (g *timingDrawing) lane(n *Lane, f *frame) {
	d := g.d
	name := n.Signal
	if !n.Contact {
		name += ", V"
	}
	d.text(ink, spot{f.left - timingLeft, f.top - 10}, smallText, start, name)
	d.shapes[len(d.shapes)-1].bold = true
	if n.Contact {
		d.text(soft, spot{f.left - 7, f.top + 4}, smallText, end, "closed")
		d.text(soft, spot{f.left - 7, f.bottom + 4}, smallText, end, "open")
	}
	for i := range n.Bands {
		g.band(&n.Bands[i], f)
	}
	if f.right == timingRight {
		g.bandLabels(n, f)
	}
	if !n.Contact {
		for _, k := range ticksOf(n.Low, n.High) {
			p := f.at(f.fromX, k.value)
			d.line(rule, 1, 0, p, spot{f.right, p.y})
			d.text(ink, spot{f.left - 7, p.y + 4}, smallText, end, k.label)
		}
	}
	g.behind(n, f)
	g.unseen(n, f)
	g.lines(n, f)
	g.places(n, f)
	g.note(n, f)
}

// unseen hatches what was not recorded.
func (g *timingDrawing) unseen(n *Lane, f *frame) {
	d := g.d
	for _, u := range n.Unseen {
		a, b := f.at(u.From, 0).x, f.at(u.To, 0).x
		d.hatch(others, box{a, f.top, b, f.bottom}, 6)
		if w := widthOf(u.Words, smallText); w < b-a-8 {
			d.ground(box{(a+b-w)/2 - 4, (f.top+f.bottom)/2 - 9, (a+b+w)/2 + 4, (f.top+f.bottom)/2 + 9})
			d.text(soft, spot{(a + b) / 2, (f.top+f.bottom)/2 + 4}, smallText, middle, u.Words)
		}
	}
}

// lines draws the signal's course, or its samples where they are few.
func (g *timingDrawing) lines(n *Lane, f *frame) {
	r, width := ink, 1.5
	if len(n.Samples) > 0 {
		r, width = soft, 1 // between the samples nothing is known
	}
	for _, line := range n.Lines {
		g.d.course(r, width, straightened(pointsAt(f, line)))
	}
	for _, p := range n.Samples {
		g.d.dot(ink, f.at(p.At, p.Value), 2)
	}
}

// places marks lost edges, crossings and levels.
func (g *timingDrawing) places(n *Lane, f *frame) {
	d := g.d
	for _, p := range n.Lost {
		at := f.at(p.At, p.Value)
		d.dot(bound, at, 9)
		d.dot(sheet, at, 7.5)
		d.text(ink, spot{at.x, at.y + 4.5}, smallText, middle, "?")
		d.shapes[len(d.shapes)-1].bold = true
	}
	for _, p := range n.Crossed {
		at := f.at(p.At, p.Value)
		d.dot(fitted, at, 4)
		d.dot(sheet, at, 2)
		d.text(soft, spot{at.x + 8, at.y + 4}, smallText, start, "50 %")
	}
	for _, p := range n.Levels {
		at := f.at(p.At, p.Value)
		if p.At < f.toX {
			d.dot(fitted, at, 4)
			d.dot(sheet, at, 2)
		}
		g.beside(at, p.Words, f)
	}
}

// beside writes a text to the left of a place, else to its right, on a ground of its own.
func (g *timingDrawing) beside(at spot, text string, f *frame) {
	w := widthOf(text, smallText)
	x := at.x - 10 - w
	if x < f.left {
		x = at.x + 10
	}
	y := at.y - 8
	if y < f.top+14 {
		y = at.y + 18
	}
	g.d.ground(box{x - 2, y - 11, x + w + 2, y + 4})
	g.d.text(ink, spot{x, y}, smallText, start, text)
}

// note writes what a signal did not do into its lane, beside its line's end.
func (g *timingDrawing) note(n *Lane, f *frame) {
	if n.Note == "" {
		return
	}
	x, y := f.right-8, (f.top+f.bottom)/2+4
	w := widthOf(n.Note, smallText) * 1.1 // bold
	if k := len(n.Lines); k > 0 && !n.Contact {
		line := n.Lines[k-1]
		last := f.within(line[len(line)-1].At, line[len(line)-1].Value)
		if y = last.y - 8; y < f.top+12 {
			y += 26
		}
		if last.x-8-w > f.left { // clear of what is said of samples that are missing behind it
			x = min(x, last.x-8)
		}
	}
	g.d.ground(box{x - w - 4, y - 12, x + 4, y + 5})
	g.d.text(ink, spot{x, y}, smallText, end, n.Note)
	g.d.shapes[len(g.d.shapes)-1].bold = true
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
	}
}

// bandLabels writes the bands' limits at the right edge, each once.
func (g *timingDrawing) bandLabels(n *Lane, f *frame) {
	type edge struct {
		y     float64
		words string
	}
	var edges []edge
	for _, b := range n.Bands {
		for i, v := range []float64{b.Lower, b.Upper} {
			if e := (edge{f.at(0, v).y, b.Words[i]}); !math.IsNaN(v) && !slices.Contains(edges, e) {
				edges = append(edges, e)
			}
		}
	}
	slices.SortFunc(edges, func(a, b edge) int { return cmp.Compare(a.y, b.y) })
	const apart = 13
	for i := 1; i < len(edges); i++ {
		if lack := apart - (edges[i].y - edges[i-1].y); lack > 0 {
			edges[i-1].y -= lack / 2
			edges[i].y += lack / 2
		}
	}
	for _, e := range edges {
		g.d.text(ink, spot{f.right + 5, e.y + 4}, smallText, start, e.words)
	}
}

// behind draws where other cycles went, a piece at a time where columns are empty.
func (g *timingDrawing) behind(n *Lane, f *frame) {
	first := 0
	for i := range n.Behind {
		if last := i + 1; last == len(n.Behind) || f.at(n.Behind[last].At, 0).x-f.at(n.Behind[i].At, 0).x > 1.5 {
			g.reached(n.Behind[first:last], f)
			first = last
		}
	}
}

func (g *timingDrawing) reached(all []Reach, f *frame) {
	var up, down []spot
	for _, r := range all {
		a, b := f.within(r.At, r.High), f.within(r.At, r.Low)
		up, down = append(up, spot{a.x, a.y - 1}), append(down, spot{b.x, b.y + 1})
	}
	down = straightened(down)
	slices.Reverse(down)
	g.d.area(others, append(straightened(up), down...)...)
}

func pointsAt(f *frame, line []Point) []spot {
	out := make([]spot, len(line))
	for i, p := range line {
		out[i] = f.within(p.At, p.Value)
	}
	return out
}

// within is at, held to the frame.
func (f *frame) within(x, y float64) spot {
	return f.at(clamp(x, f.fromX, f.toX), clamp(y, f.fromY, f.toY))
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
	for i, m := range v.Marks {
		x := v.across(m.At)
		up := 8.0
		if row := l.names[i].row; row > 0 {
			up += nameRow * float64(row)
		}
		r := ink
		if m.At != 0 {
			r = soft
		}
		g.d.line(r, 1, 0, spot{x, l.top - up}, spot{x, l.bottom})
		g.d.area(r, spot{x - 5, l.top - 13}, spot{x + 5, l.top - 13}, spot{x, l.top - 4})
	}
	for i, n := range l.names {
		if n.row < 0 {
			continue
		}
		y := l.top - 6 - nameRow*float64(n.row)
		if n.row > 0 {
			g.d.ground(box{n.left - 1, y - 10, n.right + 1, y + 3})
		}
		g.d.text(ink, spot{n.left, y}, smallText, start, v.Marks[i].Words)
	}
	for _, m := range v.Latest {
		x := v.across(m.At)
		g.d.line(bound, 1.5, 4, spot{x, l.top}, spot{x, l.bottom})
		a, at := start, x+5
		if _, edge := v.ends(); m.Earliest || x+5+widthOf(m.Words, smallText) > edge {
			a, at = end, x-5
		}
		b := boxOf(place{spot{at, l.top + 11}, a}, m.Words)
		g.d.ground(box{b.left - 1, b.top + 1, b.right + 1, b.bottom - 1})
		g.d.text(ink, spot{at, l.top + 11}, smallText, a, m.Words)
	}
	for i, m := range v.Beyond {
		y := l.top + 7 + 14*float64(i)
		_, right := v.field()
		g.d.text(ink, spot{right - 12, y + 4}, smallText, end, m.Words)
		g.d.area(bound, spot{right - 8, y - 4}, spot{right, y}, spot{right - 8, y + 4})
	}
}

// nameRow is how high a row of events' names is, and nameRows how many there are at most.
const (
	nameRow  = 15.0
	nameRows = 4
)

// named is where an event's name stands: in a row above the lanes, -1 where there is no room.
type named struct {
	row         int
	left, right float64
}

// names places the events' names beside their marks: in the lowest row, where that has room
// before the next mark, else in one above, else nowhere. The diagram's own event comes first.
func (v *View) names() (all []named, rows int) {
	all = make([]named, len(v.Marks))
	for _, own := range []bool{true, false} {
		for i, m := range v.Marks {
			if own != (m.At == 0) {
				continue
			}
			all[i] = v.name(i, all)
			rows = max(rows, all[i].row)
		}
	}
	return all, rows
}

// name places one event's name beside those that have places.
func (v *View) name(i int, all []named) named {
	x, w := v.across(v.Marks[i].At), widthOf(v.Marks[i].Words, smallText)
	n := named{left: x + 8, right: x + 8 + w}
	if _, edge := v.ends(); n.right > edge {
		n.left, n.right = x-8-w, x-8
	}
	for ; n.row < nameRows; n.row++ {
		free := true
		for k, m := range v.Marks {
			if at := v.across(m.At); n.row == 0 && k != i && at > n.left-6 && at < n.right+6 {
				free = false
			}
			if y := all[k]; k != i && y.right > 0 && y.row == n.row && n.left < y.right+4 && y.left < n.right+10 {
				free = false
			}
		}
		if free {
			return n
		}
	}
	n.row = -1
	return n
}

// dimensions draws the dimension lines in their rows.
func (g *timingDrawing) dimensions(v *View, l *layout) {
	for i := range v.Dimensions {
		x := &v.Dimensions[i]
		y := l.rows + float64(x.Row)*rowHeight + rowHeight - 6
		a, b := v.across(x.From), v.across(math.Min(x.To, v.To))
		g.witness(v, l, x.starts, a, y)
		if !x.Open {
			g.witness(v, l, x.ends, b, y)
		}
		if x.Open || x.Bound != analyze.NoBound {
			g.d.line(fitted, 1, 0, spot{a, y}, spot{b, y})
			g.arrow(spot{a, y}, 1)
			g.openArrow(spot{b, y})
		} else if b-a < arrowRoom {
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
		g.d.ground(box{x.label.left - 2, y - up - 11, x.label.right + 2, y - up + 3.5})
		g.d.text(ink, spot{x.label.left, y - up}, smallText, start, x.Words)
	}
}

// arrow draws an arrow's head at its tip, which points against the direction.
func (g *timingDrawing) arrow(tip spot, away float64) {
	g.d.area(fitted, tip, spot{tip.x + 7*away, tip.y - 3}, spot{tip.x + 7*away, tip.y + 3})
}

// openArrow draws the head of a line that may go on.
func (g *timingDrawing) openArrow(tip spot) {
	g.d.line(fitted, 1, 0, spot{tip.x - 7, tip.y - 4}, tip, spot{tip.x - 7, tip.y + 4})
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

// framed frames what is enlarged below.
func (g *timingDrawing) framed(v *View, l *layout, enlarged []View) {
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
