package analyze

import (
	"fmt"
	"math"
	"time"

	"makebreak/rig/capture"
)

// When samples are missing: there were none for this many times their usual
// interval, and for this many seconds at least. What an output did then is not known.
const (
	gapIntervals = 10
	leastGap     = 0.5
)

// samplesMissing begins the reason of figures that missing samples leave open.
const samplesMissing = "samples are missing"

func missingFor(gap float64) string {
	return fmt.Sprintf("%s for %s", samplesMissing, seconds(gap))
}

// samplesLeftOut begins the reason of figures that samples left out on purpose leave
// open: an output that is not seen to move may still have wandered a little.
const samplesLeftOut = "samples were left out"

func leftOutFor(left float64) string {
	return fmt.Sprintf("%s on purpose for %s: only a move would have been kept; the whole capture would settle it", samplesLeftOut, seconds(left))
}

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
	samples int     // that the excursion has
	far     float64 // the farthest sample of all, volts
	gap     float64 // the longest time without samples, seconds
	left    float64 // the time of which samples were left out, seconds
}

// absences looks at how samples from..to kept within tol of the level. A time of which
// samples were left out is not one without samples.
func absences(tr *capture.Trace, from, to capture.Instant, kept []capture.Span, volts, tol float64) absence {
	w := watch{absence: absence{far: volts, left: leftOut(kept, from, to).Seconds()}, kept: kept, from: from, prev: from}
	c, t := float32(volts), float32(tol)
	for ts, vs := range tr.Blocks(from, to) {
		for i, v := range vs {
			if !reading(v) {
				continue
			}
			at := capture.Instant(ts[i])
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
		w.back(to, to)
	}
	w.without(to)
	w.gap = w.longest.Seconds()
	return w.absence
}

// watch follows an output sample by sample. An excursion lasts from the middle of
// the interval before its first sample to the middle of the one after its last.
type watch struct {
	absence
	kept       []capture.Span
	from, prev capture.Instant
	longest    capture.Instant // between two samples
	began      capture.Instant
	edge       float64 // interval in which it began, seconds
	run        int     // samples in the present excursion
}

// without takes in the time since the sample before.
func (w *watch) without(at capture.Instant) {
	if gap := at - w.prev; gap > w.longest {
		w.longest = max(w.longest, gap-capture.Instant(leftOut(w.kept, w.prev, at)))
	}
}

func (w *watch) out(at capture.Instant, v, volts float64) {
	if w.run == 0 {
		w.began, w.edge = at, 0
		if w.prev > w.from {
			w.began, w.edge = (w.prev+at)/2, at.Sub(w.prev).Seconds()
		}
	}
	w.run++
	if math.Abs(v-volts) > math.Abs(w.far-volts) {
		w.far = v
	}
}

func (w *watch) back(end, next capture.Instant) {
	if s := end.Sub(w.began).Seconds(); s > w.seconds {
		w.seconds, w.samples = s, w.run
		w.step = math.Max(w.edge, next.Sub(w.prev).Seconds())
	}
	w.run = 0
}

// isGap reports whether a time without samples, in a state seen for some seconds
// with n samples, is more than their usual interval.
func isGap(gap, watched float64, n int) bool {
	usual := (watched - gap) / float64(max(1, n))
	return gap >= leastGap && gap > gapIntervals*usual
}
