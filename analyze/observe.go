package analyze

import (
	"math"

	"makebreak/rig/capture"
)

// span is a stretch of time in which an output stayed on one side of its mid
// reference level.
type span struct {
	high     bool
	from, to capture.Instant
	crossed  bool // it began with a crossing, at the sample at from
	ended    bool // it ended with a crossing, at the sample at to
}

// observed is what one output did from an event to the next.
type observed struct {
	n      int
	spans  []span
	more   int     // crossings beyond those kept as spans
	lo, hi float64 // outermost samples, the state before included
	// low and high are the two state levels by histogram; both NaN where the output
	// kept one state.
	low, high float64
	interval  float64 // mean seconds between samples
	gap       float64 // longest seconds between samples around the state
}

// keptSpans bounds what is kept of an output that will not stop moving.
const keptSpans = 64

// moved reports whether the output crossed its mid reference level.
func (o observed) moved() bool { return len(o.spans) > 1 }

// crossings counts the crossings of the mid reference level.
func (o observed) crossings() int { return max(0, len(o.spans)-1) + o.more }

// last returns the state at the end.
func (o observed) last() span { return o.spans[len(o.spans)-1] }

// longest returns the longest stretch in the state, and whether there is one.
func (o observed) longest(high bool) (span, bool) {
	var best span
	found := false
	for _, s := range o.spans {
		if s.high == high && (!found || s.to-s.from > best.to-best.from) {
			best, found = s, true
		}
	}
	return best, found
}

// entry returns the first stretch in the state that began with a crossing.
func (o observed) entry(high bool) (span, bool) {
	for _, s := range o.spans {
		if s.high == high && s.crossed {
			return s, true
		}
	}
	return span{}, false
}

// observe splits the interval into stretches of one state each. before is the
// level of the state that the output came from; wasHigh is which state that was.
func observe(tr *capture.Trace, from, to capture.Instant, before level, wasHigh, wasKnown bool, nominal float64) observed {
	x := extremesOf(tr, from, to)
	o := observed{n: x.n, lo: x.lo, hi: x.hi, low: math.NaN(), high: math.NaN()}
	if x.n == 0 {
		return o
	}
	o.interval = to.Sub(from).Seconds() / float64(x.n)
	if before.known() {
		o.lo, o.hi = math.Min(o.lo, before.volts), math.Max(o.hi, before.volts)
	}
	if o.hi-o.lo >= leastStep {
		h := newHistogram(o.lo, o.hi)
		h.fill(tr, from, to)
		if before.known() {
			h.add(before.volts, max(1, min(before.n, x.n/4)))
		}
		low, high := h.stateLevels()
		if high-low >= leastStep {
			o.low, o.high = low, high
			o.split(tr, from, to, before, wasHigh, wasKnown)
			return o
		}
	}
	o.spans = []span{{high: single(o, before, wasHigh, wasKnown, nominal), from: from, to: to}}
	return o
}

// single says which state an output that kept one is in.
func single(o observed, before level, wasHigh, wasKnown bool, nominal float64) bool {
	middle := (o.lo + o.hi) / 2
	if before.known() && wasKnown && math.Abs(middle-before.volts) < leastStep {
		return wasHigh
	}
	return middle > nominal/2
}

// split finds the crossings of the mid reference level, with hysteresis. It begins
// with the last sample before the interval, since a crossing may lie between that
// and the first one within.
func (o *observed) split(tr *capture.Trace, from, to capture.Instant, before level, wasHigh, wasKnown bool) {
	mid := (o.low + o.high) / 2
	up := float32(mid + hysteresis*(o.high-o.low))
	down := float32(mid - hysteresis*(o.high-o.low))
	current := span{from: from, to: to}
	if wasKnown && before.known() {
		current.high = before.volts > mid
	} else if _, v, ok := firstFrom(tr, from); ok {
		current.high = v > mid
	}
	for ts, vs := range tr.Blocks(from, to) {
		for i, v := range vs {
			if current.high && v > down || !current.high && v < up {
				continue
			}
			at := capture.Instant(ts[i])
			if len(o.spans) == keptSpans-1 {
				o.more++
				current.high = !current.high
				continue
			}
			current.to, current.ended = at, true
			o.spans = append(o.spans, current)
			current = span{high: !current.high, from: at, to: to, crossed: true}
		}
	}
	o.spans = append(o.spans, current)
}

func firstFrom(tr *capture.Trace, at capture.Instant) (capture.Instant, float64, bool) {
	times, volts, earlier := tr.Near(at, 0, 1)
	if len(times) == earlier {
		return 0, 0, false
	}
	return capture.Instant(times[0]), volts[0], true
}

// settled returns the part of a stretch that is used for its level: without the
// settling after the crossing that it began with, and without the samples that
// belong to the edge that it ended with. interval is the seconds between samples.
func (s span) settled(interval float64) (from, to capture.Instant) {
	from, to = s.from, s.to
	long := float64(s.to - s.from)
	if s.crossed {
		from += capture.Instant(math.Min(settling*long, float64(longestSettling)))
	}
	if s.ended {
		edge := math.Max(2*interval*1e9, float64(edgeTime))
		to -= capture.Instant(math.Min(settling*long, edge))
	}
	return from, to
}

// excursion returns the longest time in seconds for which samples from..to lay
// farther than tol from the level, the resolution of that figure and how many
// samples it holds. An excursion lasts from the middle of the interval before its
// first sample to the middle of the one after its last.
func excursion(tr *capture.Trace, from, to capture.Instant, volts, tol float64) (seconds, step float64, samples int, extreme float64) {
	c, t := float32(volts), float32(tol)
	var began, prev int64
	var edgeStep float64
	run := 0
	far := volts
	end := func(next int64) {
		length := float64(next-began) * 1e-9
		if length > seconds {
			seconds, samples = length, run
			step = math.Max(edgeStep, float64(next-prev)*1e-9)
		}
	}
	for ts, vs := range tr.Blocks(from, to) {
		for i, v := range vs {
			if d := v - c; d <= t && d >= -t {
				if run > 0 {
					end((prev + ts[i]) / 2)
					run = 0
				}
			} else {
				if run == 0 {
					began = ts[i]
					if prev != 0 {
						began = (prev + ts[i]) / 2
						edgeStep = float64(ts[i]-prev) * 1e-9
					}
				}
				run++
				if math.Abs(float64(d)) > math.Abs(far-volts) {
					far = float64(v)
				}
			}
			prev = ts[i]
		}
	}
	if run > 0 {
		end(int64(to))
	}
	return seconds, step, samples, far
}
