package bench

import (
	"errors"
	"fmt"
	"math"
	"time"

	"makebreak/rig/ads1x15"
)

// A ready edge can get lost between the chip and the program: the GPIO block of a Raspberry
// Pi 1 to 4 loses edges that come close together. The conversion has ended all the same. So
// a chip whose edge is overdue is asked, and what it has converted is fetched without one.

// silence is what is known of a chip's ready edges that did not come.
type silence struct {
	lost   int     // in a row
	heard  instant // of a continuous chip: the latest edge, where some were lost since
	no     instant // of a single conversion: when the chip last said that it runs
	unsure float64 // standard uncertainty of the least known end in this recording, nanoseconds

	counted uint64 // as lost in this recording
}

// How many ready edges in a row may get lost. After mostLost, something else is wrong: the
// wire is off. A continuous chip's ends are reckoned from its latest edge, no more than
// mostReckoned of them. At suspicious, single conversions may lack edges because the chip
// has lost its thresholds; its configuration is written with each.
const (
	mostLost     = 50
	mostReckoned = 20
	suspicious   = 5
)

// unsteady is the share of its mean by which a conversion's time may differ from it, within
// the thousand conversions that the mean is of; drifting what each reckoned one adds. A data
// sheet names neither: both are assumed, and wide for an oscillator on the chip.
const (
	unsteady = 0.02
	drifting = 0.001
)

// scatter is how many of their mean deviations the times between edges may lie off their
// mean, and EdgeLatencies at least: nearly all, as an edge that comes later costs a look.
const scatter = 6

// tolerance is how much later than at its measured place a conversion's edge may come.
func (c *chip) tolerance() time.Duration {
	dev := c.span.dev
	if dev < float64(EdgeLatency) { // for every sample, and max of two floats takes longer
		dev = float64(EdgeLatency)
	}
	return time.Duration(unsteady*c.span.mean + scatter*dev)
}

// standard is the standard uncertainty of an end that the measured time gives, in
// nanoseconds: what the time may drift, and how the ends scatter (of normal scatter, the
// mean deviation is 0.8 of the standard one).
func (c *chip) standard() float64 {
	drift := unsteady + drifting*float64(c.silence.lost)
	return math.Hypot(drift*c.span.mean/math.Sqrt(3), c.span.dev/0.8)
}

// overdue is how long a conversion takes at most, its edge's lateness included: by the
// chip's own measured time, or the data sheet's longest until that is known.
func (c *chip) overdue() time.Duration {
	if c.span.n < known {
		return c.longest + scatter*EdgeLatency
	}
	return time.Duration(c.span.mean) + c.tolerance()
}

// reckons reports whether the ends of a continuous chip's conversions follow from its last.
func (c *chip) reckons() bool {
	return c.ended && c.span.n >= known && c.silence.lost < mostReckoned
}

// within is how far from its reckoned place a continuous chip's next end may be.
func (c *chip) within() time.Duration {
	return c.tolerance() + time.Duration(drifting*c.span.mean*float64(c.silence.lost))
}

// nextDue is when a continuous chip's next conversion must have ended; where that is not
// known, when the chip has kept silent for too long.
func (c *chip) nextDue(now instant) instant {
	if !c.reckons() {
		return now.Add(c.patience())
	}
	return c.end.Add(time.Duration(c.span.mean) + c.within())
}

// patience is how long a continuous chip may keep silent where nothing is known of its
// ends: no edge of several conversions in a row, in twice its slowest time at least.
func (c *chip) patience() time.Duration {
	const several = 8
	return max(2*c.longest+readyTimeout, several*c.longest)
}

// unheard goes on where no ready edge has come by the time at which the conversion must
// have ended.
func (c *chip) unheard(b *Bench, now instant) error {
	switch {
	case c.follow && c.reckons():
		return c.reckon(b, now)
	case c.follow:
		return c.keptSilent(b, now)
	case c.silence.lost >= mostLost:
		return c.ask()
	case c.silence.lost == suspicious:
		if err := c.dev.Verify(); err != nil {
			return err
		}
	}
	busy, err := c.dev.Busy() // compares the configuration, too: after a reset the register holds 0
	if err != nil {
		return err
	}
	asked := b.lines.Now()
	if err := b.takeEdges(); err != nil {
		return err
	}
	switch {
	case c.finished > 0: // the edge came late
		return c.fetch(b)
	case busy:
		return c.stillRuns(asked)
	}
	end, standard := c.endUnheard(asked)
	c.finished, c.end, c.ended = 1, end, true
	c.silence.lost++
	c.unnoticed(b, 1, standard)
	c.neighbours.stayedAway(end)
	return c.fetch(b)
}

// stillRuns waits on for a single conversion whose time should be over.
func (c *chip) stillRuns(asked instant) error {
	if asked.Sub(c.started) > ads1x15.PowerUp+c.longest+readyTimeout {
		return errNoEnd
	}
	c.silence.no = asked
	c.wake = asked.Add(c.pollGap)
	return nil
}

// endUnheard returns when a single conversion has ended whose edge did not come, with the
// standard uncertainty in nanoseconds: where the chip's measured time puts it, unless the
// chip said later that it ran; else between the data sheet's bounds.
func (c *chip) endUnheard(asked instant) (end instant, standard float64) {
	began := c.started.Add(ads1x15.PowerUp)
	end = began.Add(time.Duration(c.span.mean))
	if c.span.n >= known && c.silence.no < end {
		return end, c.standard()
	}
	from, to := max(began.Add(c.shortest), c.silence.no), min(began.Add(c.longest), asked)
	if from >= to {
		to = max(from, asked) // it took longer than the data sheet says
	}
	return from + (to-from)/2, float64(to-from) / 2 / math.Sqrt(3)
}

