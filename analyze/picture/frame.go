package picture

import (
	"math"
	"slices"
)

// frame is the field of a drawing between its axes.
type frame struct {
	left, right, top, bottom float64
	fromX, toX, fromY, toY   float64 // the scales' ends, in the values' units
	taken                    []box   // by labels
	marked                   []spot  // places that labels should not cover
	// gaps are the values across, rising, at which the axis is cut for a gap of gapWidth.
	gaps []float64
}

// at places a value.
func (f *frame) at(x, y float64) spot {
	wide, before := gapWidth*float64(len(f.gaps)), 0.0
	for _, g := range f.gaps {
		if x > g {
			before += gapWidth
		}
	}
	return spot{
		f.left + (x-f.fromX)/(f.toX-f.fromX)*(f.right-f.left-wide) + before,
		f.bottom - (y-f.fromY)/(f.toY-f.fromY)*(f.bottom-f.top),
	}
}

// axes draws the frame, its grid and the ticks' labels, with the units once, at the
// axes' ends.
func (f *frame) axes(d *drawing, acrossTicks, upTicks []tick, acrossUnit, upUnit string) {
	free := math.Inf(-1) // from where on the labels below leave room
	for _, t := range acrossTicks {
		p := f.at(t.value, f.fromY)
		d.line(rule, 1, 0, p, spot{p.x, f.top})
		half := widthOf(t.label, smallText) / 2
		if t.label != "" && p.x-half > free {
			d.text(ink, spot{p.x, f.bottom + 17}, smallText, middle, t.label)
			free = p.x + half + labelGap
		}
	}
	for _, t := range upTicks {
		p := f.at(f.fromX, t.value)
		d.line(rule, 1, 0, p, spot{f.right, p.y})
		d.text(ink, spot{f.left - 7, p.y + 4}, smallText, end, t.label)
	}
	d.line(soft, 1, 0, spot{f.left, f.top}, spot{f.left, f.bottom}, spot{f.right, f.bottom})
	d.text(soft, spot{across, f.bottom + 17}, smallText, end, acrossUnit)
	d.text(soft, spot{max(f.left-7, widthOf(upUnit, smallText)), f.top - 10}, smallText, end, upUnit)
}

// labelGap is the least room between two labels of an axis.
const labelGap = 8

// box is the ground of a label.
type box struct{ left, top, right, bottom float64 }

// label is a text that may stand in one of several places.
type label struct {
	words string
	// places are tried in this order.
	places []place
}

type place struct {
	at     spot
	anchor anchor
}

// around are the places to the right of a spot, to its left, and above and below it.
func around(p spot) []place {
	const off = 12
	return []place{{spot{p.x + off, p.y + 4}, start}, {spot{p.x - off, p.y + 4}, end},
		{spot{p.x, p.y - off}, middle}, {spot{p.x, p.y + off + 8}, middle},
		{spot{p.x + off, p.y - off}, end}, {spot{p.x - off, p.y - off}, start},
		{spot{p.x + off, p.y + off + 8}, end}, {spot{p.x - off, p.y + off + 8}, start}}
}

// mark keeps labels off a line.
func (f *frame) mark(points ...spot) {
	const step = 5
	for i, p := range points {
		f.marked = append(f.marked, p)
		if i == 0 {
			continue
		}
		q := points[i-1]
		n := math.Ceil(math.Hypot(p.x-q.x, p.y-q.y) / step)
		for k := 1.0; k < n; k++ {
			f.marked = append(f.marked, spot{q.x + (p.x-q.x)*k/n, q.y + (p.y-q.y)*k/n})
		}
	}
}

// label writes a label where it covers least, on a ground of its own, and returns whether
// it covers nothing there.
func (f *frame) label(d *drawing, l label) bool {
	var best place
	least := math.Inf(1)
	for _, p := range l.places {
		if c := f.covered(boxOf(p, l.words)); c < least {
			best, least = p, c
		}
	}
	b := boxOf(best, l.words)
	f.taken = append(f.taken, b)
	d.text(ink, best.at, smallText, best.anchor, l.words)
	return least == 0
}

// crossing is how many marks a label may cover to stand beside what it names: those of a line or
// two that cross it.
const crossing = 12

// clear reports whether a label has a place where it covers no more than a line that crosses it.
func (f *frame) clear(words string, places []place) bool {
	return slices.ContainsFunc(places, func(p place) bool { return f.covered(boxOf(p, words)) <= crossing })
}

func boxOf(p place, words string) box {
	w := widthOf(words, smallText)
	left := p.at.x
	switch p.anchor {
	case middle:
		left -= w / 2
	case end:
		left -= w
	}
	return box{left, p.at.y - smallText, left + w, p.at.y + 4}
}

// covered says how much a label would cover: marks one each, other labels and the
// frame's edge more than any of them.
func (f *frame) covered(b box) float64 {
	const much = 1000
	n := 0.0
	if b.left < f.left || b.right > f.right+1 || b.top < f.top-20 || b.bottom > f.bottom+3 {
		n += 1000 * much
	}
	for _, t := range f.taken {
		if b.left < t.right && t.left < b.right && b.top < t.bottom && t.top < b.bottom {
			n += much
		}
	}
	for _, m := range f.marked {
		if m.x > b.left-3 && m.x < b.right+3 && m.y > b.top-2 && m.y < b.bottom+2 {
			n++
		}
	}
	return n
}
