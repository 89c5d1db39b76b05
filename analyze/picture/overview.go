package picture

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"makebreak/rig/capture"
	"makebreak/rig/words"
)

// mostOutlined is how many outputs and how many lines an overview draws at most, those that
// move first.
const mostOutlined = 32

// sheetHeight is how high the lanes of an overview are together at most, so that a printed page
// holds them; what is more comes on another sheet.
const sheetHeight = 690.0

// markApart is how many units the marks of lost edges are apart at least.
const markApart = 18

// outlinedMove is by how many volts an output must move to be drawn before those that do not.
const outlinedMove = 0.5

// NewOverview draws a capture from end to end: of every column of the drawing the lowest and
// the highest sample of each output, and every edge. Many signals take several sheets. c is
// what the outline is of. An error says that there is nothing to draw.
func NewOverview(o *capture.Outline, c *capture.Capture, heading string) ([]*Timing, error) {
	if o.Start >= o.End {
		return nil, fmt.Errorf("the capture is one instant: there is nothing to draw")
	}
	g := &overview{o: o, c: c}
	whole := View{From: o.Start.Seconds(), To: o.End.Seconds(), Factor: 1}
	whole.Marks = g.marks(&whole)
	traces := chosen(o.Traces, moves)
	tracks := chosen(o.Tracks, func(t *capture.TrackOutline) bool { return t.Edges > 0 })
	for _, x := range traces {
		whole.Lanes = append(whole.Lanes, g.voltage(x, &whole))
	}
	for _, x := range tracks {
		whole.Lanes = append(whole.Lanes, g.contact(x, &whole))
	}
	var sheets []*Timing
	for _, lanes := range parted(whole.Lanes) {
		t := &Timing{Heading: heading, Main: whole, small: true, Words: g.words(traces, tracks)}
		t.Main.Lanes = lanes
		t.about = strings.Join(t.Words, " ")
		sheets = append(sheets, t)
	}
	if len(sheets) > 1 {
		for i, t := range sheets {
			t.Heading = fmt.Sprintf("%s, sheet %d of %d", heading, i+1, len(sheets))
		}
	}
	return sheets, nil
}

// marks are the events; more than one in a column of the drawing look like one.
func (g *overview) marks(v *View) (all []Mark) {
	free := math.Inf(-1)
	for _, e := range g.o.Events {
		if at := e.At.Seconds(); at > free {
			all = append(all, Mark{At: at, Words: e.Name})
			free = at + (v.To-v.From)/float64(columns)
		}
	}
	return all
}

// parted are the lanes of each sheet.
func parted(lanes []Lane) (sheets [][]Lane) {
	height := math.Inf(1)
	for _, l := range lanes {
		h := laneName + outlinedVolts + laneGap
		if l.Contact {
			h = laneName + contactHeight + laneGap
		}
		if height += h; height > sheetHeight {
			sheets, height = append(sheets, nil), h
		}
		sheets[len(sheets)-1] = append(sheets[len(sheets)-1], l)
	}
	return sheets
}

type overview struct {
	o *capture.Outline
	c *capture.Capture
}

// chosen are the signals that are drawn, in their order.
func chosen[T any](all []*T, moves func(*T) bool) []*T {
	if len(all) <= mostOutlined {
		return all
	}
	left := mostOutlined
	take := map[*T]bool{}
	for _, moving := range []bool{true, false} {
		for _, x := range all {
			if moves(x) == moving && left > 0 {
				take[x] = true
				left--
			}
		}
	}
	return slices.DeleteFunc(slices.Clone(all), func(x *T) bool { return !take[x] })
}

func moves(t *capture.TraceOutline) bool {
	low, high := reachOf(t.Bins())
	return high-low > outlinedMove
}

// reachOf are the lowest and the highest sample, volts.
func reachOf(bins []capture.Bin) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, b := range bins {
		low, high = math.Min(low, float64(b.Low)), math.Max(high, float64(b.High))
	}
	return low, high
}

