package analyze

import (
	"fmt"
	"math"

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

// absence is what an output did out of its state.
type absence struct {
	seconds float64 // the longest excursion
	step    float64 // resolution of that in seconds
	samples int     // that the excursion has
	far     float64 // the farthest sample of all, volts
	gap     float64 // the longest time without samples, seconds
}

// absences looks at how samples from..to kept within tol of the level.
func absences(tr *capture.Trace, from, to capture.Instant, volts, tol float64) absence {
	w := watch{absence: absence{far: volts}, from: from, prev: from}
	c, t := float32(volts), float32(tol)
	for ts, vs := range tr.Blocks(from, to) {
		for i, v := range vs {
			if !reading(v) {
				continue
			}
			at := capture.Instant(ts[i])
			w.longest = max(w.longest, at-w.prev)
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
	w.gap = max(w.longest, to-w.prev).Seconds()
	return w.absence
}

// watch follows an output sample by sample. An excursion lasts from the middle of
// the interval before its first sample to the middle of the one after its last.
type watch struct {
	absence
	from, prev capture.Instant
	longest    capture.Instant // between two samples
	began      capture.Instant
	edge       float64 // interval in which it began, seconds
	run        int     // samples in the present excursion
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
