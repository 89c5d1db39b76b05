package measure

import (
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// A state in which the unit was not supplied as it was told shows nothing of the unit, nor
// do those after it in the cycle: a panel may have started anew, a relay may have let go.

// shortestOutage is for how long the supply may be gone at the end of a state, as it is looked at
// that much before the next event.
const shortestOutage = time.Millisecond

// unsupplied reports whether the unit may have been supplied otherwise than it was told
// before the instant.
func unsupplied(c *capture.Capture, before capture.Instant) bool {
	return slices.ContainsFunc(c.Unsupplied, func(s capture.Span) bool { return s.From < before.Add(-shortestOutage) })
}

// distrust takes back the figures from a row on, for a doubt.
func (m *Meter) distrust(row int, why analyze.DoubtCode) {
	for i := range m.out[row:] {
		x := &m.out[row+i]
		*x = m.unmeasured(x.Event, x.Signal, x.Quantity, x.Limit, analyze.Undecided, of(why))
	}
}

// resettle takes over where an output stands once it has been supplied again: all that it
// showed before that is forgotten.
func (o *outputMeter) resettle(c *capture.Capture, to capture.Instant) {
	o.lowLevel, o.highLevel = o.levelsBefore.low, o.levelsBefore.high
	o.level, o.known = level{}, false
	tr := c.Traces[o.index]
	seen := observe(tr, c.Unsupplied[len(c.Unsupplied)-1].To, to, c.Kept, o.prior(tr))
	if seen.n == 0 {
		return
	}
	last := seen.final()
	o.settle(levelOf(tr, last, &seen), last.high)
}
