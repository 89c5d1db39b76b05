package sim

import (
	"math"
	"time"
)

// contact is one line on which a relay contact is read.
type contact struct {
	name   string
	index  int32
	shut   bool  // mechanically
	closed bool  // as the line reads it
	line   int   // index in the open set of lines; -1: not asked for
	seen   int64 // when the kernel stamps the last edge

	pulledDown bool // its line; else pulled up

	// Planted faults.
	severed bool    // its circuit is open, whatever it does
	film    float64 // ohms of an oxidised contact, about; 0: none
	filmed  draws   // what its resistance is from one moment to the next
	touch   uint32  // turn of the film's changes
	loses   uint64  // every loses-th edge is lost, with a gap in the numbers
	edges   uint64
	latency int64 // ns: edges closer together than this merge
	merging bool
	stamp   int64 // of the last edge that merges
}

// setContact opens or shuts a contact.
func (w *World) setContact(c *contact, shut bool) {
	c.shut = shut
	c.touch++
	if shut && c.film > 0 {
		w.changeFilm(c)
		return
	}
	w.readContact(c, shut && !c.severed)
}

// readContact lets the line read a contact as closed or open.
func (w *World) readContact(c *contact, closed bool) {
	if c.closed == closed {
		return
	}
	c.closed = closed
	w.truth.edge(c, w.now)
	if c.line < 0 {
		return
	}
	if c.latency == 0 {
		c.seen = max(w.now+w.kernel.Next(), c.seen+1)
		w.plan(happening{at: c.seen, kind: edgeSeen, index: c.index, flag: closed})
		return
	}
	c.stamp = w.now
	if !c.merging {
		c.merging = true
		w.plan(happening{at: w.now + c.latency, kind: edgeThread, index: c.index})
	}
}

// report puts a contact's edge into the queue, stamped as told.
func (w *World) report(c *contact, stamp int64, closed bool) {
	c.merging = false
	if c.line < 0 {
		return
	}
	c.edges++
	if c.loses > 0 && c.edges%c.loses == 0 {
		w.lines.skip(c.line)
		return
	}
	w.lines.queue(c.line, stamp, closed)
}

// A line's input has hysteresis: it is read low below 0.8 V and high above 2 V (common
// practice, no source).
const (
	readsLow  = 0.8 // V
	readsHigh = 2.0 // V
)

// reads reports whether the line reads a contact that is shut as closed. The contact's
// resistance and the line's pull-up, or pull-down, divide the rig's supply. What the line reads
// between the two levels of its input it has read before.
func (c *contact) reads(ohms float64) bool {
	level := logicVolts * ohms / (ohms + pullOhms)
	if c.pulledDown {
		level = logicVolts - level
	}
	switch closed := !c.pulledDown; { // at a low level
	case level <= readsLow:
		return closed
	case level >= readsHigh:
		return !closed
	}
	return c.closed
}

// A film on a contact breaks and mends: each closing and each spell has a resistance of its
// own, lognormally distributed about the contact's (invented, plausible figures).
const (
	filmSpread    = 0.5 // of the natural logarithm, one standard deviation
	shortestTouch = 5 * time.Millisecond
	longestTouch  = 60 * time.Millisecond
)

// changeFilm gives an oxidised contact that is shut another resistance, and lets its line
// read it.
func (w *World) changeFilm(c *contact) {
	ohms := c.film * math.Exp(filmSpread*cut(c.filmed.NormFloat64()))
	w.readContact(c, !c.severed && c.reads(ohms))
	w.plan(happening{at: w.now + c.filmed.between(shortestTouch, longestTouch), kind: filmChanges, index: c.index, turn: c.touch})
}
