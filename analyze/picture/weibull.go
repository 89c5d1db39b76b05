package picture

import (
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"makebreak/analyze/reliability"
)

// paperHeight is half of a printed page, at a width of 180 mm.
const paperHeight = 500

// SVG writes the plot as an SVG element without a prologue, as a page can hold it
// or a file be.
func (p *Paper) SVG(w io.Writer) error { return p.drawing().svg(w, true) }

// Inline writes the plot as an SVG element for a page that holds Style.
func (p *Paper) Inline(w io.Writer) error { return p.drawing().svg(w, false) }

// PNG writes the plot as a PNG, as it is on a light ground.
func (p *Paper) PNG(w io.Writer) error { return p.drawing().png(w) }

func (p *Paper) drawing() *drawing {
	d := &drawing{height: paperHeight, title: p.Heading, about: strings.Join(p.Words, ". ")}
	top := d.heading(headingText, p.Words...) + 40
	f := &frame{left: 52, right: across - 84, top: top, bottom: paperHeight - 26}
	f.fromX, f.fromY = reliability.Paper(p.From.Cycles, p.From.Failed)
	f.toX, f.toY = reliability.Paper(p.To.Cycles, p.To.Failed)

	line, early, late := p.curves(f)
	if len(line) > 0 {
		edge := clipped(late, f.left, f.right)
		slices.Reverse(edge)
		d.area(pale, append(clipped(early, f.left, f.right), edge...)...)
	}
	acrossTicks, upTicks := p.ticks(f)
	f.axes(d, acrossTicks, upTicks, "cycles", "% failed")
	p.drawLine(d, f, line, early, late)
	p.drawBoards(d, f)
	p.drawB10(d, f)
	p.drawThis(d, f)
	p.drawLabels(d, f)
	return d
}

// curves are the fitted line and its bounds; where there is no bound, it lies off the
// paper.
func (p *Paper) curves(f *frame) (line, early, late []spot) {
	at := func(cycles, failed float64) spot {
		return f.at(reliability.Paper(clamp(cycles, p.From.Cycles/10, p.To.Cycles*10), failed))
	}
	for _, b := range p.Line {
		line = append(line, at(b.Cycles, b.Failed))
		early = append(early, at(b.Early, b.Failed))
		late = append(late, at(b.Late, b.Failed))
	}
	return line, early, late
}

func (p *Paper) drawLine(d *drawing, f *frame, line, early, late []spot) {
	for _, c := range []struct {
		points      []spot
		width, dash float64
	}{{early, 1, 4}, {late, 1, 4}, {line, 2, 0}} {
		points := within(c.points, f.left, f.right)
		d.line(fitted, c.width, c.dash, points...)
		f.mark(points...)
	}
	points := within(line, f.left, f.right)
	if len(points) == 0 {
		return
	}
	last := points[len(points)-1]
	var places []place
	if last.y < f.top+1 {
		places = []place{{spot{last.x, f.top - 8}, middle}, {spot{f.right, f.top - 8}, end}, {spot{f.left + 40, f.top - 8}, start}}
	}
	for _, q := range slices.Backward(points) {
		places = append(places, place{spot{q.x - 8, q.y - 10}, end}, place{spot{q.x + 8, q.y + 20}, start})
	}
	f.label(d, label{"fitted line, between its bounds", places})
}

// within is the part of a rising line between two places across.
func within(line []spot, left, right float64) []spot {
	return slices.DeleteFunc(crossed(line, left, right), func(p spot) bool { return p.x < left || p.x > right })
}

// clipped is a rising line with what lies beyond two places across moved onto them.
func clipped(line []spot, left, right float64) []spot {
	line = crossed(line, left, right)
	for i := range line {
		line[i].x = clamp(line[i].x, left, right)
	}
	return line
}

// crossed is a rising line with its crossings of two places across.
func crossed(line []spot, left, right float64) []spot {
	var out []spot
	for i, p := range line {
		if i > 0 {
			q := line[i-1]
			for _, edge := range []float64{left, right} {
				if q.x < edge && edge < p.x {
					out = append(out, spot{edge, q.y + (p.y-q.y)*(edge-q.x)/(p.x-q.x)})
				}
			}
		}
		out = append(out, p)
	}
	return out
}

