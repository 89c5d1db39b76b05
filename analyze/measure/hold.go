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
				w.out(at, float64(v), volts)
			} else if w.run > 0 {
				w.back((w.prev+at)/2, at)
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
	began      capture.Instant
	edge       float64    // interval in which it began, seconds; 0: it was so from the start
	run        int        // samples in the present excursion
	first      float64    // depth of its beginning, volts: the deeper of its first two samples
	last       [2]float64 // depths of its last two samples
}

// digest takes in samples that were thinned out. Of those that lie partly within tol of the
// level it is known when they began and ended to do so only where the output went once.
func (w *watch) digest(d *capture.Digest, volts float64) {
	w.without(d.From)
	w.longest = max(w.longest, capture.Instant(d.Gap))
	away := func(v float64) bool { return math.Abs(v-volts) > w.tol }
	switch first, last := away(d.First), away(d.Last); {
	case !away(d.Low) && !away(d.High):
		if w.run > 0 {
			w.back((w.prev+d.From)/2, d.From)
		}
	case first && last && (d.Low-volts > w.tol || volts-d.High > w.tol):
		w.out(d.From, d.First, volts)
		w.run += d.N - 1
		w.last = [2]float64{math.Abs(d.Last - volts), math.Abs(d.Last - volts)}
	default:
		if w.run > 0 && first { // it comes back some time
			w.back((d.From+d.To)/2, d.To)
		} else if w.run > 0 {
			w.back((w.prev+d.From)/2, d.From)
		}
		w.brief(d)
		if last { // it goes some time
			w.prev = d.From
			w.out(d.To, d.Last, volts)
		}
	}
	for _, v := range [...]float64{d.Low, d.High} {
		if away(v) && math.Abs(v-volts) > math.Abs(w.far-volts) {
			w.far = v
		}
	}
	w.prev = d.To
}

// brief takes in that the output was off its level for no longer than any other time, and for
// one sample at least.
func (w *watch) brief(d *capture.Digest) {
	usual := d.To.Sub(d.From).Seconds() / float64(max(1, d.N-1))
	if s := math.Max(usual, d.Away.Seconds()); s > w.seconds {
		w.seconds, w.samples, w.step, w.ends = s, max(1, int(s/usual)), usual, 2
	}
}

// without takes in the time since the sample before.
func (w *watch) without(at capture.Instant) {
	if gap := at - w.prev; gap > w.longest {
		w.longest = max(w.longest, gap-capture.Instant(leftOut(w.kept, w.prev, at)))
	}
}

func (w *watch) out(at capture.Instant, v, volts float64) {
	if w.run == 0 {
		w.began, w.edge, w.first = at, 0, 0
		if w.prev > w.from {
			w.began, w.edge = (w.prev+at)/2, at.Sub(w.prev).Seconds()
		}
	}
	w.run++
	depth := math.Abs(v - volts)
	if w.last[0], w.last[1] = w.last[1], depth; w.run <= 2 {
		w.first = math.Max(w.first, depth)
	}
	if depth > math.Abs(w.far-volts) {
		w.far = v
	}
}

// back ends an excursion whose last sample is w.prev at the sample at.
func (w *watch) back(end, at capture.Instant) {
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
	s, unseen := to.Sub(w.began).Seconds()+w.early(), to.Sub(w.prev).Seconds()
	if unseen < 2*w.edge {
		w.take(s, w.edge, 1)
		return
	}
	w.take(s, math.Max(w.edge, unseen), 2)
}

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
