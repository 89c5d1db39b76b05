package analyze

import (
	"math"
	"slices"
	"time"

	"makebreak/rig/capture"
)

// A state in which the unit was not supplied as it was told shows nothing of the unit, nor
// do those after it in the cycle: a panel may have started anew, a relay may have let go.

// unfelt is for how long the supply may be gone at the end of a state, as it is looked at
// that much before the next event.
const unfelt = time.Millisecond

// supplyWasLost is the reason of a figure that is not trusted, and supplySignal stands for
// the unit's supply where a signal is named.
const (
	supplyWasLost = "the supply's converter had lost its setting"
	supplySignal  = "supply"
)

// unsupplied reports whether the unit may have been supplied otherwise than it was told
// before the instant.
func unsupplied(c *capture.Capture, before capture.Instant) bool {
	return slices.ContainsFunc(c.Unsupplied, func(s capture.Span) bool { return s.From < before.Add(-unfelt) })
}

// distrust takes back the figures from a row on.
func (m *Meter) distrust(row int) {
	for i := range m.out.Measurements[row:] {
		x := &m.out.Measurements[row+i]
		*x = m.unmeasured(x.Event, x.Signal, x.Quantity, x.Limit, Undecided, supplyWasLost)
	}
}

// distrustState takes back all that was measured and seen in the present state.
func (m *Meter) distrustState(e capture.Event) {
	m.distrust(m.firstRow)
	m.out.Symptoms = m.out.Symptoms[:m.firstSymptom]
	if !m.free {
		m.symptom(e, supplySignal, SupplyLost, "", math.NaN(), math.NaN())
	}
}

// resettle takes over where an output stands once it has been supplied again: all that it
// showed before that is forgotten.
func (o *outputMeter) resettle(c *capture.Capture, to capture.Instant) {
	o.lowLevel, o.highLevel = o.had.low, o.had.high
	o.level, o.known = level{}, false
	tr := c.Traces[o.index]
	seen := observe(tr, c.Unsupplied[len(c.Unsupplied)-1].To, to, c.Kept, o.prior(tr))
	if seen.n == 0 {
		return
	}
	last := seen.final()
	o.settle(levelOf(tr, last, &seen), last.high)
}