// reckon reads what a continuous chip has converted without an edge. Its register holds the
// latest conversion that has ended; where two may be the latest, it waits.
func (c *chip) reckon(b *Bench, now instant) error {
	period, within := c.span.mean, float64(c.within())
	since := float64(now.Sub(c.end))
	ended := math.Floor((since - within + 1) / period) // whole nanoseconds: one is left over
	if due := (ended + 1) * period; ended < 1 || since > due-within {
		c.wake = c.end.Add(time.Duration(due+within) + 1)
		return nil
	}
	if c.silence.lost == 0 {
		c.silence.heard = c.end
	}
	end, ch, standard := c.end.Add(time.Duration(ended*period)), &c.channels[0], c.standard()
	c.end, c.silence.lost = end, c.silence.lost+int(ended)
	c.wake = c.nextDue(now)
	code, sure, err := c.read(b, end, false, ch)
	if err != nil {
		return err
	}
	// After a reset the register holds 0, until the chip is told to convert (SBAS444). So most
	// readings vouch for themselves, and a slow bus is spared the question.
	if code == 0 || c.silence.lost > 1 {
		if err := c.converts(); err != nil {
			return err
		}
	}
	unsure := c.silence.unsure
	c.unnoticed(b, uint64(ended), standard)
	c.neighbours.stayedAway(end)
	if err := b.takeEdges(); err != nil {
		return err
	}
	if c.silence.lost == 0 && c.finished == 0 { // the edge has come meanwhile
		end, c.silence.unsure = c.end, unsure
	}
	c.counts.MissedConversions += uint64(ended) - 1
	if sure {
		c.keep(b, ch, code, end)
	}
	return nil
}

// converts checks that a continuous chip whose edge did not come converts all the same, after
// its reading, since the next conversion is on its way. Where its edges are waited for from
// now on, the thresholds are compared, too.
func (c *chip) converts() error {
	busy, err := c.dev.Busy() // compares the configuration
	switch {
	case err != nil:
		return err
	case !busy:
		return errStopped
	case !c.reckons():
		return c.dev.Verify()
	}
	return nil
}

// unnoticed counts conversions that ended without an edge, the last one at an instant with
// a standard uncertainty in nanoseconds.
func (c *chip) unnoticed(b *Bench, n uint64, standard float64) {
	c.counts.LostReadyEdges += n
	c.silence.counted += n
	c.silence.unsure = max(c.silence.unsure, standard)
}

// takeBack counts an edge as lost no more that has come late. What an earlier recording
// counts stands.
func (c *chip) takeBack(b *Bench) {
	if c.silence.counted > 0 {
		c.silence.counted--
		c.counts.LostReadyEdges--
	}
}

// apart takes in a continuous chip's edge that is not one conversion after the edge before.
// Conversions between both were overwritten, unless they have been fetched without an edge,
// and their edges lost. It is false for the edge of a conversion that has been fetched.
func (c *chip) apart(b *Bench, at instant) bool {
	from, fetched := c.end, float64(c.silence.lost)
	if fetched > 0 {
		from = c.silence.heard
	}
	d, period := at.Sub(from), c.period()
	k := math.Round(float64(d) / period)
	switch {
	case k <= fetched && fetched > 0: // it came late
		if k > 0 {
			c.silence.heard, c.silence.lost = at, int(fetched-k)
			c.end = at.Add(time.Duration((fetched - k) * period))
			c.takeBack(b)
		}
		return false
	case k <= 0:
		c.counts.DoubledConversions++
		return true
	}
	if k <= mostAveraged || c.span.n >= known {
		c.span.add(d / time.Duration(k)) // else a chip every other edge of which is lost is never measured
	}
	unfetched := uint64(k - fetched - 1)
	c.counts.MissedConversions += unfetched
	c.counts.LostReadyEdges += unfetched
	return true
}

// mostAveraged is how many conversions can be counted in a time though each may be 10 %
// longer or shorter than is known.
const mostAveraged = 4

// keptSilent finds out why a continuous chip's edges are not back after all that can be
// reckoned. Where its settings are right it has converted meanwhile, for nobody.
func (c *chip) keptSilent(b *Bench, now instant) error {
	err := c.ask()
	if errors.Is(err, errNoEdges) {
		from := c.started
		if c.ended {
			from = c.end
		}
		n := uint64(float64(now.Sub(from)) / c.period())
		c.counts.LostReadyEdges += n
		c.counts.MissedConversions += n
	}
	return err
}

// errNoEdges is the error of a chip that is in order and whose ready edges stay away.
var errNoEdges = errors.New("no more edges on its ready line, though its settings are right; check the wire of ALERT/RDY, or take ready out of the rig file")

// errNoEnd and errStopped are the errors of a chip that answers and does not convert.
var (
	errNoEnd   = errors.New("the conversion does not end")
	errStopped = errors.New("it does not convert any more, though its settings are right")
)

// ask finds out why a chip with a wired ready pin keeps silent: it may have been
// reset, or the pin may not reach the line.
func (c *chip) ask() error {
	if err := c.dev.Verify(); err != nil {
		return err
	}
	return fmt.Errorf("%s: %w", c.name, errNoEdges)
}
