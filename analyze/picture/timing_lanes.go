package picture

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/unit"
)

// The field of a view, across.
const (
	timingLeft  = 64.0
	timingRight = across - 84.0
	halfGutter  = 20.0                          // right of a view that has half of the drawing
	columns     = int(timingRight - timingLeft) // of one unit
	// dotsFrom is how many units apart samples are at least to be drawn as dots.
	dotsFrom = 4.0
)

// sampled is a sample, at the middle of the time that it is the mean over.
type sampled struct {
	at float64 // seconds after the event
	v  float64 // volts
	// broken says that samples are missing before it; thinned that those before it were
	// thinned out, and it is one of the outermost of them.
	broken, thinned bool
}

// points calls f with the samples from one instant to another, and the next on each side.
func (s *scene) points(t *capture.Trace, from, to capture.Instant, f func(sampled)) {
	half := t.Converter.Span / 2
	usual := usualStep(t, from)
	last := capture.Instant(math.MinInt64)
	emit := func(at capture.Instant, v float64, thinned bool) {
		if v-v != 0 {
			return
		}
		p := sampled{at: s.sec(at.Add(-half)), v: v, thinned: thinned}
		if last > math.MinInt64 && !thinned && at.Sub(last) > 4*usual {
			p.broken = true
		}
		last = at
		f(p)
	}
	reach := capture.Instant(3*usual) + capture.Instant(half)
	for p := range t.Pieces(from-reach, to+reach) {
		if d := p.Sum; d != nil {
			for _, x := range digestPoints(d) {
				emit(x.at, x.v, true)
			}
			continue
		}
		for i, at := range p.At {
			emit(capture.Instant(at), float64(p.V[i]), false)
		}
	}
}

type digestPoint struct {
	at capture.Instant
	v  float64
}

// digestPoints are the samples that a digest still knows, by time.
func digestPoints(d *capture.Digest) []digestPoint {
	all := []digestPoint{{d.From, d.First}, {d.LowAt, d.Low}, {d.HighAt, d.High}, {d.To, d.Last}}
	if d.LowAt > d.HighAt {
		all[1], all[2] = all[2], all[1]
	}
	return all
}