// words say how much is drawn, and what is not.
func (g *overview) words(traces []*capture.TraceOutline, tracks []*capture.TrackOutline) []string {
	samples, edges := 0, 0
	for _, x := range traces {
		samples += x.Samples
	}
	for _, x := range tracks {
		edges += x.Edges
	}
	lines := []string{fmt.Sprintf("%s samples and %s edges; a line from the lowest to the highest sample of each column.", count(float64(samples)), count(float64(edges)))}
	if n := len(g.o.Traces) - len(traces); n > 0 {
		lines = append(lines, words.Count(n, "more output")+" not drawn.")
	}
	if n := len(g.o.Tracks) - len(tracks); n > 0 {
		lines = append(lines, words.Count(n, "more line")+" not drawn.")
	}
	if g.o.EventsLeft > 0 {
		lines = append(lines, words.Count(g.o.EventsLeft, "more event")+" not drawn.")
	}
	return lines
}

// sparse is how many times their mean interval samples must be apart for some to be missing.
const sparse = 6

// voltage is one output from end to end.
func (g *overview) voltage(t *capture.TraceOutline, v *View) Lane {
	l := Lane{Signal: t.Signal}
	bins := t.Bins()
	low, high := reachOf(bins)
	if len(bins) == 0 {
		low, high = 0, 1
	}
	l.Low, l.High = math.Min(0, low), math.Max(1, high)
	room := (l.High - l.Low) / 16
	if l.High += room; l.Low < 0 {
		l.Low -= room
	}
	usual := (v.To - v.From) / float64(max(1, t.Samples-1))
	r := reducer{from: v.From, to: v.To}
	last := math.Inf(-1)
	for _, b := range bins {
		broken := b.From.Seconds()-last > sparse*usual && !math.IsInf(last, 0)
		for i, p := range binPoints(&b) {
			r.add(sampled{at: p.At, v: p.Value, broken: broken && i == 0})
		}
		last = b.To.Seconds()
	}
	l.Lines, l.Unseen = r.end(), r.unseen
	if float64(t.Samples)*dotsFrom < float64(columns) {
		l.Samples = r.inside
	}
	(&scene{of: &TimingOf{Capture: g.c}}).addLeftOut(&l, v.From, v.To)
	return l
}

// binPoints are the samples that a bin knows, by time.
func binPoints(b *capture.Bin) []Point {
	all := []Point{{b.From.Seconds(), float64(b.First)}, {b.LowAt.Seconds(), float64(b.Low)}, {b.HighAt.Seconds(), float64(b.High)}, {b.To.Seconds(), float64(b.Last)}}
	if b.LowAt > b.HighAt {
		all[1], all[2] = all[2], all[1]
	}
	return slices.Compact(all)
}

// contact is one line from end to end.
func (g *overview) contact(t *capture.TrackOutline, v *View) Lane {
	l := Lane{Signal: t.Signal, Contact: true, High: 1}
	value := map[bool]float64{true: 1}
	state, known := t.Before()
	r := reducer{from: v.From, to: v.To}
	add := func(at float64, closed bool) { r.add(sampled{at: at, v: value[closed]}) }
	if known {
		add(v.From, state)
	}
	for _, x := range t.Groups() {
		from, to := x.From.Seconds(), x.To.Seconds()
		if known {
			add(from, state)
		} else {
			l.Unseen = append(l.Unseen, Unseen{v.From, from, "not known"})
		}
		if x.N > 1 { // there and back, how often cannot be seen
			add(from, !x.Closed)
			add(from, x.Closed)
			add(to, !x.Closed)
		}
		state, known = x.Closed, true
		add(to, state)
	}
	if known {
		add(v.To, state)
	} else {
		l.Unseen = append(l.Unseen, Unseen{v.From, v.To, "not known"})
	}
	l.Lines = r.end()
	free := math.Inf(-1)
	for _, x := range t.Losses {
		if at := x.To.Seconds(); at > free {
			l.Lost = append(l.Lost, Point{at, 0.5})
			free = at + markApart*(v.To-v.From)/float64(columns)
		}
	}
	return l
}
