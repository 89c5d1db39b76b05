package measure

import (
	"math"
	"time"

	"makebreak/rig/capture"
)

// When samples are missing: there were none for this many times their usual interval. What
// an output did then is not known; a relay can drop out and be back.
const gapIntervals = 10

// leastLeftOut is the least time in seconds of left out samples that takes back a pass.
const leastLeftOut = 0.5

// leftOut is how much of the time from..to lies between the spans kept; nil: samples
// were kept everywhere.
func leftOut(kept []capture.Span, from, to capture.Instant) time.Duration {
	if kept == nil || to <= from {
		return 0
	}
	left := to.Sub(from)
	for _, s := range kept {
		if both := min(s.To, to).Sub(max(s.From, from)); both > 0 {
			left -= both
		}
	}
	return left
}

// absence is what an output did out of its state.
type absence struct {
	seconds float64 // the longest excursion
	step    float64 // resolution of that in seconds
	ends    int     // of the excursion that lie between samples; the other is where the state ends
	samples int     // that the excursion has
	far     float64 // the farthest sample of all, volts
	gap     float64 // the longest time without samples, seconds
	leftOut float64 // the time of which samples were left out, seconds
}

// absences looks at how samples from..to kept within tol of the level. A time of which
// samples were left out is not one without samples.
func absences(tr *capture.Trace, from, to capture.Instant, kept []capture.Span, volts, tol float64) absence {
	w := watch{absence: absence{far: volts, leftOut: leftOut(kept, from, to).Seconds()}, kept: kept, from: from, prev: from,
		span: tr.Converter.Span.Seconds(), tol: tol}
	if d := tr.Digest(from); d != nil {
		w.prev = d.To // the samples from there to here were thinned out, and none is missing
	}
	c, t := float32(volts), float32(tol)
	for p := range tr.Pieces(from, to) {
		if p.Sum != nil {
			w.digest(p.Sum, volts)
			continue
		}
		for i, v := range p.V {
			if !reading(v) {
				continue
			}
			at := capture.Instant(p.At[i])
			w.without(at)
			if d := v - c; d > t || d < -t {
				w.seen(at, float64(v), volts)
			} else if w.run > 0 {
				w.over(at)
			}
			w.prev = at
		}
	}
	if w.run > 0 {
		w.end(to)
	}
	w.without(to)
	w.gap = w.longest.Seconds()
	return w.absence
}

// watch follows an output sample by sample. An excursion lasts from the middle of
// the interval before its first sample to the middle of the one after its last.
//
// Where samples are means over a conversion, one is out if the excursion has more than a
// share tol/depth of its conversion: so the excursion begins that share of a conversion
// before that middle, and ends the rest of a conversion before the other one. That is for
// sudden excursions; on a slow one both ends are half a conversion late.
type watch struct {
	absence
	kept       []capture.Span
	from, prev capture.Instant
	longest    capture.Instant // between two samples
	span, tol  float64         // a conversion in seconds, 0: not known; volts
	beginning                  // of the present excursion
	guess      beginning       // the same from samples that were thinned out, in case that it lasts
	run        int             // samples in the present excursion
	guessed    bool            // it is known from a digest's last sample alone
	long       bool            // it holds a whole digest
	first      float64         // depth of its beginning, volts: the deeper of its first two samples
	deepest    float64         // depth of its deepest sample
	last       [2]float64      // depths of its last two samples
}

// digest takes in samples that were thinned out. Where some of them lie within tol of the
// level and some do not, the output was away for a sample at least; one that stays away, or
// was away for long, passed slowly, and how many samples are off the level says when. Of times
// away that are over within a digest the longest have samples that stay.
func (w *watch) digest(d *capture.Digest, volts float64) {
	w.without(d.From)
	w.longest = max(w.longest, capture.Instant(d.Gap))
	switch away := func(v float64) bool { return math.Abs(v-volts) > w.tol }; {
	case !away(d.Low) && !away(d.High):
		w.over(d.From)
	case d.Low-volts > w.tol || volts-d.High > w.tol:
		if w.run > 0 && w.guess != (beginning{}) {
			w.beginning, w.guess = w.guess, beginning{} // it stays away, so it left slowly
		}
		w.out(d.From, d.First, volts)
		w.run += d.N - 1
		w.last = [2]float64{math.Abs(d.Last - volts), math.Abs(d.Last - volts)}
		w.guessed, w.long = false, true
	default:
		inside, _, _ := d.Within(volts, w.tol)
		lasts := d.To - d.From
		outside := capture.Instant(0)
		if d.Swings < 2 {
			outside = lasts - capture.Instant(float64(lasts)*float64(inside)/float64(d.N))
		}
		if w.long && w.run > 0 && away(d.First) {
			w.prev = d.From + outside
			w.back(w.prev, w.prev+lasts/slowness)
		}
		w.over(d.From)
		if usual := lasts.Seconds() / float64(max(1, d.N-1)); w.seconds == 0 {
			w.run = 1
			w.take(usual, usual, 2)
		}
		if away(d.Last) {
			w.prev = d.To - outside
			w.out(w.prev+lasts/slowness, d.Last, volts)
			w.guessed = true
		}
	}
	for _, v := range [...]float64{d.Low, d.High} {
		if far := math.Abs(v - volts); far > w.tol && far > math.Abs(w.far-volts) {
			w.far = v
		}
	}
	w.prev = d.To
}

