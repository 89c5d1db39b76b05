package measure

import (
	"math"

	"gonum.org/v1/gonum/mathext"

	"makebreak/rig/capture"
)

// Averaging says whether an output's steps are such as means over the stated time would
// show. Nothing is known of samples whose time of averaging the converter itself told.
//
// A step divides the conversion that it falls into, which then lies between the states. It
// is not shown only where it falls into a gap between two conversions or onto their border,
// within what a sample can tell from its state. When an event comes has nothing to do with
// the conversions, so that has a known chance, and over several steps it becomes improbable.
// An edge that takes its time is shown all the more.
type Averaging struct {
	Steps  int // that were asked
	Unseen int // of them, how many no sample showed
	Sharp  int // of these, how many were over sooner than a mean over the time can be
	chance float64
}

// sharpShare is the share of the time of averaging that a step takes at least: what follows
// it is a ramp of the whole time, of which cleanShare is lost at either end, and something
// for levels that move.
const sharpShare = 0.8

// add takes a crossing in.
func (a *Averaging) add(c crossing) {
	if c.chance == 0 && !c.sharp {
		return
	}
	a.Steps++
	a.chance = math.Max(a.chance, c.chance)
	if c.unseen || c.sharp {
		a.Unseen++
	}
	if c.sharp {
		a.Sharp++
	}
}

// with adds up two outputs' steps.
func (a Averaging) with(b Averaging) Averaging {
	return Averaging{a.Steps + b.Steps, a.Unseen + b.Unseen, a.Sharp + b.Sharp, math.Max(a.chance, b.chance)}
}

// Probability is at most how probable it is that as many steps or more are not shown, if the
// samples are means over the stated time (the upper tail of a binomial distribution).
func (a Averaging) Probability() float64 {
	switch {
	case a.Sharp > 0:
		return 0
	case a.Unseen == 0 || a.chance >= 1:
		return 1
	}
	return mathext.RegIncBeta(float64(a.Unseen), float64(a.Steps-a.Unseen)+1, a.chance)
}

// Averaging adds up the steps that have been measured.
func (m *Meter) Averaging() Averaging {
	var a Averaging
	for _, o := range m.outputs {
		a = a.with(o.averaging)
	}
	return a
}

// statedSpan reports whether the time of averaging is somebody's word: a bench measures it, and
// knows how well.
func statedSpan(conv capture.Converter) bool { return conv.Span > 0 && conv.SpanRel == 0 }

// sharp reports whether the step was over sooner than a mean over the span can be.
func (w window) sharp(span float64) bool {
	if w.noise > cleanShare/4 {
		return false // nobody could say where it begins and ends
	}
	left, arrived := w.k-1, w.k
	for left > 0 && w.share[left] >= cleanShare {
		left--
	}
	for arrived < len(w.share)-1 && w.share[arrived] <= 1-cleanShare {
		arrived++
	}
	return w.share[left] < cleanShare && w.share[arrived] > 1-cleanShare && w.at[arrived]-w.at[left] < sharpShare*span
}
