package picture

import (
	"fmt"
	"io"
	"math"
)

// Place is a value at a cycle.
type Place struct {
	Cycle float64 // counted from 1; a block's is the mean of its cycles
	Value float64 // in the course's unit
}

// Course is how one quantity went over a run's cycles.
type Course struct {
	Heading string
	About   string // what happened, in words
	Unit    string
	Values  []Place
	// Fits are what is said to have happened: a drift's line, or the levels before and
	// after a step. FitWords are their label, as in "drift".
	Fits     [][]Place
	FitWords string
	// Limits are drawn where they are not far from the values.
	Limits []Limit
}

// Limit is a limit's value and its words, as in "max 6 ms".
type Limit struct {
	Value float64 // in the course's unit
	Upper bool    // values above it are out of the limit
	Words string
}

const (
	courseHeight = 220
	// nearLimit is by how many times the values' own range a limit may lie off it.
	nearLimit = 2
	// dotWidth is how many units a value has to itself where it is drawn as a dot.
	dotWidth = 4
)

// Inline writes the course as an SVG element for a page that holds Style.
func (c *Course) Inline(w io.Writer) error {
	d, err := c.drawing()
	if err != nil {
		return err
	}
	return d.svg(w, false)
}

func (c *Course) drawing() (*drawing, error) {
	low, high := c.corners()
	if !(low < high) {
		return nil, fmt.Errorf("%s: no values to draw", c.Heading)
	}
	d := &drawing{height: courseHeight, title: c.Heading, about: c.About}
	f := &frame{left: 64, right: across - 60, top: d.heading(mediumText) + 24, bottom: courseHeight - 24,
		fromX: c.Values[0].Cycle, toX: c.Values[len(c.Values)-1].Cycle, fromY: low, toY: high}
	c.drawAllowed(d, f)
	f.axes(d, ticksOf(f.fromX, f.toX), ticksOf(low, high), "cycle", c.Unit)
	c.drawLimits(d, f)
	c.drawValues(d, f)
	for _, fit := range c.Fits {
		line := spots(f, fit)
		d.line(fitted, 2, 0, line...)
		f.mark(line...)
	}
	c.drawLabels(d, f)
	return d, nil
}

func (c *Course) drawValues(d *drawing, f *frame) {
	line := spots(f, c.Values)
	if len(line)*dotWidth < int(f.right-f.left) {
		for _, p := range line {
			d.dot(ink, p, 1.5)
		}
	}
	d.line(ink, 1, 0, line...)
	f.mark(line...)
}

// shown are the limits that lie on the drawing.
func (c *Course) shown(f *frame) []Limit {
	var out []Limit
	for _, l := range c.Limits {
		if l.Value > f.fromY && l.Value < f.toY {
			out = append(out, l)
		}
	}
	return out
}

// drawAllowed draws what the limits allow as a pale area.
func (c *Course) drawAllowed(d *drawing, f *frame) {
	low, high := f.fromY, f.toY
	shown := c.shown(f)
	for _, l := range shown {
		if l.Upper {
			high = l.Value
		} else {
			low = l.Value
		}
	}
	if len(shown) > 0 {
		d.area(pale, f.at(f.fromX, low), f.at(f.toX, low), f.at(f.toX, high), f.at(f.fromX, high))
	}
}

// drawLimits draws the limits as dashed lines.
func (c *Course) drawLimits(d *drawing, f *frame) {
	for _, l := range c.shown(f) {
		edge := []spot{f.at(f.fromX, l.Value), f.at(f.toX, l.Value)}
		d.line(bound, 1.5, 5, edge...)
		f.mark(edge...)
	}
}

// drawLabels names limits and fits beside them.
func (c *Course) drawLabels(d *drawing, f *frame) {
	for _, l := range c.shown(f) {
		y := f.at(f.toX, l.Value).y
		var places []place
		for _, y := range []float64{y - 5, y + smallText + 3} {
			places = append(places, place{spot{f.right - 3, y}, end}, place{spot{f.left + 6, y}, start}, place{spot{(f.left + f.right) / 2, y}, middle})
		}
		f.label(d, label{l.Words, places})
	}
	if c.FitWords == "" || len(c.Fits) == 0 {
		return
	}
	var places []place
	for _, fit := range c.Fits {
		line := spots(f, fit)
		for _, off := range []float64{-6, smallText + 4, -24, smallText + 22, -42, smallText + 40, -60, smallText + 58} {
			places = append(places, place{spot{line[len(line)-1].x - 4, line[len(line)-1].y + off}, end}, place{spot{line[0].x + 6, line[0].y + off}, start})
		}
	}
	f.label(d, label{c.FitWords, places})
}

func spots(f *frame, all []Place) []spot {
	out := make([]spot, len(all))
	for i, p := range all {
		out[i] = f.at(p.Cycle, p.Value)
	}
	return out
}

// corners are the least and the greatest value to be shown, with some room.
func (c *Course) corners() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	include := func(x float64) { low, high = math.Min(low, x), math.Max(high, x) }
	for _, v := range c.Values {
		include(v.Value)
	}
	reach := nearLimit * (high - low)
	least, most := low-reach, high+reach
	for _, l := range c.Limits {
		if l.Value > least && l.Value < most {
			include(l.Value)
		}
	}
	for _, fit := range c.Fits {
		for _, p := range fit {
			include(p.Value)
		}
	}
	room := (high - low) / 8
	return low - room, high + room
}
