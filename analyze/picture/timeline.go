package picture

import (
	"fmt"
	"io"
	"makebreak/rig/words"
	"math"
	"slices"
	"strconv"
)

// Timeline shows when in a run something happened, a lane for each kind of it.
type Timeline struct {
	Heading string
	About   string   // what happened, in words
	Words   []string // below the heading
	// First and Last are the cycles between which the run was measured.
	First, Last int
	Lanes       []FailureLane
	Gaps        []Gap
	// When says at what time a cycle was, in words for a second scale; nil: not known.
	When func(cycle int) string
}

// FailureLane is a row of marks.
type FailureLane struct {
	Name  string
	Count string        // at its end, as in "20 of 2 000"
	Marks []FailureMark // rising
	// Width is how many cycles a mark covers at most: its row of cycles begins after a
	// multiple of it.
	Width int
}

// FailureMark is a number of cycles within a row of them.
type FailureMark struct {
	Span
	N int
}

const (
	laneHeight = 46.0
	laneMarks  = 24.0 // of which so much is marks
	// singleMarks is how many marks a lane has one by one, and laneBins into how many rows
	// of cycles more are counted.
	singleMarks = 60
	laneBins    = 12
)

// Inline writes the time line as an SVG element for a page that holds Style.
func (t *Timeline) Inline(w io.Writer) error {
	d, err := t.drawing()
	if err != nil {
		return err
	}
	return d.svg(w, false)
}

func (t *Timeline) drawing() (*drawing, error) {
	if len(t.Lanes) == 0 || t.First < 1 || t.Last < t.First {
		return nil, fmt.Errorf("%s: nothing to draw", t.Heading)
	}
	d := &drawing{title: t.Heading, about: t.About}
	top := d.heading(mediumText, t.Words...) + 26 + gapRows(t.Gaps)
	f := &frame{left: 8, right: across - 74, top: top, bottom: top + laneHeight*float64(len(t.Lanes)) + 4,
		fromX: float64(t.First) - 0.5, toX: float64(t.Last) + 0.5, fromY: 0, toY: 1}
	d.height = f.bottom + 28
	f.open(t.Gaps)
	t.drawScale(d, f)
	for i := range t.Lanes {
		y := f.top + laneHeight*float64(i+1)
		marks := *f
		marks.top, marks.bottom = y-laneMarks, y
		marks.drawGaps(d, t.Gaps)
		t.Lanes[i].draw(d, f, y)
	}
	f.labelGaps(d, t.Gaps)
	return d, nil
}

// drawScale draws the cycles across, and below them when they were.
func (t *Timeline) drawScale(d *drawing, f *frame) {
	ticks := cyclesOf(t.First, f.toX)
	f.axes(d, ticks, nil, "cycle", "")
	if t.When == nil {
		return
	}
	d.height += 18
	free := math.Inf(-1)
	for _, x := range ticks {
		p := f.at(x.value, 0)
		words := t.When(int(x.value))
		half := widthOf(words, smallText) / 2
		at, a := p.x, middle
		if at-half < 0 {
			at, a = 0, start
		}
		left := at - half
		if a == start {
			left = 0
		}
		if words == "" || left < free || left+2*half > across {
			continue
		}
		d.text(soft, spot{at, f.bottom + 34}, smallText, a, words)
		free = left + 2*half + labelGap
	}
}

// draw draws a lane whose marks stand on a line at y, its name above them.
func (l *FailureLane) draw(d *drawing, f *frame, y float64) {
	d.line(rule, 1, 0, spot{f.left, y}, spot{f.right, y})
	d.text(ink, spot{f.left + 4, y - laneMarks - 5}, smallText, start, l.Name)
	d.text(ink, spot{f.right - 4, y - laneMarks - 5}, smallText, end, l.Count)
	if len(l.Marks) <= singleMarks && !slices.ContainsFunc(l.Marks, func(m FailureMark) bool { return m.N > 1 }) {
		for _, m := range l.Marks {
			x := f.at(float64(m.First), 0).x
			d.line(bound, 1.5, 0, spot{x, y - laneMarks + 6}, spot{x, y})
		}
		return
	}
	l.drawBins(d, f, y)
}

// drawBins draws how many there are in each of some rows of cycles, as bars with the number.
func (l *FailureLane) drawBins(d *drawing, f *frame, y float64) {
	bins := l.Bins(int(math.Round(f.toX - f.fromX)))
	most := 0
	for _, b := range bins {
		most = max(most, b.N)
	}
	for _, b := range bins {
		from, to := f.at(float64(b.First)-0.5+1e-6, 0).x+1, f.at(math.Min(float64(b.Last)+0.5, f.toX), 0).x-1
		if b.N == 0 || to <= from {
			continue
		}
		high := math.Max(1.5, (laneMarks-smallText-2)*float64(b.N)/float64(most))
		d.area(outer, spot{from, y - high}, spot{to, y - high}, spot{to, y}, spot{from, y})
		d.line(bound, 1.5, 0, spot{from, y - high}, spot{to, y - high})
		count := words.Grouped(strconv.Itoa(b.N))
		if widthOf(count, smallText) < to-from {
			d.text(ink, spot{(from + to) / 2, y - high - 3}, smallText, middle, count)
		}
	}
}

// Bins are how many there are in rows of cycles of one length, a multiple of the marks' width,
// of which so many cycles make about a dozen.
func (l *FailureLane) Bins(cycles int) []FailureMark {
	width := max(1, l.Width)
	each := max(width, (cycles/laneBins+width-1)/width*width)
	var out []FailureMark
	for _, m := range l.Marks {
		at := (m.First - 1) / each
		if n := len(out); n == 0 || (out[n-1].First-1)/each != at {
			out = append(out, FailureMark{Span: Span{at*each + 1, (at + 1) * each}})
		}
		out[len(out)-1].N += m.N
	}
	return out
}
