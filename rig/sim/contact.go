package sim

// contact is one line on which a relay contact is read.
type contact struct {
	name   string
	index  int32
	closed bool
	line   int   // index in the open set of lines; -1: not asked for
	seen   int64 // when the kernel stamps the last edge

	// Planted faults.
	loses   uint64 // every loses-th edge is lost, with a gap in the numbers
	edges   uint64
	latency int64 // ns: edges closer together than this merge
	merging bool
	stamp   int64 // of the last edge that merges
}

func (w *World) setContact(c *contact, closed bool) {
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
