package picture

import (
	"fmt"
	"io"
	"math"
)

// The change's size, in units.
const (
	changeWidth  = 160.0
	changeHeight = 28.0
)

// Figure is a value with how far it may be off to either side.
type Figure struct {
	Value  float64 // in the change's unit
	Within float64 // expanded uncertainty in the same unit; NaN: none is stated
}

// Change shows a figure of two runs one above the other against its limit: the earlier one as a
// ring, the later one below it as a dot, each with its uncertainty. All figures are in one unit.
type Change struct {
	Name        string // what it is of, as in "OUT3 high level at arm-away"
	About       string // what moved, in words
	Before, Now Figure
	// Lower and Upper are the limits; NaN: none.
	Lower, Upper float64
}

// Inline writes the change as an SVG element for a page that holds Style.
func (c *Change) Inline(w io.Writer) error {
	d, err := c.drawing()
	if err != nil {
		return err
	}
	return d.svg(w, false)
}

func (c *Change) drawing() (*drawing, error) {
	low, high, err := c.ends()
	if err != nil {
		return nil, err
	}
	d := &drawing{width: changeWidth, height: changeHeight, title: c.Name, about: c.About}
	f := &frame{left: 5, right: changeWidth - 5, top: 2, bottom: changeHeight - 2, fromX: low, toX: high, fromY: 0, toY: 1}
	c.drawLimits(d, f)
	const before, now = 8.5, 19.5
	c.drawReach(d, f, c.Before, others, before)
	c.drawReach(d, f, c.Now, ink, now)
	d.line(soft, 1, 0, spot{f.at(c.Before.Value, 0).x, before + 4}, spot{f.at(c.Now.Value, 0).x, now - 4})
	d.ring(spot{f.at(c.Before.Value, 0).x, before})
	d.dot(ink, spot{f.at(c.Now.Value, 0).x, now}, 3.5)
	return d, nil
}

// ends are the least and the greatest value of the scale. A limit that is far from both values
// is left outside: what moved must be seen to have moved.
func (c *Change) ends() (low, high float64, err error) {
	if !finite(c.Before.Value) || !finite(c.Now.Value) {
		return 0, 0, fmt.Errorf("%s: two values are needed", c.Name)
	}
	low, high = math.Inf(1), math.Inf(-1)
	for _, r := range []Figure{c.Before, c.Now} {
		within := r.Within
		if !finite(within) {
			within = 0
		}
		low, high = min(low, r.Value-within), max(high, r.Value+within)
	}
	const far = 12 // a change is at least a twelfth of the scale
	moved := math.Abs(c.Now.Value - c.Before.Value)
	for _, limit := range []float64{c.Lower, c.Upper} {
		if finite(limit) && max(high, limit)-min(low, limit) <= far*moved {
			low, high = min(low, limit), max(high, limit)
		}
	}
	room := (high - low) / 10
	if room == 0 {
		room = 1
	}
	return low - room, high + room, nil
}

// drawLimits draws what is allowed, within the scale, as a pale area with its edges.
func (c *Change) drawLimits(d *drawing, f *frame) {
	if !finite(c.Lower) && !finite(c.Upper) {
		return
	}
	from, to := f.left, f.right
	var edges []float64
	if x := f.at(c.Lower, 0).x; finite(c.Lower) && x > f.left {
		from = min(x, f.right)
		edges = append(edges, from)
	}
	if x := f.at(c.Upper, 0).x; finite(c.Upper) && x < f.right {
		to = max(x, f.left)
		edges = append(edges, to)
	}
	if from < to {
		d.area(pale, spot{from, f.top}, spot{to, f.top}, spot{to, f.bottom}, spot{from, f.bottom})
	}
	for _, x := range edges {
		d.line(bound, 1.5, 0, spot{x, 0}, spot{x, changeHeight})
	}
}

func (c *Change) drawReach(d *drawing, f *frame, r Figure, role role, y float64) {
	if !finite(r.Within) {
		return
	}
	from, to := f.at(r.Value-r.Within, 0).x, f.at(r.Value+r.Within, 0).x
	d.line(role, 2, 0, spot{from, y}, spot{to, y})
	for _, x := range []float64{from, to} {
		d.line(role, 1, 0, spot{x, y - 3}, spot{x, y + 3})
	}
}
