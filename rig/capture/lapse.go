package capture

import (
	"slices"
	"sort"
	"time"
)

// Rest is how long a contact must keep its state to have come to rest.
const Rest = 100 * time.Millisecond

// Of a line whose state lasts, the first edges stay and the latest ones.
const (
	firstEdges  = 4096
	latestEdges = 1024
)

// Lapse is edges of a line that were counted and thinned out while a state lasted.
type Lapse struct {
	// Span goes from the first of the edges to the last.
	Span
	Edges, Closings int
	// Rested says that the line came to rest between two of them. Till is the edge before the
	// first time that it did; TillEdges and TillClosings are those up to and with it.
	Rested                  bool
	Till                    Edge
	TillEdges, TillClosings int
}

// lapse thins the edges of the state out that began at the instant.
func (t *Track) lapse(state Instant) {
	if len(t.Edges) <= firstEdges+2*latestEdges {
		return
	}
	lo := sort.Search(len(t.Edges), func(i int) bool { return t.Edges[i].At >= state }) + firstEdges
	hi := len(t.Edges) - latestEdges
	if hi-lo < latestEdges {
		return
	}
	n := len(t.Lapses)
	if n == 0 || t.Lapses[n-1].From < state {
		t.Lapses = append(t.Lapses, Lapse{Span: Span{t.Edges[lo].At, t.Edges[lo].At}})
		n++
	}
	l := &t.Lapses[n-1]
	for _, e := range t.Edges[lo:hi] {
		l.add(e)
	}
	t.Edges = slices.Delete(t.Edges, lo, hi)
}

func (l *Lapse) add(e Edge) {
	if !l.Rested {
		if l.Rested = l.Edges > 0 && e.At.Sub(l.To) > Rest; l.Rested {
			l.Till.At, l.TillEdges, l.TillClosings = l.To, l.Edges, l.Closings
		}
	}
	l.To = e.At
	if !l.Rested {
		l.Till.Closed = e.Closed
	}
	l.Edges++
	if e.Closed {
		l.Closings++
	}
}

func (l *Lapse) shift(by time.Duration) {
	l.From, l.To, l.Till.At = l.From.Add(by), l.To.Add(by), l.Till.At.Add(by)
}
