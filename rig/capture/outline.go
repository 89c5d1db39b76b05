package capture

import (
	"math"
	"slices"
)

// Outline is what a capture looks like from end to end: it is as long as a drawing is wide, and
// every sample and edge is in it, whatever is thinned out or discarded while the capture is
// read. Of each stretch it has the lowest and the highest sample and the edges' number.
type Outline struct {
	Start, End Instant         // once it is finished
	Traces     []*TraceOutline // one an output, in the capture's order
	Tracks     []*TrackOutline // one a line, likewise
	// Events are the first ones; EventsLeft counts those beyond.
	Events     []Event
	EventsLeft int

	c      *Capture
	begun  bool // Start is known
	tracks map[*Track]*TrackOutline
}

// TraceOutline is an output from end to end.
type TraceOutline struct {
	Signal  string
	Samples int
	grid    grid
	bins    []Bin
	end     int64 // of the bin that the last sample fell into
	present int   // that bin
}

// Bin is the samples of one output in a stretch of time.
type Bin struct {
	N             int // 0: there are none
	From, To      Instant
	First, Last   float32 // volts of the samples at From and To
	Low, High     float32 // volts
	LowAt, HighAt Instant
}

// TrackOutline is a line from end to end.
type TrackOutline struct {
	Signal string
	Edges  int
	// Losses are the first spans in which edges are known to be lost, LossesLeft counts those
	// beyond.
	Losses     []Loss
	LossesLeft int
	track      *Track
	before     bool // the state before the first edge
	known      bool
	grid       grid
	groups     []Group
}

// Group is the edges of one line in a stretch of time.
type Group struct {
	N        int // 0: there are none
	From, To Instant
	Closed   bool // the state after the last
}

// Bounds of an outline's size. No drawing may have more columns than half of outlineBins: from
// half of them to all hold samples.
const (
	outlineBins   = 2048
	outlineEvents = 1000
	outlineLosses = 1000
)

// Outline has the capture keep an outline of itself from here on, and returns it. Edges and
// events must then be added by AddEdge and AddEvent.
func (c *Capture) Outline() *Outline {
	o := &Outline{c: c, Events: slices.Clone(c.Events), tracks: map[*Track]*TrackOutline{}}
	for _, t := range c.Traces {
		t.outline = &TraceOutline{Signal: t.Signal, end: math.MinInt64}
		for at, v := range t.all() {
			for i := range at {
				t.outline.add(at[i], v[i])
			}
		}
		o.Traces = append(o.Traces, t.outline)
	}
	for _, t := range c.Tracks {
		x := &TrackOutline{Signal: t.Signal, track: t}
		for _, e := range t.Edges {
			x.add(e)
		}
		o.Tracks = append(o.Tracks, x)
		o.tracks[t] = x
	}
	c.outline = o
	return o
}

// grid parts time into bins of one width, which doubles as time goes on. Captures may go over
// more than half of what 64 bits hold.
type grid struct {
	start int64
	width uint64
}

// double doubles the width.
func double[T any](g *grid, bins []T, join func(T, T) T) []T {
	g.width *= 2
	n := 0
	for i := 0; i < len(bins); i += 2 {
		x := bins[i]
		if i+1 < len(bins) {
			x = join(x, bins[i+1])
		}
		bins[n] = x
		n++
	}
	return bins[:n]
}

// place returns the bin of an instant, and makes it.
func place[T any](g *grid, bins []T, at int64, join func(T, T) T) ([]T, int) {
	if g.width == 0 {
		g.start, g.width = at, 1
	}
	off := uint64(at) - uint64(g.start)
	for off/g.width >= outlineBins {
		bins = double(g, bins, join)
	}
	i := int(off / g.width)
	for len(bins) <= i {
		var none T
		bins = append(bins, none)
	}
	return bins, i
}

func (t *TraceOutline) add(at int64, v float32) {
	if v-v != 0 {
		return
	}
	if at >= t.end {
		t.bins, t.present = place(&t.grid, t.bins, at, joinBins)
		t.end = t.grid.start + int64(uint64(t.present+1)*t.grid.width)
	}
	t.Samples++
	b := &t.bins[t.present]
	if b.N == 0 {
		*b = Bin{1, Instant(at), Instant(at), v, v, v, v, Instant(at), Instant(at)}
		return
	}
	b.N++
	b.To, b.Last = Instant(at), v
	if v < b.Low {
		b.Low, b.LowAt = v, Instant(at)
	}
	if v > b.High {
		b.High, b.HighAt = v, Instant(at)
	}
}

// joinBins makes one of two bins that follow one another.
func joinBins(a, b Bin) Bin {
	switch {
	case a.N == 0:
		return b
	case b.N == 0:
		return a
	}
	a.N += b.N
	a.To, a.Last = b.To, b.Last
	if b.Low < a.Low {
		a.Low, a.LowAt = b.Low, b.LowAt
	}
	if b.High > a.High {
		a.High, a.HighAt = b.High, b.HighAt
	}
	return a
}

// Bins returns the output's stretches that have samples, by time.
func (t *TraceOutline) Bins() []Bin {
	return slices.DeleteFunc(slices.Clone(t.bins), func(b Bin) bool { return b.N == 0 })
}

func (t *TrackOutline) add(e Edge) {
	if t.Edges == 0 {
		t.before, t.known = !e.Closed, true
		if t.track.Known {
			t.before = t.track.Initial
		}
	}
	t.Edges++
	var i int
	t.groups, i = place(&t.grid, t.groups, int64(e.At), joinGroups)
	g := &t.groups[i]
	if g.N == 0 {
		g.From = e.At
	}
	g.N++
	g.To, g.Closed = e.At, e.Closed
}

// joinGroups makes one of two groups that follow one another.
func joinGroups(a, b Group) Group {
	switch {
	case a.N == 0:
		return b
	case b.N == 0:
		return a
	}
	return Group{a.N + b.N, a.From, b.To, b.Closed}
}

// Groups returns the line's edges in groups, by time.
func (t *TrackOutline) Groups() []Group {
	return slices.DeleteFunc(slices.Clone(t.groups), func(g Group) bool { return g.N == 0 })
}

// Before returns the line's state before its first edge, and whether it is known.
func (t *TrackOutline) Before() (closed, known bool) {
	if t.Edges == 0 {
		return t.track.Initial, t.track.Known
	}
	return t.before, t.known
}

// lose takes in the losses of a line that end before the instant.
func (t *TrackOutline) lose(before Instant) {
	for _, l := range t.track.Losses {
		switch n := len(t.Losses); {
		case l.To >= before || n > 0 && l.To <= t.Losses[n-1].To:
		case n == outlineLosses:
			t.LossesLeft++
		default:
			t.Losses = append(t.Losses, l)
		}
	}
}

// Finish takes in what was recorded last. It must be called once, at the capture's end.
func (o *Outline) Finish() {
	o.before(never)
	o.End = o.c.End
}

// before takes in what is about to be discarded.
func (o *Outline) before(at Instant) {
	if !o.begun {
		o.Start, o.begun = o.c.Start, true
	}
	for _, t := range o.Tracks {
		t.lose(at)
	}
}

// event takes in an event.
func (o *Outline) event(e Event) {
	if len(o.Events) == outlineEvents {
		o.EventsLeft++
		return
	}
	o.Events = append(o.Events, e)
}
