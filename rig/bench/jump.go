package bench

import (
	"slices"
	"time"

	"makebreak/rig/capture"
)

// I²C has no check sum: a bit that a disturbance turns over on the wire makes one wrong
// reading and leaves no trace. The conversion stands in its register until the next one
// ends, so a reading that differs from the one before by more than noise makes is read
// again at once, and what two readings say is taken.

// leastJump is the smallest step, in codes of the conversion register, for which a
// reading is read again. An ADS1115's noise is some ten codes peak to peak at its worst
// setting (SBAS444, noise table, from memory), an ADS1015's flicker between two steps is
// 16. At ±4.096 V, 32 codes are 4 mV at the pin; what is turned over below that stays
// within the ripple.
//
// ripple is how many times its usual step an output must make besides: where the output
// itself ripples, every reading would be read twice. The largest step of a sampled sine
// is 1.6 times its mean one, that of a sawtooth with eight samples a period 4 times.
const (
	leastJump = 32
	ripple    = 4
)

// jumpPace is how the usual step is followed: by a sixty-fourth of the difference a reading.
const jumpPace = 1.0 / 64

// jumps knows how a channel's readings usually differ from one to the next.
type jumps struct {
	known    bool
	last     int16
	meanStep float64 // in codes; one step counts as a jump at most
}

// most is the largest step that needs no second reading.
func (j *jumps) most() float64 { return max(leastJump, ripple*j.meanStep) }

// step is how far a code lies from the one before, in codes.
func (j *jumps) step(code int16) int {
	d := int(code) - int(j.last)
	return max(d, -d)
}

// doubtful reports whether a reading is to be read again: it differs much from the one
// before, or it is the first one of its channel, which nothing vouches for.
func (j *jumps) doubtful(code int16) bool {
	if !j.known {
		return true
	}
	step := j.step(code)
	return step > leastJump && float64(step) > j.most()
}

// add takes a reading in that counts.
func (j *jumps) add(code int16) {
	if j.known {
		step := j.step(code)
		counts := float64(step)
		if step > leastJump {
			counts = min(counts, j.most())
		}
		j.meanStep += jumpPace * (counts - j.meanStep)
	}
	j.known, j.last = true, code
}

// settled returns what a conversion is, which was read first as a code: by two of up to
// three readings. It is false where readings contradict each other and nothing decides,
// which counts as missed. Every reading that turned out wrong counts as a bus error.
// Where the next conversion may have ended meanwhile, the first reading stands.
func (c *chip) settled(b *Bench, end capture.Instant, keeps bool, first int16) (int16, bool, error) {
	second, same, err := c.readAgain(b, end, keeps)
	if err != nil || !same || second == first {
		return first, true, err
	}
	c.counts.BusErrors++
	third, same, err := c.readAgain(b, end, keeps)
	if err != nil {
		return 0, false, err
	}
	if same && (third == first || third == second) {
		return third, true, nil
	}
	if same {
		c.counts.BusErrors++
	}
	c.counts.MissedConversions++
	return 0, false, nil
}

// readAgain reads the conversion once more, where the bus has time, and reports whether
// it is still the one that ended at the instant. The register keeps it, where no other
// one has been started; else the next one's earliest end tells, and its ready edge.
func (c *chip) readAgain(b *Bench, end capture.Instant, keeps bool) (code int16, same bool, err error) {
	if spare, err := b.spare(); err != nil || !spare {
		return 0, false, err
	}
	if code, err = c.dev.Reread(); err != nil || keeps {
		return code, true, err
	}
	now := b.lines.Now()
	if !c.follow {
		return code, now.Sub(c.started) < c.shortest, nil
	}
	if float64(now.Sub(end)) >= 0.9*c.period() {
		return code, false, nil
	}
	err = b.takeEdges()
	return code, c.finished == 0 || c.end > now, err
}

// spare reports whether the bus has time for one more reading: no chip that goes on by
// itself may lose a conversion for it, though all chips are to be read meanwhile. One
// that is swept waits without a loss.
func (b *Bench) spare() (bool, error) {
	if b.bus.takes(readBits) <= 0 || !slices.ContainsFunc(b.chips, func(c *chip) bool { return c.follow }) {
		return true, nil
	}
	if err := b.takeEdges(); err != nil {
		return false, err
	}
	readings := 1
	for _, c := range b.chips {
		readings++
		if !c.follow {
			readings++ // and its next conversion started
		}
	}
	done := b.lines.Now().Add(time.Duration(readings) * b.bus.takes(readBits))
	for _, c := range b.chips {
		if !c.follow || !c.ended {
			continue
		}
		periods := 1.0 // until what has ended is overwritten
		if c.finished == 0 {
			periods = 2
		}
		if float64(done.Sub(c.end)) > periods*c.period() {
			return false, nil
		}
	}
	return true, nil
}
