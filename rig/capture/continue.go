package capture

import "sync"

// tail is how many samples of each trace go along into the capture that follows,
// so that a crossing at its very start still has samples before it.
const tail = 8

// pool holds blocks of captures that are done with: a soak fills the same few
// megabytes again and again.
var pool = sync.Pool{New: func() any { return newBlock() }}

// Continue returns an empty capture of the same signals that begins where c ends
// and knows the states that c left: the last few samples of each trace and the
// lines' states.
func (c *Capture) Continue() *Capture {
	next := &Capture{Start: c.End, End: c.End}
	if c.thinner != nil {
		defer next.Thin()
	}
	for _, t := range c.Traces {
		n := NewTrace(t.Signal, t.Converter)
		n.NominalVolts = t.NominalVolts
		at, v, _ := t.Near(c.End+1, tail, 0)
		for i := range at {
			n.Append(Instant(at[i]), v[i])
		}
		if len(at) > 0 {
			next.Start = min(next.Start, Instant(at[0]))
		}
		next.Traces = append(next.Traces, n)
	}
	for _, t := range c.Tracks {
		closed, known := t.StateAt(c.End)
		next.Tracks = append(next.Tracks, &Track{Signal: t.Signal, Known: known, Initial: closed, Stamp: t.Stamp})
	}
	return next
}

// Recycle gives the samples' memory back for other captures to use. The capture
// must not be used afterwards.
func (c *Capture) Recycle() {
	for _, t := range c.Traces {
		for _, all := range [...][]*block{t.blocks, t.spare} {
			for _, b := range all {
				if b.whole() {
					b.n, b.specimen = 0, 0
					pool.Put(b)
				}
			}
		}
		t.blocks, t.spare, t.n = nil, nil, 0
	}
}
