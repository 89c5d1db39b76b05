package picture

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Place is a value at a cycle.
type Place struct{ Cycle, Value float64 }

// Course is how one quantity went over a run's cycles. Values are in Unit.
type Course struct {
	Heading string
	Unit    string
	Values  []Place
	// Fits are what is said to have happened: a drift's line, or the levels before and
	// after a step.
	Fits [][]Place
	// Limits are drawn where they are not far from the values.
	Limits []Limit
}

// Limit is a limit's value and its words, as in "max 6 ms".
type Limit struct {
	Value float64
	Words string
}

const (
	courseWidth  = 180 * vg.Millimeter
	courseHeight = 55 * vg.Millimeter
	// nearLimit is by how many times the values' own range a limit may lie off it.
	nearLimit = 2
)

// namespace is what an SVG of its own needs and one within a page does not.
var namespace = regexp.MustCompile(`\s+xmlns(:xlink)?="[^"]*"`)

// Inline writes the course as an SVG element for a page.
func (c *Course) Inline(w io.Writer) error {
	low, high := c.corners()
	if !(low < high) {
		return fmt.Errorf("picture: %s: no values to draw", c.Heading)
	}
	p := newPlot("cycle", c.Unit)
	first, last := c.Values[0].Cycle, c.Values[len(c.Values)-1].Cycle
	across, upwards := marks(first, last, func(x float64) string { return grouped(strconv.FormatFloat(x, 'f', -1, 64)) }), marks(low, high, func(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) })
	p.X.Tick.Marker, p.Y.Tick.Marker = across, upwards
	p.Add(grid{across, upwards}, curve(c.Values, lineStyle(ink, 0.5)))
	for _, f := range c.Fits {
		p.Add(curve(f, lineStyle(fitted, 1.6)))
	}
	for _, l := range c.Limits {
		if l.Value > low && l.Value < high {
			p.Add(limitLine(l))
		}
	}
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = first, last, low, high
	var b bytes.Buffer
	if err := (&picture{plot: p, w: courseWidth, h: courseHeight, words: []string{c.Heading}}).svg(&b); err != nil {
		return err
	}
	if _, err := w.Write(namespace.ReplaceAll(b.Bytes(), nil)); err != nil {
		return fmt.Errorf("picture: svg: %w", err)
	}
	return nil
}

// corners are the least and the greatest value to be shown, with some room.
func (c *Course) corners() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	take := func(x float64) { low, high = math.Min(low, x), math.Max(high, x) }
	for _, v := range c.Values {
		take(v.Value)
	}
	reach := nearLimit * (high - low)
	least, most := low-reach, high+reach
	for _, l := range c.Limits {
		if l.Value > least && l.Value < most {
			take(l.Value)
		}
	}
	room := (high - low) / 12
	return low - room, high + room
}

// marks are labelled marks at round numbers, some five of them.
func marks(low, high float64, label func(float64) string) ticks {
	steps := oneTwoFive((high-low)/60, (high-low)/2)
	step := steps[len(steps)-1]
	for _, s := range steps {
		if (high-low)/s <= 6 {
			step = s
			break
		}
	}
	var out ticks
	for n := math.Ceil(low / step); n*step <= high; n++ {
		out = append(out, plot.Tick{Value: n * step, Label: label(n * step)})
	}
	return out
}

func curve(all []Place, style draw.LineStyle) *plotter.Line {
	l := &plotter.Line{LineStyle: style}
	for _, p := range all {
		l.XYs = append(l.XYs, plotter.XY{X: p.Cycle, Y: p.Value})
	}
	return l
}

// limitLine draws a limit across, with its words.
type limitLine Limit

func (l limitLine) Plot(c draw.Canvas, p *plot.Plot) {
	_, ty := p.Transforms(&c)
	y := ty(l.Value)
	c.StrokeLine2(lineStyle(red, 0.8, vg.Points(4), vg.Points(2)), c.Min.X, y, c.Max.X, y)
	style := textStyle(textSize-1, false, red)
	style.XAlign, style.YAlign = draw.XRight, draw.YBottom
	if y > c.Center().Y { // below the line, away from the frame
		style.YAlign = draw.YTop
		y -= 2
	}
	c.FillText(style, vg.Point{X: c.Max.X - 3, Y: y + 1}, l.Words)
}
