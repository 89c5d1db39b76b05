package picture

import (
	"fmt"
	"io"
	"math"
	"slices"
)

// The strip's size, in units.
const (
	stripWidth  = 160.0
	stripHeight = 20.0
)

const (
	// hatching is how far apart the lines of a guard band are.
	hatching = 4
	// mostInLine is how many dots lie in one line; more are spread over the strip's height.
	mostInLine = 30
	// MostDots is how many values a strip shows as dots; of more it needs the quantiles.
	MostDots = 1000
)

// StripQuantiles are the shares of the values, from 0 to 1, at which a strip of many is
// divided.
var StripQuantiles = [...]float64{0.05, 0.25, 0.50, 0.75, 0.95}

// Dot is one value of a strip.
type Dot struct {
	Value float64 // in the strip's unit
	// Out says that it failed, Open that it is undecided. Both differ in shape.
	Out, Open bool
}

// Strip shows in one line how a quantity's values spread, against their limit with its
// guard band. All figures are in one unit, which may be any.
type Strip struct {
	Name  string // what it is of, as in "OUT3 switching delay at arm-away"
	About string // the result in words
	// Dots are the values, MostDots at most, in the order of the cycles. Without them
	// Quantiles are the values at StripQuantiles, and Low and High the extremes.
	Dots      []Dot
	Quantiles []float64
	Low, High float64
	// Lower and Upper are the limits; NaN: none.
	Lower, Upper float64
	// Guard is how close to a limit a value is undecided; 0 or NaN: no guard band.
	Guard float64
	// FromZero begins the scale at zero where no limit and no value is below, so that a
	// value's place says what share of an upper limit it takes.
	FromZero bool
}

// Inline writes the strip as an SVG element for a page that holds Style.
func (s *Strip) Inline(w io.Writer) error {
	d, err := s.drawing()
	if err != nil {
		return err
	}
	return d.svg(w, false)
}

func (s *Strip) drawing() (*drawing, error) {
	low, high, err := s.ends()
	if err != nil {
		return nil, err
	}
	d := &drawing{width: stripWidth, height: stripHeight, title: s.Name, about: s.About}
	f := &frame{left: 4, right: stripWidth - 4, top: 2, bottom: stripHeight - 2, fromX: low, toX: high, fromY: 0, toY: 1}
	s.drawLimits(d, f)
	if len(s.Dots) > 0 {
		s.drawDots(d, f)
	} else {
		s.drawBands(d, f)
	}
	return d, nil
}

// ends are the least and the greatest value of the scale.
func (s *Strip) ends() (low, high float64, err error) {
	low, high = math.Inf(1), math.Inf(-1)
	include := func(x float64) {
		if !math.IsNaN(x) {
			low, high = math.Min(low, x), math.Max(high, x)
		}
	}
	for _, v := range s.Dots {
		include(v.Value)
	}
	if len(s.Dots) == 0 && len(s.Quantiles) == len(StripQuantiles) {
		include(s.Low)
		include(s.High)
	}
	if math.IsInf(low, 0) || math.IsInf(high, 0) || len(s.Dots) > MostDots {
		return 0, 0, fmt.Errorf("%s: no values to draw, or too many", s.Name)
	}
	include(s.Lower)
	include(s.Upper)
	if s.FromZero && low > 0 {
		low = 0
	}
	room := (high - low) / 8
	if room == 0 { // one value alone
		room = 1
	}
	if s.FromZero && low == 0 {
		return 0, high + room, nil
	}
	return low - room, high + room, nil
}

