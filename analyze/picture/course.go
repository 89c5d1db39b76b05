package picture

import (
	"fmt"
	"io"
	"math"
	"slices"
)

// Place is a value at a cycle.
type Place struct {
	Cycle float64 // counted from 1; a block's is the mean of its cycles
	Value float64 // in the course's unit
}

// Course is how one quantity went over a run's cycles.
type Course struct {
	Heading string
	About   string   // what happened, in words
	Words   []string // below the heading
	Unit    string
	// Bands are the spread of successive cycles' values. Where there are none, Values are
	// drawn as dots.
	Bands  []Spread
	Values []Place
	// Behind is how the quantity went in another run; nil: nothing is drawn of one.
	Behind *Behind
	// Fits are what is said to have happened: a drift's line, or the levels before and
	// after a step.
	Fits []Fit
	// Limits are drawn where they are not far from the values.
	Limits []Limit
	Guard  float64 // how close to a limit a value is undecided, in the course's unit; 0: not known
	Ahead  *Ahead  // nil: no limit will be reached
	// Out are the cycles out of the limits, and FirstOut is the first of them; 0: none.
	Out      []Span
	FirstOut int
	// Extremes are single values that may lie off the drawing.
	Extremes []Extreme
	Gaps     []Gap
	// First and Last are the cycles between which the run was measured.
	First, Last int
}

// Spread is that of the values of the cycles from First to Last.
type Spread struct {
	First, Last int
	Values      [len(StripQuantiles)]float64 // in the course's unit, at StripQuantiles
}

// Behind is another run's course: its median as a dashed line and the middle nine tenths of its
// values between thin ones, or single values as open dots.
type Behind struct {
	Bands  []Spread
	Values []Place // where there are no bands
	Words  string  // which run it is
}

// Fit is a line through values, with the edges of its interval, both empty where it has none.
type Fit struct {
	Line, Low, High []Place
	Words           string // its label, as in "drift"; empty: none
}

// Limit is a limit's value and its words, as in "max 6 ms".
type Limit struct {
	Value float64 // in the course's unit
	Upper bool    // values above it are out of the limit
	Words string
}

// Ahead is where a drift will reach a limit if it goes on.
type Ahead struct {
	From Place // where it stands now
	To   Place // on the limit
	// Earliest and Latest are the cycles between which it reaches the limit; 0: not known.
	Earliest, Latest float64
	Words            string
}

// Span is a row of cycles, from 1.
type Span struct{ First, Last int }

// Extreme is a single value with its words, as in "lowest 0.1 V, cycle 97".
type Extreme struct {
	Place
	Words string
}

// Gap is an interruption after a cycle, with its length in words.
type Gap struct {
	After int // cycle; 0: before the first
	Words string
	// Long is how long it was against others, in any unit: the longest are labelled first.
	Long float64
}

const (
	courseHeight = 200 // of what lies below the words
	// nearLimit is by how many times the values' own range a limit may lie off it.
	nearLimit = 2
	// farLimit is how many times further off it may lie where it was missed.
	farLimit = 5
	// gapWidth is a gap's width, and mostGaps how many have one. Of more the longest have.
	gapWidth = 10.0
	mostGaps = 12
	// farAhead is up to how many times the cycles measured the drawing goes.
	farAhead = 3.5
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
	if !(low < high) || c.First < 1 || c.Last < c.First {
		return nil, fmt.Errorf("%s: no values to draw", c.Heading)
	}
	d := &drawing{title: c.Heading, about: c.About}
	top := d.heading(mediumText, c.Words...) + 30 + gapRows(c.Gaps)
	d.height = top + courseHeight
	f := &frame{left: 64, right: across - 74, top: top, bottom: d.height - 26,
		fromX: float64(c.First) - 0.5, toX: c.end(), fromY: low, toY: high}
	f.open(c.Gaps)
	c.drawAllowed(d, f)
	f.axes(d, cyclesOf(c.First, f.toX), ticksOf(low, high), "cycle", c.Unit)
	c.drawUnseen(d, f)
	c.drawBands(d, f)
	c.drawValues(d, f)
	c.drawBehind(d, f)
	c.drawLimits(d, f)
	c.drawFits(d, f)
	c.drawOut(d, f)
	f.drawGaps(d, c.Gaps)
	f.labelGaps(d, c.Gaps)
	c.drawLabels(d, f)
	return d, nil
}