// usualStep is the time between neighbouring samples after an instant, the median of some.
func usualStep(t *capture.Trace, from capture.Instant) time.Duration {
	times, _, _ := t.Near(from, 8, 24)
	var steps []int64
	for i := 1; i < len(times); i++ {
		steps = append(steps, times[i]-times[i-1])
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return time.Duration(steps[len(steps)/2])
}

// voltageLane is the output's voltage over a stretch.
func (s *scene) voltageLane(from, to float64) Lane {
	l := Lane{Signal: s.output.Signal}
	r := reducer{from: from, to: to}
	s.points(s.output, s.instant(from), s.instant(to), r.add)
	l.Lines, l.Unseen = r.end(), r.unseen
	if r.n > 0 && float64(r.n)*dotsFrom < float64(columns) {
		l.Samples = r.inside
	}
	s.addLeftOut(&l, from, to)
	if s.lowest == s.highest {
		s.lowest, s.highest = s.scale(from, to)
	}
	l.Low, l.High = s.lowest, s.highest
	l.Bands = s.bands(from, to)
	if mid := s.mid(); !math.IsNaN(mid) {
		for _, at := range s.crossed {
			if at >= from && at <= to {
				l.Crossed = append(l.Crossed, Point{at, mid})
			}
		}
	}
	l.Levels = s.turnedAt(from, to)
	var reach reaches
	for _, b := range s.behind {
		if b.output != nil {
			reach.begin(from, to)
			b.points(b.output, b.instant(from), b.instant(to), func(p sampled) {
				if p.broken {
					reach.lift()
				}
				reach.add(p.at, p.v)
			})
		}
	}
	l.Behind = reach.all(from, to)
	return l
}

// leastUnseen is how many units wide a stretch without samples is at least to be drawn as one.
const leastUnseen = 3.0

// addLeftOut adds where samples were left out on purpose, and drops what is too narrow to be
// drawn. What lies between samples else is missing.
func (s *scene) addLeftOut(l *Lane, from, to float64) {
	left := s.leftOut(from, to)
	l.Unseen = slices.DeleteFunc(l.Unseen, func(u Unseen) bool {
		return u.Words == "" && slices.ContainsFunc(left, func(x Unseen) bool { return u.From < x.To && x.From < u.To })
	})
	for i := range l.Unseen {
		if l.Unseen[i].Words == "" {
			l.Unseen[i].Words = "samples missing"
		}
	}
	l.Unseen = append(l.Unseen, left...)
	l.Unseen = slices.DeleteFunc(l.Unseen, func(u Unseen) bool {
		return (u.To-u.From)/(to-from)*float64(columns) < leastUnseen
	})
	slices.SortFunc(l.Unseen, func(a, b Unseen) int { return cmp.Compare(a.From, b.From) })
}

// leftOut is where samples were left out on purpose, and where the supply was not as it was set.
func (s *scene) leftOut(from, to float64) []Unseen {
	var out []Unseen
	add := func(a, b float64, words string) {
		if a, b = math.Max(a, from), math.Min(b, to); a < b {
			out = append(out, Unseen{a, b, words})
		}
	}
	c := s.of.Capture
	if c.Kept != nil {
		at := s.sec(c.Start)
		for _, k := range c.Kept {
			add(at, s.sec(k.From), "samples left out")
			at = s.sec(k.To)
		}
		add(at, s.sec(c.End), "samples left out")
	}
	for _, u := range c.Unsupplied {
		add(s.sec(u.From), s.sec(u.To), "supply not as set")
	}
	return out
}

// scale is from which to which voltage the output's lane goes: all that it does in a stretch,
// and what it should do.
func (s *scene) scale(from, to float64) (low, high float64) {
	low, high = 0, 1
	include := func(v float64) {
		if !math.IsNaN(v) {
			low, high = math.Min(low, v), math.Max(high, v)
		}
	}
	for _, x := range append([]*scene{s}, s.behind...) {
		if x.output != nil {
			x.points(x.output, x.instant(from), x.instant(to), func(p sampled) { include(p.v) })
		}
	}
	include(s.low)
	include(s.high)
	if math.IsNaN(s.mid()) {
		include(2 * s.threshold())
	}
	for _, q := range []analyze.Quantity{analyze.LowLevel, analyze.HighLevel} {
		if s.plan != nil {
			l := s.plan.Limits.Of(q)
			include(l.Lower)
			include(l.Upper)
		}
	}
	room := (high - low) / 16
	if low < 0 {
		low -= room
	}
	return low, high + room
}

// bands are what the output had to keep to: by the demand before the event until it, by that
// at the event from when the output had to be there.
func (s *scene) bands(from, to float64) []Band {
	var out []Band
	add := func(x analyze.Expectation, a, b float64) {
		high, named := x.Demand.State()
		a, b = math.Max(a, from), math.Min(b, to)
		if named && a < b {
			if band, ok := s.bandOf(high, a, b); ok {
				out = append(out, band)
			}
		}
	}
	if m := s.onRamp(); m != nil {
		if !m.Limit.None() {
			out = append(out, bandWithin(m.Limit, from, to, m.Expanded))
		}
		return out
	}
	x, prior := s.expect, s.prior()
	if x.Demand == analyze.Unmoved {
		add(prior, from, to)
		return out
	}
	due := 0.0
	if l := s.delayLimit().Upper; !math.IsNaN(l) {
		due = l
	}
	if len(s.crossed) > 0 && (due == 0 || s.crossed[0] < due) {
		due = s.crossed[0]
	}
	add(prior, from, 0)
	switch {
	case x.Demand == analyze.Pulse:
		start := due
		if len(s.crossed) > 0 {
			start = s.crossed[0]
		}
		span := x.Span()
		add(x, due, start+span.Lower)
		add(analyze.Expectation{Demand: analyze.Low}, start+span.Upper, to)
	case x.Demand == analyze.Train && len(s.turns()) > 0:
		all := s.turns()
		for i, at := range all {
			till := to
			if i+1 < len(all) {
				till = all[i+1]
			}
			add(analyze.Expectation{Demand: [2]analyze.Demand{analyze.High, analyze.Low}[i%2]}, at, till)
		}
	default:
		if x.After > 0 {
			add(prior, 0, x.Span().Lower)
		}
		add(x, due, to)
	}
	return out
}

// prior is the demand that held until the event: low after a pulse, and before a first rise.
func (s *scene) prior() analyze.Expectation {
	high, _ := s.expect.Demand.State()
	rises := high && !math.IsNaN(s.low) && !math.IsNaN(s.high)
	if s.before.Demand == analyze.Pulse || s.before.Demand == analyze.Train && !s.before.Flashes() || s.before.Demand == analyze.Any && rises {
		return analyze.Expectation{Demand: analyze.Low}
	}
	return s.before
}

// bandOf is the band of one of the output's levels, by its limits.
func (s *scene) bandOf(high bool, from, to float64) (Band, bool) {
	if s.plan == nil {
		return Band{}, false
	}
	q := analyze.LowLevel
	if high {
		q = analyze.HighLevel
	}
	l := s.plan.Limits.Of(q)
	if l.None() {
		return Band{}, false
	}
	b := bandWithin(l, from, to, 0)
	for i := range s.of.Figures {
		if m := &s.of.Figures[i]; m.Signal == s.output.Signal && m.Quantity == q && m.Expanded > 0 && s.of.Plan.Decide != analyze.Simple {
			b.Guard = math.Max(b.Guard, m.Expanded)
		}
	}
	return b, true
}

func bandWithin(l analyze.Limit, from, to, guard float64) Band {
	b := Band{From: from, To: to, Lower: l.Lower, Upper: l.Upper}
	if !math.IsNaN(l.Lower) {
		b.Words[0] = "min " + unit.Voltage.Format(l.Lower)
	}
	if !math.IsNaN(l.Upper) {
		b.Words[1] = "max " + unit.Voltage.Format(l.Upper)
	}
	if guard > 0 {
		b.Guard = guard
	}
	return b
}

// onRamp is the voltage at which a ramp of the supply made the relay change over; nil: it did
// not, or the event is none.
func (s *scene) onRamp() *analyze.Measurement {
	if s.relay == nil {
		return nil
	}
	for _, q := range []analyze.Quantity{analyze.PullInVoltage, analyze.DropOutVoltage} {
		if m := s.figure(s.relay.Signal, q); m != nil {
			return m
		}
	}
	return nil
}

// turnedAt marks the voltage at which a ramp made the relay change over, where the contact that
// closes then did so.
func (s *scene) turnedAt(from, to float64) []LevelMark {
	m := s.onRamp()
	if m == nil || math.IsNaN(m.Value) {
		return nil
	}
	contact := s.relay.Make
	if m.Quantity == analyze.DropOutVoltage {
		contact = s.relay.Break
	}
	for _, c := range s.changes {
		if at, ok := s.firstClosing(c); ok && c.signal == contact && at >= from && at <= to {
			return []LevelMark{{at, m.Value, m.Quantity.Words() + " " + valueText(m)}}
		}
	}
	return nil
}

// failedLevels marks the levels at the event that did not pass, at the end of a stretch.
func (s *scene) failedLevels(to float64) []LevelMark {
	var out []LevelMark
	for _, q := range []analyze.Quantity{analyze.LowLevel, analyze.HighLevel} {
		if m := s.figure(s.output.Signal, q); m != nil && !math.IsNaN(m.Value) && (m.Verdict == analyze.Fail || m.Verdict == analyze.Undecided) {
			out = append(out, LevelMark{to, m.Value, fmt.Sprintf("%s: %s", valueText(m), m.Verdict)})
		}
	}
	return out
}

// contactLane is one contact's states over a stretch.
func (s *scene) contactLane(i int, from, to float64) Lane {
	t := s.tracks[i]
	l := Lane{Signal: t.Signal, Contact: true, High: 1}
	r := reducer{from: from, to: to}
	known := s.steps(t, from, to, func(at, v float64) { r.add(sampled{at: at, v: v}) })
	l.Lines = r.end()
	if from < known {
		l.Unseen = append(l.Unseen, Unseen{from, math.Min(known, to), "not known"})
	}
	for _, x := range t.Lapses {
		if a, b := s.sec(x.From), s.sec(x.To); b >= from && a <= to {
			l.Unseen = append(l.Unseen, Unseen{math.Max(a, from), math.Min(b, to), "changes not drawn"})
		}
	}
	for _, x := range t.Losses {
		if a, b := s.sec(x.From), s.sec(x.To); b >= from && a <= to {
			l.Lost = append(l.Lost, Point{math.Min(b, to), 0.5})
		}
	}
	var reach reaches
	for _, b := range s.behind {
		if b.tracks[i] != nil {
			reach.begin(from, to)
			b.steps(b.tracks[i], from, to, reach.add)
		}
	}
	l.Behind = reach.all(from, to)
	return l
}

// steps calls f with the corners of a contact's step line over a stretch, and returns from when
// on its state is known.
func (s *scene) steps(t *capture.Track, from, to float64, f func(at, v float64)) (known float64) {
	value := map[bool]float64{true: 1}
	state, ok := t.StateAt(s.instant(from) - 1)
	known = from
	if ok {
		f(from, value[state])
	}
	for _, e := range t.Edges {
		at := s.sec(e.At)
		if at < from || at > to {
			continue
		}
		if ok {
			f(at, value[state])
		} else {
			known = at
		}
		state, ok = e.Closed, true
		f(at, value[state])
	}
	if !ok {
		return to
	}
	f(to, value[state])
	return known
}

// reducer makes lines of samples: of each column of a drawing the first, the lowest, the
// highest and the last.
type reducer struct {
	from, to float64 // seconds
	n        int     // samples inside
	lines    [][]Point
	inside   []Point // the first of them
	unseen   []Unseen
	line     []Point
	last     Point // sample before, also outside
	has      bool
	column   int // of held
	held     []Point
}

func (r *reducer) columnOf(at float64) int {
	return int(math.Floor((at - r.from) / (r.to - r.from) * float64(columns)))
}

func (r *reducer) add(p sampled) {
	at := Point{p.at, p.v}
	if r.has && (p.broken || p.thinned) {
		if gap := (Unseen{From: r.last.At, To: at.At}); gap.To > r.from && gap.From < r.to {
			if p.thinned {
				gap.Words = "thinned out"
			}
			gap.From, gap.To = math.Max(gap.From, r.from), math.Min(gap.To, r.to)
			if n := len(r.unseen); n > 0 && r.unseen[n-1].To == gap.From && r.unseen[n-1].Words == gap.Words {
				r.unseen[n-1].To = gap.To
			} else if (gap.To-gap.From)/(r.to-r.from)*float64(columns) >= 1 {
				r.unseen = append(r.unseen, gap)
			}
		}
	}
	if p.broken {
		r.lift()
	}
	switch was := r.last; {
	case at.At < r.from:
	case at.At > r.to:
		if r.has && was.At <= r.to && !p.broken {
			if was.At < r.from {
				r.hold(onLine(was, at, r.from))
			}
			r.hold(onLine(was, at, r.to))
		}
	default:
		if r.has && was.At < r.from && !p.broken {
			r.hold(onLine(was, at, r.from))
		}
		r.n++
		if float64(len(r.inside))*dotsFrom < float64(columns) {
			r.inside = append(r.inside, at)
		}
		r.hold(at)
	}
	r.last, r.has = at, true
}

// onLine is the place at a time on the straight line between two points.
func onLine(a, b Point, at float64) Point {
	return Point{at, a.Value + (b.Value-a.Value)*(at-a.At)/(b.At-a.At)}
}

// hold takes a point into the present column.
func (r *reducer) hold(p Point) {
	if c := r.columnOf(p.At); len(r.held) == 0 || c != r.column {
		r.flush()
		r.column = c
	}
	r.held = append(r.held, p)
	if len(r.held) > mostHeld {
		r.held = append(r.held[:0], outermost(r.held)...)
	}
}

// mostHeld is how many points of a column are held before those between are dropped.
const mostHeld = 64

// outermost are the first, the lowest, the highest and the last of some points, by time.
func outermost(all []Point) []Point {
	if len(all) <= 4 {
		return all
	}
	low, high := 0, 0
	for i, p := range all {
		if p.Value < all[low].Value {
			low = i
		}
		if p.Value > all[high].Value {
			high = i
		}
	}
	last := len(all) - 1
	var out []Point
	at := -1
	for _, i := range []int{0, min(low, high), max(low, high), last} {
		if i != at {
			out = append(out, all[i])
		}
		at = i
	}
	return out
}

// flush puts what is left of the present column onto the line.
func (r *reducer) flush() {
	r.line = append(r.line, outermost(r.held)...)
	r.held = r.held[:0]
}

// lift ends the line.
func (r *reducer) lift() {
	r.flush()
	if len(r.line) > 0 {
		r.lines = append(r.lines, r.line)
	}
	r.line = nil
}

func (r *reducer) end() [][]Point {
	r.lift()
	return r.lines
}

// reaches are the lowest and the highest values in each column, over several lines.
type reaches struct {
	low, high [columns + 1]float64
	any       bool
	from, to  float64
	was       Point
	has       bool
}

func (r *reaches) begin(from, to float64) {
	if !r.any {
		for i := range r.low {
			r.low[i], r.high[i] = math.Inf(1), math.Inf(-1)
		}
		r.any = true
	}
	r.from, r.to, r.has = from, to, false
}

func (r *reaches) lift() { r.has = false }

// add takes in the line from the point before.
func (r *reaches) add(at, v float64) {
	p := Point{at, v}
	if !r.has {
		r.was, r.has = p, true
		r.include(at, v)
		return
	}
	per := (r.to - r.from) / float64(columns)
	for c := math.Max(0, math.Ceil((r.was.At-r.from)/per)); c <= float64(columns); c++ {
		x := r.from + c*per
		if x > p.At {
			break
		}
		if p.At > r.was.At {
			y := onLine(r.was, p, x)
			r.include(x, y.Value)
			r.include(x-per/2, y.Value)
		}
	}
	r.include(at, v)
	r.was = p
}

func (r *reaches) include(at, v float64) {
	c := int(math.Floor((at-r.from)/(r.to-r.from)*float64(columns) + 1e-9))
	if c < 0 || c > columns {
		return
	}
	r.low[c], r.high[c] = math.Min(r.low[c], v), math.Max(r.high[c], v)
}

func (r *reaches) all(from, to float64) []Reach {
	if !r.any {
		return nil
	}
	var out []Reach
	for c := range r.low {
		if r.low[c] <= r.high[c] {
			out = append(out, Reach{from + float64(c)*(to-from)/float64(columns), r.low[c], r.high[c]})
		}
	}
	return out
}