// drawBoards draws the failed boards as dots at their ranks, and those that were stopped
// as triangles at the lower edge, with their number where it is more than one.
func (p *Paper) drawBoards(d *drawing, f *frame) {
	for _, q := range p.Points {
		at := f.at(q.X, q.Y)
		d.dot(ink, at, 3.5)
		f.mark(spot{at.x - 3, at.y}, at, spot{at.x + 3, at.y})
	}
	for _, s := range p.Stopped {
		x := f.stop(s).x
		d.area(ink, spot{x - 5, f.bottom - 2}, spot{x + 5, f.bottom - 2}, spot{x, f.bottom - 11})
		f.mark(spot{x, f.bottom - 6})
		if s.Boards > 1 {
			f.label(d, label{strconv.Itoa(s.Boards), []place{{spot{x, f.bottom - 15}, middle}}})
		}
	}
}

func (f *frame) stop(s Stop) spot { return spot{f.at(math.Log(s.Cycles), f.fromY).x, f.bottom - 6} }

// drawB10 marks the cycles by which 10 % have failed, from the fitted line down.
func (p *Paper) drawB10(d *drawing, f *frame) {
	if p.B10 == nil || p.B10.Value < p.From.Cycles || p.B10.Value > p.To.Cycles {
		return
	}
	at := f.at(reliability.Paper(p.B10.Value, 0.1))
	points := []spot{{f.left, at.y}, at, {at.x, f.bottom}}
	d.line(bound, 1.5, 3, points...)
	f.mark(points...)
	var places []place
	for up := 20.0; up < f.bottom-at.y; up += 24 {
		places = append(places, around(spot{at.x - 6, f.bottom - up})[:2]...)
	}
	places = append(places, place{spot{f.left + 6, at.y - 5}, start})
	f.label(d, label{"B10 " + count(p.B10.Value) + " cycles", places})
}

// drawThis marks the board that the plot is about.
func (p *Paper) drawThis(d *drawing, f *frame) {
	if p.This == nil {
		return
	}
	at := f.stop(Stop{Cycles: p.This.Cycles})
	if p.This.Failed {
		i := slices.IndexFunc(p.Points, func(q reliability.Point) bool { return q.Cycles == p.This.Cycles })
		if i < 0 {
			return
		}
		at = f.at(p.Points[i].X, p.Points[i].Y)
	}
	const radius = 9
	var ring []spot
	for i := range 33 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 32)
		ring = append(ring, spot{at.x + radius*cos, at.y + radius*sin})
	}
	d.line(bound, 2, 0, ring...)
	f.mark(ring...)
	f.label(d, label{p.This.Words, around(at)})
}

// drawLabels names the marks of boards, each beside one of them.
func (p *Paper) drawLabels(d *drawing, f *frame) {
	var places []place
	for _, q := range slices.Backward(p.Points) {
		places = append(places, around(f.at(q.X, q.Y))...)
	}
	f.label(d, label{"failed boards, at their median ranks", places})
	places = nil
	for _, s := range slices.Backward(p.Stopped) {
		places = append(places, around(f.stop(s))[:2]...)
	}
	if len(places) > 0 {
		f.label(d, label{"stopped without a failure", places})
	}
}

// ticks are the marks of both axes.
func (p *Paper) ticks(f *frame) (acrossTicks, upTicks []tick) {
	decade := (f.right - f.left) * math.Ln10 / (f.toX - f.fromX)
	room := widthOf(count(p.To.Cycles), smallText) + labelGap
	roomy := decade*math.Log10(2) > room // for 1, 2 and 5
	every := math.Ceil(room / decade)    // decade that is labelled
	for _, x := range oneTwoFive(p.From.Cycles, p.To.Cycles) {
		t := tick{value: math.Log(x)}
		if roomy || math.Abs(math.Remainder(math.Log10(x), every)) < 1e-9 {
			if t.label = count(x); x < 1 {
				t.label = three(x)
			}
		}
		acrossTicks = append(acrossTicks, t)
	}
	for _, s := range shares {
		if s < p.From.Failed || s > p.To.Failed {
			continue
		}
		_, y := reliability.Paper(1, s)
		upTicks = append(upTicks, tick{y, strconv.FormatFloat(100*s, 'g', 6, 64)})
	}
	return acrossTicks, upTicks
}

// clamp holds x between two numbers.
func clamp(x, low, high float64) float64 { return math.Max(low, math.Min(high, x)) }
