package capture

import (
	"cmp"
	"math"
	"slices"
	"sort"
	"time"
)

// Span is the time from From to To, both included.
type Span struct{ From, To Instant }

// Around returns a copy with the samples that lie within keep of something that
// happens: an event, an edge of a line, or an output that moves. Kept says where
// they lie, so that a gap can be told from samples that are missing. Edges and
// events are all kept. What was thinned out is left out, and edges that were are lost.
func (c *Capture) Around(keep time.Duration) *Capture {
	var marks []Instant
	for _, e := range c.Events {
		marks = append(marks, e.At)
	}
	for _, t := range c.Tracks {
		for _, e := range t.Edges {
			marks = append(marks, e.At)
		}
	}
	for _, t := range c.Traces {
		marks = append(marks, t.moves()...)
	}
	kept := intersect(spansAround(marks, keep, Span{c.Start, c.End}), c.Kept)
	return c.only(intersect(kept, c.stayed()))
}

// only returns a copy with the samples that lie in the spans, where all of them stayed. Edges
// that were thinned out are lost in it.
func (c *Capture) only(kept []Span) *Capture {
	k := &Capture{Start: c.Start, End: c.End, Counts: c.Counts, Events: slices.Clone(c.Events), Unsupplied: slices.Clone(c.Unsupplied), Kept: kept}
	for _, t := range c.Tracks {
		copied := &Track{Signal: t.Signal, Known: t.Known, Initial: t.Initial, Stamp: t.Stamp, Late: t.Late,
			Edges: slices.Clone(t.Edges), Losses: slices.Clone(t.Losses)}
		for _, l := range t.Lapses {
			after := sort.Search(len(copied.Losses), func(i int) bool { return copied.Losses[i].To > l.To })
			copied.Losses = slices.Insert(copied.Losses, after, Loss{l.Span, l.Edges, Gap})
		}
		k.Tracks = append(k.Tracks, copied)
	}
	for _, t := range c.Traces {
		k.Traces = append(k.Traces, t.within(k.Kept))
	}
	return k
}

// spansAround returns the spans within keep of a mark, cut to the bounds and
// joined where they meet.
func spansAround(marks []Instant, keep time.Duration, bounds Span) []Span {
	slices.Sort(marks)
	spans := []Span{}
	for _, m := range marks {
		s := Span{max(bounds.From, m.Add(-keep)), min(bounds.To, m.Add(keep))}
		if s.From <= s.To {
			spans = append(spans, s)
		}
	}
	return joined(spans, 0)
}

// joined sorts spans and joins those of which one begins no later than gap after the end of
// another. It uses the memory of the spans given.
func joined(spans []Span, gap Instant) []Span {
	slices.SortFunc(spans, func(a, b Span) int { return cmp.Compare(a.From, b.From) })
	all := spans[:0]
	for _, s := range spans {
		if n := len(all); n > 0 && s.From <= all[n-1].To+gap {
			all[n-1].To = max(all[n-1].To, s.To)
			continue
		}
		all = append(all, s)
	}
	return all
}

// intersect returns what lies in spans of both; nil in b stands for all time.
func intersect(a, b []Span) []Span {
	if b == nil {
		return a
	}
	both := []Span{}
	for len(a) > 0 && len(b) > 0 {
		if s := (Span{max(a[0].From, b[0].From), min(a[0].To, b[0].To)}); s.From <= s.To {
			both = append(both, s)
		}
		if a[0].To < b[0].To {
			a = a[1:]
		} else {
			b = b[1:]
		}
	}
	return both
}

// within returns a copy of the trace with the samples in the spans.
func (t *Trace) within(spans []Span) *Trace {
	copied := NewTrace(t.Signal, t.Converter)
	copied.Converter.Doubts = slices.Clone(t.Converter.Doubts)
	copied.NominalVolts, copied.Missing = t.NominalVolts, t.Missing
	for _, s := range spans {
		for at, v := range t.Blocks(s.From, s.To+1) {
			for i := range at {
				copied.append(at[i], v[i])
			}
		}
	}
	return copied
}

// How far an output must have gone from where it last moved to, to have moved
// again: an eighth of the trace's range, and well beyond its noise and its
// resolution. It is a rule for what is worth keeping, not a measurement.
const (
	moveShare = 1. / 8
	moveNoise = 8 // times the median change from sample to sample
	moveSteps = 4 // times the resolution
)

// moves returns the instants at which the output moves, a slow movement at several
// on its way.
func (t *Trace) moves() []Instant {
	low, high := math.Inf(1), math.Inf(-1)
	for _, b := range t.blocks {
		if b.sum != nil && b.sum.N > 0 {
			low, high = min(low, b.sum.Low), max(high, b.sum.High)
		}
	}
	for _, v := range t.all() {
		for _, x := range v {
			// A comparison with NaN is false, so that no reading leaves both alone.
			if float64(x) < low {
				low = float64(x)
			}
			if float64(x) > high {
				high = float64(x)
			}
		}
	}
	far := max(moveShare*(high-low), moveNoise*t.medianChange(), moveSteps*t.Converter.StepVolts)
	if !(high > low) || !(far < high-low) {
		return nil
	}
	var marks []Instant
	var from float64
	begun := false
	for at, v := range t.all() {
		for i, x := range v {
			switch {
			case !begun:
				from, begun = float64(x), !math.IsNaN(float64(x))
			case math.Abs(float64(x)-from) > far:
				from = float64(x)
				marks = append(marks, Instant(at[i]))
			}
		}
	}
	return marks
}

// medianChange returns the median of how much samples differ from the one before,
// of at most some hundred places spread over the trace.
func (t *Trace) medianChange() float64 {
	const places = 512
	every := max(1, t.n/places)
	var room [2 * places]float64 // it is never more: every is rounded down
	changes := room[:0]
	i := 0
	for _, v := range t.all() {
		for k := 1; k < len(v); k++ {
			if i++; i%every == 0 {
				if d := math.Abs(float64(v[k]) - float64(v[k-1])); !math.IsNaN(d) {
					changes = append(changes, d)
				}
			}
		}
	}
	if len(changes) == 0 {
		return 0
	}
	sort.Float64s(changes)
	return changes[len(changes)/2]
}