// end is the last cycle on the drawing.
func (c *Course) end() float64 {
	last := float64(c.Last) + 0.5
	if b := c.Behind; b != nil {
		last = math.Max(last, b.last()+0.5)
	}
	if c.Ahead == nil {
		return last
	}
	most := farAhead * last
	end := math.Max(last, 1.08*c.Ahead.To.Cycle)
	if c.Ahead.Latest > 0 {
		end = math.Max(end, math.Min(1.02*c.Ahead.Latest, last+1.6*(end-last)))
	}
	return math.Min(end, most)
}

// drawAllowed draws what the limits allow as a pale area, its guard bands hatched. A limit off
// the drawing is named at the edge beyond which it lies.
func (c *Course) drawAllowed(d *drawing, f *frame) {
	low, high := f.fromY, f.toY
	for _, l := range c.Limits {
		if l.Upper {
			high = math.Min(high, l.Value)
		} else {
			low = math.Max(low, l.Value)
		}
	}
	if len(c.Limits) == 0 || low >= high {
		return
	}
	d.area(pale, f.box(f.fromX, f.toX, low, high)...)
	for _, l := range c.shown(f) {
		from, to := l.Value, l.Value
		if l.Upper {
			from = math.Max(l.Value-c.Guard, low)
		} else {
			to = math.Min(l.Value+c.Guard, high)
		}
		if a, b := f.at(f.fromX, to), f.at(f.toX, from); b.y-a.y >= 1 {
			d.hatch(bound, box{a.x, a.y, b.x, b.y}, 4)
		}
	}
}

// labelFar names the limits that lie off the drawing, at its edge.
func (c *Course) labelFar(d *drawing, f *frame) {
	for _, l := range c.Limits {
		y, way := f.top+smallText+2, "above"
		switch {
		case l.Value >= f.toY:
		case l.Value <= f.fromY:
			y, way = f.bottom-6, "below"
		default:
			continue
		}
		f.label(d, label{l.Words + " lies " + way, []place{{spot{f.right - 4, y}, end}, {spot{f.left + 6, y}, start}, {spot{(f.left + f.right) / 2, y}, middle}}})
	}
}

// box is the corners of a field.
func (f *frame) box(fromX, toX, fromY, toY float64) []spot {
	return []spot{f.at(fromX, fromY), f.at(toX, fromY), f.at(toX, toY), f.at(fromX, toY)}
}

// drawBands draws the middle nine tenths and the middle half of the values as areas and the
// median as a line, each band as wide as its cycles.
func (c *Course) drawBands(d *drawing, f *frame) {
	if len(c.Bands) == 0 {
		return
	}
	c.drawBetween(d, f, outer, 0, 4)
	c.drawBetween(d, f, inner, 1, 3)
	for _, run := range c.unbroken(f) {
		var line []spot
		for _, b := range run {
			line = append(line, f.at(float64(b.First)-0.5, f.inside(b.Values[2])), f.at(float64(b.Last)+0.5, f.inside(b.Values[2])))
		}
		d.line(ink, 1.5, 0, line...)
		f.mark(line...)
	}
}

// last is the last cycle.
func (b *Behind) last() float64 {
	last := 0.0
	for _, x := range b.Bands {
		last = math.Max(last, float64(x.Last))
	}
	for _, x := range b.Values {
		last = math.Max(last, x.Cycle)
	}
	return last
}

