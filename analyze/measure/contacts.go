package measure

import (
	"time"

	"makebreak/rig/capture"
)

// restAfter is how long a contact must keep its state for its change to be over. What
// it does after that is no bounce but a disturbance of the state.
const restAfter = capture.Rest

// change is one change-over of a contact: from its first edge to the last before
// it comes to rest.
type change struct {
	track *capture.Track
	edges []capture.Edge // of the change, bounce included
	later int            // edges after the contact had come to rest
	// thinned is how many more edges of the change were thinned out, thinnedClosings how many of
	// them close.
	thinned, thinnedClosings int
	lost                     []capture.Loss // what may have been lost of the line in the state
	start                    bool           // closed before
	end                      bool           // closed at the end of the state
	known                    bool           // whether the state is known at all
	// rests is false where the contact had not come to rest when the state ended.
	rests bool
	// watched is the time from the change's last edge to the end of the state.
	watched time.Duration
	// closedFor is for how long it was closed from its first edge to the end of the state,
	// longest its longest time closed between two edges, seen how long that was in all.
	closedFor, longest, seen time.Duration
}

// changeOf returns what a contact did from an instant to the next event.
func changeOf(t *capture.Track, from, to capture.Instant) change {
	c := change{track: t, rests: true}
	if t == nil {
		return c
	}
	c.start, c.known = t.StateAt(from - 1)
	c.lost = lostIn(t, from, to)
	if e, ok := firstEdge(t, from, to); ok && !c.known {
		c.start = !e.Closed // an edge says what was before it, too
	}
	c.end = c.start
	lapses := t.Lapses
	var last, latest capture.Instant // of the change's edges, of all
	for _, e := range t.Edges {
		if e.At < from || e.At >= to {
			continue
		}
		c.spend(latest, e.At, c.end, true)
		latest = e.At
		for len(lapses) > 0 && lapses[0].To <= e.At {
			if lapses[0].From >= from {
				last = c.lapse(lapses[0], last)
			}
			lapses = lapses[1:]
		}
		c.end, c.known = e.Closed, true
		if n := len(c.edges); c.later > 0 || n > 0 && e.At.Sub(last) > restAfter {
			c.later++
			continue
		}
		c.edges = append(c.edges, e)
		last = e.At
	}
	c.spend(latest, to, c.end, false)
	if c.known {
		c.end, _ = t.StateAt(to - 1)
	}
	if n := len(c.edges); n > 0 && c.later == 0 {
		c.watched = to.Sub(c.edges[n-1].At)
		c.rests = c.watched >= restAfter/5
	}
	return c
}

// spend takes in a time from one edge to the next, or to the end of the state.
func (c *change) spend(from, to capture.Instant, closed, edge bool) {
	if from == 0 {
		return
	}
	d := to.Sub(from)
	c.seen += d
	if !closed {
		return
	}
	c.closedFor += d
	if edge {
		c.longest = max(c.longest, d)
	}
}

// lapse takes in edges that were thinned out, and returns when the change's last one was. Of
// them only how many there were up to their first rest is known.
func (c *change) lapse(l capture.Lapse, last capture.Instant) capture.Instant {
	switch {
	case c.later > 0 || l.From.Sub(last) > restAfter:
		c.later += l.Edges
		return last
	case !l.Rested:
		c.thinned, c.thinnedClosings = c.thinned+l.Edges, c.thinnedClosings+l.Closings
		return l.To
	}
	c.thinned, c.thinnedClosings = c.thinned+l.TillEdges, c.thinnedClosings+l.TillClosings
	c.later += l.Edges - l.TillEdges
	if l.TillEdges > 0 {
		c.edges = append(c.edges, l.Till)
		c.thinned--
		if l.Till.Closed {
			c.thinnedClosings--
		}
	}
	return l.Till.At
}

// firstEdge returns a line's first edge in from..to.
func firstEdge(t *capture.Track, from, to capture.Instant) (capture.Edge, bool) {
	for _, e := range t.Edges {
		if e.At >= from && e.At < to {
			return e, true
		}
	}
	return capture.Edge{}, false
}

// moved reports whether the contact was in the other state at rest.
func (c change) moved() bool {
	n := len(c.edges)
	return n > 0 && c.edges[n-1].Closed != c.start
}

// closes reports whether the contact ended its change closed.
func (c change) closes() bool { return c.moved() && !c.start }

// opens reports whether the contact ended its change open.
func (c change) opens() bool { return c.moved() && c.start }

// first returns the instant of the change's first edge to the state.
func (c change) first(closed bool) (capture.Instant, bool) {
	for _, e := range c.edges {
		if e.Closed == closed {
			return e.At, true
		}
	}
	return 0, false
}

// last returns the instant of the change's last edge to the state.
func (c change) last(closed bool) (capture.Instant, bool) {
	for i := len(c.edges) - 1; i >= 0; i-- {
		if c.edges[i].Closed == closed {
			return c.edges[i].At, true
		}
	}
	return 0, false
}

// bounceTime is the time from the first to the last edge of the change
// (MIL-R-5757 glossary: first make to the end of uncontrolled make and break).
func (c change) bounceTime() time.Duration {
	if len(c.edges) < 2 {
		return 0
	}
	return c.edges[len(c.edges)-1].At.Sub(c.edges[0].At)
}

// bounceCount is how many extra closings (of a closing contact) or openings (of
// an opening one) the change had.
func (c change) bounceCount() int {
	n := c.thinnedClosings
	if c.start {
		n = c.thinned - c.thinnedClosings
	}
	for _, e := range c.edges {
		if e.Closed != c.start {
			n++
		}
	}
	return max(0, n-1)
}

// restless reports whether the contact did not come to rest as bounce does: it
// changed again after a rest, or took longer than any bounce. Of one that a state's
// end cuts short before that, nothing is known.
func (c change) restless() bool {
	return c.later > 0 || c.bounceTime() > restAfter/2
}
