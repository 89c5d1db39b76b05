package picture

import (
	"cmp"
	"slices"
)

// open makes room for gaps on the axis across: for the longest, where there are many.
func (f *frame) open(gaps []Gap) {
	longest := slices.Clone(gaps)
	slices.SortStableFunc(longest, func(a, b Gap) int { return cmp.Compare(b.Long, a.Long) })
	for _, g := range longest {
		at := float64(g.After) + 0.5
		if len(f.gaps) < mostGaps && !slices.Contains(f.gaps, at) {
			f.gaps = append(f.gaps, at)
		}
	}
	slices.Sort(f.gaps)
}

// drawGaps draws interruptions: those with room as a hatched stripe, others as a dashed line.
func (f *frame) drawGaps(d *drawing, gaps []Gap) {
	for _, g := range gaps {
		at := float64(g.After) + 0.5
		x := f.at(at, f.fromY).x
		if !slices.Contains(f.gaps, at) {
			d.line(soft, 1, 3, spot{x, f.top}, spot{x, f.bottom})
			continue
		}
		stripe := box{x, f.top, x + gapWidth, f.bottom}
		d.area(sheet, spot{x, f.top}, spot{stripe.right, f.top}, spot{stripe.right, f.bottom}, spot{x, f.bottom})
		d.hatch(soft, stripe, 5)
		for _, x := range []float64{stripe.left, stripe.right} {
			d.line(soft, 1, 0, spot{x, f.top}, spot{x, f.bottom})
		}
		f.taken = append(f.taken, stripe)
	}
}

// labelGaps writes how long interruptions were, the longest first, where there is room.
func (f *frame) labelGaps(d *drawing, gaps []Gap) {
	longest := slices.Clone(gaps)
	slices.SortStableFunc(longest, func(a, b Gap) int { return cmp.Compare(b.Long, a.Long) })
	for _, g := range longest {
		at := float64(g.After) + 0.5
		x := f.at(at, f.fromY).x
		if slices.Contains(f.gaps, at) {
			x += gapWidth / 2
		}
		f.labelGap(d, x, g.Words)
	}
}

// labelGap writes how long a gap was above it, where there is room in one of two rows.
func (f *frame) labelGap(d *drawing, x float64, words string) {
	for _, y := range []float64{f.top - 5, f.top - 5 - gapRow} {
		for _, p := range []place{{spot{x, y}, middle}, {spot{x + gapWidth/2, y}, end}, {spot{x - gapWidth/2, y}, start}} {
			b := boxOf(p, words)
			b.left, b.right = b.left-labelGap/2, b.right+labelGap/2
			if b.left < f.left || b.right > across || slices.ContainsFunc(f.taken, b.over) {
				continue
			}
			d.text(ink, p.at, smallText, p.anchor, words)
			f.taken = append(f.taken, b)
			return
		}
	}
}

// gapRow is the height of a row of gaps' lengths.
const gapRow = smallText + 4

// gapRows is the height that the lengths of gaps need above what they need anyway.
func gapRows(gaps []Gap) float64 {
	if len(gaps) > 1 {
		return gapRow
	}
	return 0
}

// over reports whether two boxes cover some of the same ground.
func (b box) over(o box) bool {
	return b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom
}