// drawBehind draws another run's course over the bands, so that both are seen.
func (c *Course) drawBehind(d *drawing, f *frame) {
	if c.Behind == nil {
		return
	}
	for _, i := range []int{0, 4, 2} {
		var line []spot
		for _, b := range c.Behind.Bands {
			line = append(line, f.at(float64(b.First)-0.5, f.inside(b.Values[i])), f.at(float64(b.Last)+0.5, f.inside(b.Values[i])))
		}
		if i == 2 {
			d.line(fitted, 2, 6, line...)
		} else {
			d.line(fitted, 1, 2, line...)
		}
		f.mark(line...)
	}
	for _, v := range c.Behind.Values {
		p := f.at(v.Cycle, f.inside(v.Value))
		d.dot(fitted, p, 2.5)
		d.dot(sheet, p, 1.5)
		f.mark(p)
	}
}

// labelBehind names the other run beside its median.
func (c *Course) labelBehind(d *drawing, f *frame) {
	b := c.Behind
	if b == nil {
		return
	}
	var along []spot
	for _, x := range b.Bands {
		along = append(along, f.at(float64(x.First+x.Last)/2, f.inside(x.Values[2])))
	}
	for _, x := range b.Values {
		along = append(along, f.at(x.Cycle, f.inside(x.Value)))
	}
	if len(along) == 0 {
		return
	}
	var places []place
	for _, off := range []float64{-8, smallText + 6, -26, smallText + 24, -44, smallText + 42} {
		for _, p := range []spot{along[len(along)/3], along[0], along[len(along)/2]} {
			places = append(places, place{spot{math.Max(p.x, f.left+6), p.y + off}, start})
		}
	}
	places = append(places, place{spot{f.left + 6, f.bottom - 8}, start}, place{spot{f.left + 6, f.top + smallText + 2}, start})
	f.label(d, label{b.Words, places})
}

// drawBetween fills the area between two of the bands' quantiles.
func (c *Course) drawBetween(d *drawing, f *frame, r role, lower, upper int) {
	for _, run := range c.unbroken(f) {
		var up, down []spot
		for _, b := range run {
			from, to := float64(b.First)-0.5, float64(b.Last)+0.5
			up = append(up, f.at(from, f.inside(b.Values[upper])), f.at(to, f.inside(b.Values[upper])))
			down = append(down, f.at(from, f.inside(b.Values[lower])), f.at(to, f.inside(b.Values[lower])))
		}
		f.mark(up...)
		f.mark(down...)
		slices.Reverse(down)
		d.area(r, append(up, down...)...)
	}
}

// unbroken are the bands in rows between the gaps; a band that goes over a gap is in both.
func (c *Course) unbroken(f *frame) [][]Spread {
	var out [][]Spread
	var row []Spread
	next := 0
	for _, b := range c.Bands {
		for next < len(f.gaps) && f.gaps[next] < float64(b.Last) {
			after := int(math.Floor(f.gaps[next]))
			next++
			if after >= b.First {
				row = append(row, Spread{b.First, after, b.Values})
				b.First = after + 1
			}
			if len(row) > 0 {
				out, row = append(out, row), nil
			}
		}
		if n := len(row); n > 0 && c.apart(f, row[n-1].Last, b.First) {
			out, row = append(out, row), nil
		}
		row = append(row, b)
	}
	if len(row) > 0 {
		out = append(out, row)
	}
	return out
}

// apart reports whether a quantity had no value for so long that it is drawn.
func (c *Course) apart(f *frame, last, first int) bool {
	return float64(first-last) > (f.toX-f.fromX)/50
}

// drawUnseen hatches where the quantity had no value for long.
func (c *Course) drawUnseen(d *drawing, f *frame) {
	last := c.First - 1
	unseen := func(first int) {
		if !c.apart(f, last, first) {
			return
		}
		from, to := f.at(float64(last)+0.5, f.fromY).x, f.at(float64(first)-0.5, f.fromY).x
		b := box{from, f.top, to, f.bottom}
		d.hatch(soft, b, 8)
		f.label(d, label{"no value", []place{{spot{(from + to) / 2, (f.top + f.bottom) / 2}, middle}}})
	}
	for _, b := range c.Bands {
		unseen(b.First)
		last = b.Last
	}
	for _, v := range c.Values {
		if len(c.Bands) == 0 {
			unseen(int(v.Cycle))
			last = int(v.Cycle)
		}
	}
	unseen(c.Last + 1)
}

