package bench

import (
	"sync/atomic"

	"makebreak/rig/capture"
)

// A Glance is what the bench's loop knew of the rig at one instant: real samples and edges,
// nothing between them and nothing made of them.
type Glance struct {
	At      capture.Instant
	Outputs []SampleGlance // as Bench.Sampled has them
	Lines   []LineGlance   // contacts, references and drives, as Requests has them
	Event   capture.Event  // the latest of the capture under way; an empty name: none yet
	Place   uint64         // as Glances.SetPlace was last told
	Counts  capture.Counts // since the bench was opened
}

// A SampleGlance is an output's newest sample.
type SampleGlance struct {
	Seen  bool // there is one in the capture under way
	At    capture.Instant
	Volts float64 // volts at the unit's terminal
}

// A LineGlance is a line's state.
type LineGlance struct {
	Known, Closed bool
	Since         capture.Instant // of its newest edge; the capture's start where there is none
	Lost          int             // edges known to be lost in the capture under way
}

// Glances hand glances from the bench's loop to one other goroutine. Neither waits for the
// other: who looks asks, and the loop fills what it was handed at its next turn, with no
// memory of its own. While nobody asks, a turn of the loop reads one word.
type Glances struct {
	asked, given atomic.Pointer[Glance]
	place        uint64 // the bench's goroutine's
}

// Ask asks for a glance, to be written into g, which is the loop's until Take returns it.
func (s *Glances) Ask(g *Glance) { s.asked.Store(g) }

// Take returns the glance asked for; nil: the loop has had no turn since.
func (s *Glances) Take() *Glance { return s.given.Swap(nil) }

// SetPlace tells of a place in the sequence, in whatever form the two sides agree on. It is
// called on the bench's goroutine.
func (s *Glances) SetPlace(place uint64) { s.place = place }

// serve fills the glance that is asked for, if one is.
func (s *Glances) serve(b *Bench) {
	g := s.asked.Load()
	if g == nil {
		return
	}
	b.glance(g)
	g.Place = s.place
	s.asked.Store(nil) // first: whoever takes it may ask again at once
	s.given.Store(g)
}

// glance writes what is known of the rig.
func (b *Bench) glance(g *Glance) {
	g.At, g.Counts, g.Event = b.lines.Now(), b.Counts(), capture.Event{}
	if n := len(b.c.Events); n > 0 {
		g.Event = b.c.Events[n-1]
	}
	if len(g.Outputs) != len(b.c.Traces) || len(g.Lines) != len(b.c.Tracks) { // the first time
		g.Outputs, g.Lines = make([]SampleGlance, len(b.c.Traces)), make([]LineGlance, len(b.c.Tracks))
	}
	for i, t := range b.c.Traces {
		x := &g.Outputs[i]
		x.At, x.Volts, x.Seen = t.Last()
	}
	for i, t := range b.c.Tracks {
		x := &g.Lines[i]
		*x = LineGlance{Since: b.c.Start, Lost: t.Lost()}
		if n := len(t.Edges); n > 0 {
			x.Since = t.Edges[n-1].At
		}
		x.Closed, x.Known = t.StateAt(g.At)
	}
}