// slowness is by what share of a digest, at least, it may be wrong when a slow output passed.
const slowness = 3

// seen takes in a sample off the level. Of an excursion that was known from a digest's last
// sample alone it is the first.
func (w *watch) seen(at capture.Instant, v, volts float64) {
	if !w.guessed {
		w.out(at, v, volts)
		return
	}
	guess := w.beginning
	w.run, w.guessed = 0, false
	w.out(at, v, volts)
	w.guess = guess
}

// over ends the present excursion, if there is one, before a sample at the level. One of which
// only a digest's last sample was seen is none.
func (w *watch) over(at capture.Instant) {
	if w.run > 0 && !w.guessed {
		w.back((w.prev+at)/2, at)
	}
	w.run, w.guessed = 0, false
}

// beginning is when an excursion began.
type beginning struct {
	began capture.Instant
	edge  float64 // interval in which it did, seconds; 0: it was so from the start
}

// without takes in the time since the sample before.
func (w *watch) without(at capture.Instant) {
	if gap := at - w.prev; gap > w.longest {
		w.longest = max(w.longest, gap-capture.Instant(leftOut(w.kept, w.prev, at)))
	}
}

func (w *watch) out(at capture.Instant, v, volts float64) {
	if w.run == 0 {
		w.beginning, w.guess, w.first, w.long = beginning{at, 0}, beginning{}, 0, false
		if w.prev > w.from {
			w.began, w.edge = (w.prev+at)/2, at.Sub(w.prev).Seconds()
		}
	}
	depth := math.Abs(v - volts)
	if w.run == 0 {
		w.deepest = 0
	}
	w.run++
	w.deepest = math.Max(w.deepest, depth)
	if w.last[0], w.last[1] = w.last[1], depth; w.run <= 2 {
		w.first = math.Max(w.first, depth)
	}
	if depth > math.Abs(w.far-volts) {
		w.far = v
	}
}

// back ends an excursion whose last sample is w.prev at the sample at.
func (w *watch) back(end, at capture.Instant) {
	if w.bridges(end) {
		w.run = 0
		return
	}
	s := end.Sub(w.began).Seconds()
	if w.run > 1 { // how deep a single sample's excursion went is not known
		late := math.Min(w.span, at.Sub(w.prev).Seconds()) * (1 - w.tol/math.Max(w.last[0], w.last[1]))
		s = math.Max(s/2, s+w.early()-late) // samples that are out of step leave something
	}
	if step := at.Sub(w.prev).Seconds(); w.edge > 0 {
		w.take(s, math.Max(w.edge, step), 2)
	} else {
		w.take(s, step, 1)
	}
}

// end ends an excursion that lasts to the end of the state. Where samples are missing
// there, it may have ended any time before.
func (w *watch) end(to capture.Instant) {
	if w.bridges(to) {
		return
	}
	s, unseen := to.Sub(w.began).Seconds()+w.early(), to.Sub(w.prev).Seconds()
	if unseen < 2*w.edge {
		w.take(s, w.edge, 1)
		return
	}
	w.take(s, math.Max(w.edge, unseen), 2)
}

// bridges reports whether the present excursion is none for sure: it goes on over a time whose
// samples were left out, and no farther than a drifting level may lie off that of the samples
// that were kept.
func (w *watch) bridges(to capture.Instant) bool {
	return w.kept != nil && w.deepest <= shallow*w.tol && leftOut(w.kept, w.began, to) > 0
}

// shallow is how many times the tolerance such an excursion goes at most.
const shallow = 2

// early is how long before the middle between samples an excursion began, in seconds.
func (w *watch) early() float64 {
	return math.Min(w.span, w.edge) * w.tol / w.first
}

// take keeps an excursion that is the longest so far.
func (w *watch) take(seconds, step float64, ends int) {
	if seconds > w.seconds {
		w.seconds, w.samples, w.step, w.ends = seconds, w.run, step, ends
	}
	w.run = 0
}

// isGap reports whether a time without samples, in a state seen for some seconds
// with n samples, is more than their usual interval.
func isGap(gap, watched float64, n int) bool {
	usual := (watched - gap) / float64(max(1, n))
	return gap > gapIntervals*usual
}