// inside is a value, or the frame's edge where that comes first.
func (f *frame) inside(value float64) float64 { return clamp(value, f.fromY, f.toY) }

// drawValues draws single values as dots, where there are no bands. One that is off the drawing
// is a mark at its edge.
func (c *Course) drawValues(d *drawing, f *frame) {
	if len(c.Bands) > 0 {
		return
	}
	var dots []spot
	for _, v := range c.Values {
		if v.Value < f.fromY || v.Value > f.toY {
			d.pointer(f, v)
			continue
		}
		dots = append(dots, f.at(v.Cycle, v.Value))
	}
	radius := 1.5
	if len(dots) > 250 {
		radius = 1
	}
	d.dots(ink, radius, distinct(dots)...)
	for _, p := range dots {
		f.mark(p)
	}
}

// pointer marks a value off the drawing by a triangle at its edge, and returns where.
func (d *drawing) pointer(f *frame, v Place) spot {
	p := f.at(v.Cycle, f.inside(v.Value))
	away := 8.0
	if v.Value > f.toY {
		away = -8
	}
	d.area(bound, p, spot{p.x - 4, p.y - away}, spot{p.x + 4, p.y - away})
	f.taken = append(f.taken, box{p.x - 4, math.Min(p.y, p.y-away), p.x + 4, math.Max(p.y, p.y-away)})
	return spot{p.x, p.y - away/2}
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

// drawLimits draws the limits as dashed lines.
func (c *Course) drawLimits(d *drawing, f *frame) {
	for _, l := range c.shown(f) {
		edge := []spot{f.at(f.fromX, l.Value), f.at(f.toX, l.Value)}
		d.line(bound, 1.5, 5, edge...)
		f.mark(edge...)
	}
}

// drawFits draws lines through the values with their intervals, and how they go on.
func (c *Course) drawFits(d *drawing, f *frame) {
	for _, fit := range c.Fits {
		for _, edge := range [][]Place{fit.Low, fit.High} {
			f.stroke(d, 1, 3, f.clip(edge)...)
		}
		f.stroke(d, 2, 0, f.clip(fit.Line)...)
	}
	a := c.Ahead
	if a == nil {
		return
	}
	for _, cycle := range []float64{a.Earliest, a.Latest} {
		if cycle > a.From.Cycle {
			f.stroke(d, 1, 3, f.clip([]Place{a.From, {cycle, a.To.Value}})...)
		}
	}
	line := f.clip([]Place{a.From, a.To})
	f.stroke(d, 2, 5, line...)
	now := []spot{f.at(float64(c.Last)+0.5, f.fromY), f.at(float64(c.Last)+0.5, f.toY)}
	d.line(soft, 1, 0, now...)
	f.mark(now...)
	if a.To.Cycle <= f.toX {
		p := f.at(a.To.Cycle, a.To.Value)
		d.dot(sheet, p, 5)
		d.dot(fitted, p, 3.5)
	}
}

// stroke draws a line that was worked out, on a ground of its own so that it is seen on bands.
func (f *frame) stroke(d *drawing, width, dash float64, points ...spot) {
	if dash == 0 {
		d.line(sheet, width+2, 0, points...)
	}
	d.line(fitted, width, dash, points...)
	f.mark(points...)
}

// clip is the part of a line that lies within the frame.
func (f *frame) clip(line []Place) []spot {
	var out []spot
	for i, p := range line {
		if i > 0 {
			q := line[i-1]
			a, b := 0.0, 1.0 // the part of the way from q to p that lies inside
			for _, edge := range [][3]float64{{q.Cycle, p.Cycle, f.toX}, {q.Value, p.Value, f.toY}, {-q.Cycle, -p.Cycle, -f.fromX}, {-q.Value, -p.Value, -f.fromY}} {
				from, to, most := edge[0], edge[1], edge[2]
				switch {
				case from > most && to > most:
					b = -1
				case to > most:
					b = math.Min(b, (most-from)/(to-from))
				case from > most:
					a = math.Max(a, (most-from)/(to-from))
				}
			}
			if a < b {
				part := func(s float64) spot {
					return f.at(q.Cycle+s*(p.Cycle-q.Cycle), f.inside(q.Value+s*(p.Value-q.Value)))
				}
				for k := range 9 { // bent by the gaps on its way
					out = append(out, part(a+(b-a)*float64(k)/8))
				}
			}
		}
	}
	return out
}

// drawOut marks the cycles out of the limits at the lower edge, and the first of them from
// there up.
func (c *Course) drawOut(d *drawing, f *frame) {
	var ends []spot
	for _, s := range c.Out {
		x := f.at((float64(s.First)+float64(s.Last))/2, f.fromY).x
		if n := len(ends); n == 0 || x-ends[n-1].x >= 1 {
			ends = append(ends, spot{x, f.bottom})
		}
	}
	for _, p := range ends {
		d.line(bound, 1, 0, p, spot{p.x, f.bottom - 7})
	}
	if len(ends) > 0 {
		f.taken = append(f.taken, box{ends[0].x, f.bottom - 7, ends[len(ends)-1].x, f.bottom})
	}
	if c.FirstOut == 0 {
		return
	}
	line := []spot{f.at(float64(c.FirstOut), f.fromY), f.at(float64(c.FirstOut), f.toY)}
	d.line(bound, 1.5, 2, line...)
	f.mark(line...)
}

// drawLabels names limits, fits and marks beside them.
func (c *Course) drawLabels(d *drawing, f *frame) {
	c.labelBands(d, f)
	for _, l := range c.shown(f) {
		y := f.at(f.toX, l.Value).y
		var places []place
		for _, y := range []float64{y - 5, y + smallText + 3} {
			places = append(places, place{spot{f.right - 3, y}, end}, place{spot{f.left + 6, y}, start}, place{spot{(f.left + f.right) / 2, y}, middle})
		}
		f.label(d, label{l.Words, places})
	}
	c.labelFar(d, f)
	if c.FirstOut > 0 {
		words := fmt.Sprintf("first out of its limit: cycle %d", c.FirstOut)
		near, far := f.beside(f.at(float64(c.FirstOut), f.fromY).x, 6)
		if !f.clear(words, near) {
			near = append(near, far...)
		}
		f.label(d, label{words, near})
	}
	for _, e := range c.Extremes {
		if e.Value < f.fromY || e.Value > f.toY {
			p := d.pointer(f, e.Place)
			f.label(d, label{e.Words, []place{{spot{p.x + 8, p.y + 4}, start}, {spot{p.x - 8, p.y + 4}, end}, {spot{p.x + 8, p.y - 12}, start}, {spot{p.x - 8, p.y - 12}, end}}})
		}
	}
	c.labelFits(d, f)
	c.labelBehind(d, f)
}

// beside are places along a line upright at x, the nearest to the top first, and places farther
// off.
func (f *frame) beside(x, off float64) (near, far []place) {
	for y := f.top + smallText + 2; y < f.bottom-8; y += 18 {
		near = append(near, place{spot{x + off, y}, start}, place{spot{x - off, y}, end})
	}
	for _, g := range f.gaps { // where gaps lie in the way, behind them
		if right := f.at(g, f.fromY).x + gapWidth + off; right > x {
			far = append(far, place{spot{right, f.top + smallText + 2}, start}, place{spot{right, f.bottom - 12}, start})
		}
	}
	for _, y := range []float64{f.top + smallText + 2, f.bottom - 12} {
		far = append(far, place{spot{f.left + 6, y}, start}, place{spot{f.right - 3, y}, end})
	}
	outside := func(p place) bool { return p.at.x < f.left || p.at.x > f.right }
	return slices.DeleteFunc(near, outside), slices.DeleteFunc(far, outside)
}

// labelFits names what was worked out.
func (c *Course) labelFits(d *drawing, f *frame) {
	for _, fit := range c.Fits {
		line := f.clip(fit.Line)
		if fit.Words == "" || len(line) == 0 {
			continue
		}
		var places []place
		for _, off := range []float64{-8, smallText + 6, -26, smallText + 24} {
			first, last := line[0], line[len(line)-1]
			places = append(places, place{spot{last.x - 4, last.y + off}, end}, place{spot{first.x + 6, first.y + off}, start})
		}
		f.label(d, label{fit.Words, places})
	}
	if a := c.Ahead; a != nil {
		p := f.at(math.Min(a.To.Cycle, f.toX), f.inside(a.To.Value))
		var places []place
		for _, y := range []float64{p.y - 8, p.y + 18, p.y - 24, p.y + 34, p.y + 50} {
			places = append(places, place{spot{p.x - 6, y}, end}, place{spot{p.x, y}, middle}, place{spot{p.x + 6, y}, start}, place{spot{f.right - 3, y}, end})
		}
		f.label(d, label{a.Words, places})
		now := f.at(float64(c.Last)+0.5, f.fromY)
		f.label(d, label{"measured to here", []place{{spot{now.x + 5, now.y - 6}, start}, {spot{now.x - 5, now.y - 6}, end}, {spot{now.x + 5, f.top + 14}, start}}})
	}
}

// labelBands names the quantiles at the right end of the bands, where there is room.
func (c *Course) labelBands(d *drawing, f *frame) {
	if len(c.Bands) == 0 {
		return
	}
	last := c.Bands[len(c.Bands)-1]
	x := f.at(float64(last.Last)+0.5, f.fromY).x + 5
	var taken []float64
	for _, i := range []int{2, 4, 0, 3, 1} {
		y := f.at(f.toX, f.inside(last.Values[i])).y + 4
		if slices.ContainsFunc(taken, func(other float64) bool { return math.Abs(y-other) < smallText }) {
			continue
		}
		taken = append(taken, y)
		words := fmt.Sprintf("%g %%", 100*StripQuantiles[i])
		if i == 2 {
			words = "median"
		}
		d.text(soft, spot{x, y}, smallText, start, words)
		f.taken = append(f.taken, boxOf(place{spot{x, y}, start}, words))
	}
}

// corners are the least and the greatest value to be shown, with some room. Values that lie
// far off most others are left to marks at the edges.
func (c *Course) corners() (low, high float64) {
	low, high = c.most()
	if half := c.Guard; len(c.Fits) == 0 && high-low < 2*half { // no closer look than the measurement allows
		low, high = (low+high)/2-half, (low+high)/2+half
	}
	reach := nearLimit * (high - low)
	if reach == 0 { // all alike
		reach = math.Abs(high) / 10
	}
	least, most := low-reach, high+reach
	include := func(x float64) {
		if x >= least && x <= most {
			low, high = math.Min(low, x), math.Max(high, x)
		}
	}
	for _, v := range c.Values {
		if len(c.Bands) == 0 {
			include(v.Value)
		}
	}
	if c.FirstOut > 0 { // a limit that was missed is shown from further off
		least, most = low-farLimit*reach, high+farLimit*reach
	}
	for _, l := range c.Limits {
		include(l.Value)
	}
	for _, fit := range c.Fits {
		for _, p := range fit.Line {
			include(p.Value)
		}
	}
	if c.Ahead != nil {
		low, high = math.Min(low, c.Ahead.To.Value), math.Max(high, c.Ahead.To.Value)
	}
	room := (high - low) / 8
	if room == 0 {
		room = math.Max(reach, 1e-12)
	}
	return low - room, high + room
}

// most is the range of the bands, or of nine tenths of the single values.
func (c *Course) most() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	if len(c.Bands) == 0 {
		var all []float64
		for _, v := range c.Values {
			all = append(all, v.Value)
		}
		if slices.Sort(all); len(all) > 0 {
			low, high = all[len(all)/20], all[len(all)-1-len(all)/20]
		}
	}
	bands := c.Bands
	if b := c.Behind; b != nil {
		bands = slices.Concat(bands, b.Bands)
		for _, v := range b.Values {
			low, high = math.Min(low, v.Value), math.Max(high, v.Value)
		}
	}
	for _, b := range bands {
		low, high = math.Min(low, b.Values[0]), math.Max(high, b.Values[len(b.Values)-1])
	}
	return low, high
}
