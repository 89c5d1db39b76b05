package measure

import (
	"math"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// A rig that is wired wrongly shows nothing of the unit. Two such faults show themselves.

// miswired notes what of the rig's wiring is wrong, and takes back the figures from a row on.
func (m *Meter) miswired(s *State, c *capture.Capture, e capture.Event, to capture.Instant, row int) {
	if s == nil || s.SupplyLost {
		return
	}
	s.Inverted = invertedReference(c, e)
	for _, next := range c.Events {
		if next.At == to && s.Inverted == "" { // then this state ended later than it seems
			s.Inverted = invertedReference(c, next)
		}
	}
	if s.Inverted != "" {
		m.distrust(row, analyze.ReferenceOpposite)
		return
	}
	if s.Floating = floating(s.Outputs); s.Floating != 0 {
		m.distrust(row, analyze.NotJoined)
	}
}

// belowOwnGround is how far below zero, in volts, two outputs or more that are off read where
// the 0 V of the rig and the unit are not joined. One that is off leaks a little above
// zero, and a converter's offset is some millivolts. One alone may have its wires swapped.
const belowOwnGround = 0.25

// longBelow is for how many seconds an output must be there that is there for a while only: no
// coil's diode conducts for so long.
const longBelow = 0.05

// floating returns the volts below zero at which the lowest output stood, before or after the
// event, where two or more that did not move were there; else 0.
func floating(outputs []OutputState) float64 {
	n, lowest := 0, 0.0
	for i := range outputs {
		o := &outputs[i]
		if o.Samples == 0 || o.Crossings > 0 || !o.LevelKnown {
			continue
		}
		low := math.Min(o.Rest, math.Min(o.Before, o.Level))
		if o.Away >= longBelow { // another output went on late in the state
			low = math.Min(low, o.AwayVolts)
		}
		if low < -belowOwnGround {
			n++
			lowest = math.Min(lowest, low)
		}
	}
	if n < 2 {
		return 0
	}
	return lowest
}

// atOnce is how much apart a drive's edge and that of the reference that sees it may be.
const atOnce = 20 * time.Millisecond

// invertedReference returns the reference that became active at an event, where it had become
// inactive as a drive went on: it reads the opposite, and reports the drive's end.
func invertedReference(c *capture.Capture, e capture.Event) string {
	if e.Timed != "reference" {
		return ""
	}
	for _, t := range c.Tracks {
		for i := 1; i < len(t.Edges); i++ {
			x, before := t.Edges[i], t.Edges[i-1]
			if x.At == e.At && x.Closed && !before.Closed && wentOn(c, t, before.At) && !wentOn(c, t, x.At) {
				return t.Signal
			}
		}
	}
	return ""
}

// wentOn reports whether another line became active at an instant, or shortly before.
func wentOn(c *capture.Capture, but *capture.Track, at capture.Instant) bool {
	for _, t := range c.Tracks {
		for _, x := range t.Edges {
			if t != but && x.Closed && x.At <= at.Add(time.Millisecond) && x.At >= at.Add(-atOnce) {
				return true
			}
		}
	}
	return false
}
