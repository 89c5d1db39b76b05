package measure

import (
	"math"
	"slices"

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
	interval  float64         // mean seconds between samples
	last      capture.Instant // when the last sample was taken
	// cut says that samples after the last one were left out on purpose.
	cut bool
	// kept is how many spans are kept.
	kept int
}

// mostBetween is the share of the samples in the middle half of the amplitude above
// which an output whose amplitude is small drifts and does not switch: a straight
// drift has half of them there, hum a third.
const mostBetween = 0.25

// keptSpans bounds what is kept of an output that will not stop moving.
const keptSpans = 64

// keptTurns bounds what is kept of one that is to go high and low again and again.
const keptTurns = 4096

// moved reports whether the output crossed its mid reference level.
func (o observed) moved() bool { return len(o.spans) > 1 }

// crossings counts the crossings of the mid reference level.
func (o observed) crossings() int { return max(0, len(o.spans)-1) + o.more }

// final returns the stretch at the end.
func (o observed) final() span { return o.spans[len(o.spans)-1] }

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

// prior is what is known of an output when a state begins.
type prior struct {
	level       level   // of the state that it comes from
	high, known bool    // which state that was
	swing       float64 // volts between its two states, as far as is known
	nominal     float64 // volts
	train       bool    // it is expected to go high and low again and again
}

// pulses counts the times for which the output went high, bounce not counted.
func (o *observed) pulses() int {
	n := 0
	for i, s := range o.spans {
		bounce := i >= 2 && s.from.Sub(o.spans[i-2].to) < edgeTime
		if s.high && s.crossed && !bounce {
			n++
		}
	}
	return n
}

// after returns the stretch that follows one.
func (o *observed) after(s span) (span, bool) {
	for _, next := range o.spans {
		if next.from == s.to && s.ended {
			return next, true
		}
	}
	return span{}, false
}

// leaves returns the last instant at which an output that came into a state was still in
// it before it left for the other one, the bounce of coming into it not counted; and
// whether it did.
func (o *observed) leaves(entry span) (at capture.Instant, ok bool) {
	i := slices.Index(o.spans, entry)
	for ; i >= 0 && i+1 < len(o.spans); i += 2 {
		last, away := o.spans[i], o.spans[i+1]
		if away.from.Sub(last.from) >= edgeTime {
			return max(last.from, last.to-capture.Instant(2*o.interval*1e9)), true
		}
	}
	return 0, false
}

// observe splits the interval into stretches of one state each. kept says where samples
// were kept.
func observe(tr *capture.Trace, from, to capture.Instant, kept []capture.Span, p prior) observed {
	x := extremesOf(tr, from, to)
	o := observed{n: x.n, lo: x.lo, hi: x.hi, low: math.NaN(), high: math.NaN(), last: x.last, kept: keptSpans}
	if p.train {
		o.kept = keptTurns
	}
	if x.n == 0 {
		return o
	}
	o.cut = leftOut(kept, x.last, to) > 0
	o.interval = (to.Sub(from) - leftOut(kept, from, to)).Seconds() / float64(x.n)
	if p.level.known() {
		o.lo, o.hi = math.Min(o.lo, p.level.volts), math.Max(o.hi, p.level.volts)
	}
	if o.hi-o.lo >= leastStep {
		h := newHistogram(o.lo, o.hi)
		h.fill(tr, from, to)
		drifts := h.between() > mostBetween && o.hi-o.lo < p.swing/2
		if p.level.known() {
			h.add(p.level.volts, max(1, min(p.level.n, x.n/4)))
		}
		low, high := h.stateLevels()
		if high-low >= leastStep && !drifts {
			o.low, o.high = low, high
			o.split(tr, from, to, p)
			return o
		}
	}
	o.spans = []span{{high: o.single(p), from: from, to: to}}
	return o
}

// single says which state an output that kept one is in.
func (o *observed) single(p prior) bool {
	middle := (o.lo + o.hi) / 2
	if p.level.known() && p.known && math.Abs(middle-p.level.volts) < math.Max(leastStep, p.swing/4) {
		return p.high
	}
	return middle > p.nominal/2
}

// split finds the crossings of the mid reference level, with hysteresis. It begins
// with the last sample before the interval, since a crossing may lie between that
// and the first one within.
func (o *observed) split(tr *capture.Trace, from, to capture.Instant, p prior) {
	mid := (o.low + o.high) / 2
	up := float32(mid + hysteresis*(o.high-o.low))
	down := float32(mid - hysteresis*(o.high-o.low))
	current := span{from: from, to: to}
	if p.known && p.level.known() {
		current.high = p.level.volts > mid
	} else if v, ok := firstIn(tr, from, to); ok {
		current.high = v > mid
	}
	for p := range tr.Pieces(from, to) {
		if p.Sum != nil {
			o.turns(p.Sum, &current, float64(up), float64(down))
			continue
		}
		for i, v := range p.V {
			if current.high && v > down || !current.high && v < up || !reading(v) {
				continue
			}
			o.turn(&current, capture.Instant(p.At[i]))
		}
	}
	o.spans = append(o.spans, current)
}

// turn begins a stretch in the other state.
func (o *observed) turn(current *span, at capture.Instant) {
	if len(o.spans) >= o.kept-1 {
		o.more++
		current.high = !current.high
		return
	}
	next := span{high: !current.high, from: at, to: current.to, crossed: true}
	current.to, current.ended = at, true
	o.spans = append(o.spans, *current)
	*current = next
}

// turns takes in samples that were thinned out. Where they crossed once, that was at their
// first one or later; where more often, only how often is known.
func (o *observed) turns(d *capture.Digest, current *span, up, down float64) {
	if current.high && d.Low > down || !current.high && d.High < up {
		return
	}
	high := d.Last >= up || current.high && d.Last > down
	n := d.Swings
	if (n%2 == 1) != (high != current.high) {
		n++
	}
	if current.high && d.High < up || !current.high && d.Low > down {
		n = 1
	}
	if n == 1 {
		o.turn(current, d.From)
		return
	}
	o.more += max(2, n)
	current.high = high
}

// firstIn returns the first reading in from..to.
func firstIn(tr *capture.Trace, from, to capture.Instant) (volts float64, ok bool) {
	for p := range tr.Pieces(from, to) {
		if p.Sum != nil {
			return p.Sum.First, true
		}
		for _, v := range p.V {
			if reading(v) {
				return float64(v), true
			}
		}
	}
	return 0, false
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