// drawLimits draws what is allowed as a pale area, its guard bands hatched and its edges as
// lines.
func (s *Strip) drawLimits(d *drawing, f *frame) {
	from, to := f.left, f.right
	var edges []float64
	if !math.IsNaN(s.Lower) {
		from = f.at(s.Lower, 0).x
		edges = append(edges, from)
	}
	if !math.IsNaN(s.Upper) {
		to = f.at(s.Upper, 0).x
		edges = append(edges, to)
	}
	if len(edges) == 0 {
		d.line(rule, 1, 0, spot{f.left, stripHeight / 2}, spot{f.right, stripHeight / 2})
		return
	}
	d.area(pale, spot{from, f.top}, spot{to, f.top}, spot{to, f.bottom}, spot{from, f.bottom})
	if s.Guard > 0 {
		if wide := s.Guard / (f.toX - f.fromX) * (f.right - f.left); wide >= 1 {
			if !math.IsNaN(s.Lower) {
				d.hatch(bound, box{from, f.top, min(from+wide, to), f.bottom}, hatching)
			}
			if !math.IsNaN(s.Upper) {
				d.hatch(bound, box{max(to-wide, from), f.top, to, f.bottom}, hatching)
			}
		}
	}
	for _, x := range edges {
		d.line(bound, 1.5, 0, spot{x, 0}, spot{x, stripHeight})
	}
}

func (s *Strip) drawDots(d *drawing, f *frame) {
	radius, high := 1.75, 0.0
	if len(s.Dots) > mostInLine {
		radius, high = 1, f.bottom-f.top-4
	}
	var plain []spot
	var marked []int
	at := make([]spot, len(s.Dots))
	for i, v := range s.Dots {
		at[i] = spot{f.at(v.Value, 0).x, stripHeight/2 + high*(jitter(i)-0.5)}
		if v.Out || v.Open {
			marked = append(marked, i)
		} else {
			plain = append(plain, at[i])
		}
	}
	d.dots(ink, radius, distinct(plain)...)
	for _, i := range marked { // above the others
		if s.Dots[i].Out {
			d.cross(at[i])
		} else {
			d.ring(at[i])
		}
	}
}

// distinct leaves out spots that would lie on one already there.
func distinct(all []spot) []spot {
	seen := map[spot]bool{}
	return slices.DeleteFunc(all, func(p spot) bool {
		p = spot{math.Round(10*p.x) / 10, math.Round(10*p.y) / 10}
		was := seen[p]
		seen[p] = true
		return was
	})
}

// cross marks a value that failed.
func (d *drawing) cross(p spot) {
	const arm = 3.5
	d.line(ink, 1.5, 0, spot{p.x - arm, p.y - arm}, spot{p.x + arm, p.y + arm})
	d.line(ink, 1.5, 0, spot{p.x - arm, p.y + arm}, spot{p.x + arm, p.y - arm})
}

// ring marks a value that is undecided.
func (d *drawing) ring(p spot) {
	d.dot(ink, p, 3.5)
	d.dot(sheet, p, 2)
}

// jitter is the n-th of numbers from 0 to 1 that lie evenly and never in rows: van der
// Corput's sequence in base 2, from memory.
func jitter(n int) float64 {
	x, part := 0.0, 0.5
	for ; n > 0; n /= 2 {
		if n%2 == 1 {
			x += part
		}
		part /= 2
	}
	return x
}

// drawBands draws the extremes as a thin line, the middle nine tenths and the middle half
// as thicker ones, and the median as a mark across.
func (s *Strip) drawBands(d *drawing, f *frame) {
	const y = stripHeight / 2
	across := func(from, to, half float64) {
		a, b := f.at(from, 0).x, f.at(to, 0).x
		d.area(ink, spot{a, y - half}, spot{b, y - half}, spot{b, y + half}, spot{a, y + half})
	}
	across(s.Low, s.High, 0.5)
	across(s.Quantiles[0], s.Quantiles[4], 1.5)
	across(s.Quantiles[1], s.Quantiles[3], 3.5)
	median := f.at(s.Quantiles[2], 0).x
	d.line(sheet, 3.5, 0, spot{median, y - 6}, spot{median, y + 6})
	d.line(ink, 1.5, 0, spot{median, y - 6}, spot{median, y + 6})
	for _, x := range []float64{s.Low, s.High} {
		if x < s.Lower || x > s.Upper {
			d.cross(spot{f.at(x, 0).x, y})
		}
	}
}
