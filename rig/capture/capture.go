package capture

import (
	"math"
	"slices"
	"time"
)

// Instant is a point on the bench's monotonic time base, in nanoseconds. On a
// real rig it is CLOCK_MONOTONIC, in an imported file the file's own time.
type Instant int64

// Add returns the instant d later.
func (i Instant) Add(d time.Duration) Instant { return i + Instant(d) }

// Sub returns the time from j to i.
func (i Instant) Sub(j Instant) time.Duration { return time.Duration(i - j) }

// Seconds returns the instant in seconds since the origin of the time base.
func (i Instant) Seconds() float64 { return float64(i) * 1e-9 }

// FromSeconds returns the instant s seconds after the origin.
func FromSeconds(s float64) Instant { return Instant(math.Round(s * 1e9)) }

// Edge is one change of a line. Closed means closed for a contact and active
// for a drive or a reference.
type Edge struct {
	At     Instant
	Closed bool
}

// Track is the history of one line: the state at the capture's start and every
// edge since, oldest first.
type Track struct {
	Signal string
	// Known is false while nothing has been said about the line's state.
	Known   bool
	Initial bool
	Edges   []Edge
	// Stamp is the standard uncertainty of an edge's time stamp.
	Stamp time.Duration
	// Losses are edges known to have happened and not recorded, by To.
	Losses []Loss
	// Late is the longest that an edge is known to have waited for the kernel's handler,
	// which stamps and takes together what comes before it runs; 0: none is known to have.
	Late time.Duration
	// Lapses are edges that are not in Edges, because a long state was thinned out, by time.
	Lapses []Lapse
}

// Event is an instant at which the unit was told to change.
type Event struct {
	Name string
	At   Instant
	// Uncertainty is the standard uncertainty of At.
	Uncertainty time.Duration
	// Timed says what gave the instant: "drive", "reference", "key", "supply" or "file".
	Timed string
}

// Counts are the acquisition's own troubles during a capture. They are counted,
// never hidden.
type Counts struct {
	MissedConversions  uint64 // finished and overwritten before they were read
	DoubledConversions uint64 // read twice
	BusErrors          uint64 // failed transfers, the retried ones included
	LostEdges          uint64 // see Track.Losses
	ChipResets         uint64 // configuration found changed on read-back
	LostReadyEdges     uint64 // of conversions that had ended though no ready edge came
}

// Add returns the sum of both.
func (c Counts) Add(d Counts) Counts {
	c.MissedConversions += d.MissedConversions
	c.DoubledConversions += d.DoubledConversions
	c.BusErrors += d.BusErrors
	c.LostEdges += d.LostEdges
	c.ChipResets += d.ChipResets
	c.LostReadyEdges += d.LostReadyEdges
	return c
}

// Sub returns what c counts beyond d, an earlier reading of the same counters.
func (c Counts) Sub(d Counts) Counts {
	c.MissedConversions -= d.MissedConversions
	c.DoubledConversions -= d.DoubledConversions
	c.BusErrors -= d.BusErrors
	c.LostEdges -= d.LostEdges
	c.ChipResets -= d.ChipResets
	c.LostReadyEdges -= d.LostReadyEdges
	return c
}

// ConverterCounts are what one of a rig's converters has of the counts. Edges of other lines
// than its ready line are of none.
type ConverterCounts struct {
	Converter string // its name in the rig file
	Counts
}

// MaxSignals is the highest number of traces, and of columns of a file, that is read.
const MaxSignals = 1000

// Capture is what was recorded from Start to End.
type Capture struct {
	Start, End Instant
	Traces     []*Trace // one an output
	Tracks     []*Track // one a contact, reference or drive
	Events     []Event  // by time
	Counts     Counts
	// Kept says where samples were kept, rising; between these spans they were left
	// out on purpose. Nil: everywhere.
	Kept []Span
	// Unsupplied says when the unit may have been supplied otherwise than it was told to
	// be, rising: what was recorded then shows nothing of it.
	Unsupplied []Span

	thinner *thinner // nil: nothing is thinned out
	outline *Outline // nil: none is kept
}

// Trace returns the trace of the output named, or nil.
func (c *Capture) Trace(signal string) *Trace {
	for _, t := range c.Traces {
		if t.Signal == signal {
			return t
		}
	}
	return nil
}

// Track returns the track of the line named, or nil.
func (c *Capture) Track(signal string) *Track {
	for _, t := range c.Tracks {
		if t.Signal == signal {
			return t
		}
	}
	return nil
}

// Held is how many samples the capture holds.
func (c *Capture) Held() int64 {
	n := 0
	for _, t := range c.Traces {
		n += t.n
	}
	return int64(n)
}

// StateAt returns the line's state just after the instant and whether it is
// known.
func (t *Track) StateAt(at Instant) (closed, known bool) {
	closed, known = t.Initial, t.Known
	last := Instant(math.MinInt64)
	for _, e := range t.Edges {
		if e.At > at {
			break
		}
		closed, known, last = e.Closed, true, e.At
	}
	for _, l := range t.Losses {
		if l.Sign == Level && l.To <= at && l.To > last {
			closed = !closed
		}
	}
	return closed, known
}

// Discard forgets the edges before the instant, and what was lost before it, and keeps the
// state they left.
func (t *Track) Discard(before Instant) {
	t.Initial, t.Known = t.StateAt(before - 1)
	t.Losses = slices.DeleteFunc(t.Losses, func(l Loss) bool { return l.To < before })
	n := 0
	for n < len(t.Edges) && t.Edges[n].At < before {
		n++
	}
	t.Edges = append(t.Edges[:0], t.Edges[n:]...)
	t.Lapses = slices.DeleteFunc(t.Lapses, func(l Lapse) bool { return l.To < before })
}

// Discard forgets what lies before the instant, in every trace and track.
// Traces may keep up to one block of samples more.
func (c *Capture) Discard(before Instant) {
	if c.outline != nil {
		c.outline.before(before)
	}
	for _, t := range c.Traces {
		t.Discard(before)
	}
	for _, t := range c.Tracks {
		t.Discard(before)
	}
	n := 0
	for n < len(c.Events) && c.Events[n].At < before {
		n++
	}
	c.Events = append(c.Events[:0], c.Events[n:]...)
	if c.Start < before {
		c.Start = before
	}
	if c.thinner != nil {
		c.thinner.discard(before)
	}
}
