package measure

import (
	"math"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// turn is one change of an output's state, bounce joined to it, and the stretch that it begins.
type turn struct {
	span
	first  int // of the stretch among observed.spans
	cross  crossing
	placed bool
	// before is when the stretch before began.
	before capture.Instant
}

// stretches joins spans: what an output does for less than edgeTime is the bounce of an edge, or
// an excursion of the state around it. The first one is the state that the output came from.
func (o *observed) stretches() []turn {
	if len(o.spans) == 0 {
		return nil
	}
	all := []turn{{span: o.spans[0]}}
	for i := 1; i < len(o.spans); {
		last := &all[len(all)-1]
		j := i
		for j < len(o.spans)-1 && o.spans[j].to.Sub(o.spans[j].from) < edgeTime {
			j++
		}
		s := o.spans[j]
		if s.high == last.high {
			last.to, last.ended = s.to, s.ended
		} else {
			begin := i
			if o.spans[i].high != s.high {
				begin = i + 1 // it was on its way back and left again
			}
			last.to, last.ended = o.spans[begin].from, true
			all = append(all, turn{span: span{high: s.high, from: o.spans[begin].from, to: s.to, crossed: true, ended: s.ended}, first: begin, before: last.from})
		}
		i = j + 1
	}
	return all
}

// levelsOf are the levels between which an output went within a state: of its longest stretches
// high and low. Of the first stretch the level before the state is known.
func levelsOf(tr *capture.Trace, o *observed, all []turn) (low, high level) {
	longest := func(wantHigh bool) level {
		best := -1
		for i := range all {
			if all[i].high == wantHigh && (best < 0 || all[i].to-all[i].from > all[best].to-all[best].from) {
				best = i
			}
		}
		if best < 0 {
			return level{unknown: analyze.NoSettledSamples}
		}
		return levelOf(tr, all[best].span, o)
	}
	return longest(false), longest(true)
}

// placeTurns places the turns of an output, in seconds after an event. before is the level that
// it comes from, where that is known.
func placeTurns(tr *capture.Trace, o *observed, e capture.Event, before level) []turn {
	all := o.stretches()
	low, high := levelsOf(tr, o, all)
	for i := 1; i < len(all); i++ {
		t := &all[i]
		from, to := low, high
		if !t.high {
			from, to = high, low
		}
		begin := t.before
		if i == 1 {
			begin = e.At - capture.Instant(4*o.interval*1e9)
			if before.known() {
				from = before
			}
		}
		if !from.known() || !to.known() {
			continue
		}
		t.cross, t.placed = place(tr, begin, t.from, e.At, from, to)
	}
	return all[1:]
}

// A Crossing is one change of an output's state: the instant at which it crossed its mid (50 %)
// reference level.
type Crossing struct {
	At capture.Instant
	// Standard is At's standard uncertainty and Expanded its expanded one at 95 %, in seconds;
	// NaN where the samples do not show when it was: At is then the first sample after it.
	Standard, Expanded float64 // s
	High               bool    // the state that it went to
}

// Crossings returns the crossings of an output in a state, from an event to the next one (or the
// capture's end): what is over within 20 ms, such as bounce, is none. The uncertainty of the
// event's instant is not in theirs. The state before the event counts from since on. All is false
// where samples are missing, so that there may have been more.
func Crossings(c *capture.Capture, signal string, since capture.Instant, e capture.Event, to capture.Instant) (crossings []Crossing, all bool) {
	tr := c.Trace(signal)
	if tr == nil {
		return nil, false
	}
	p := prior{nominal: nominal(tr), swing: nominal(tr), train: true}
	if was := observe(tr, since, e.At, c.Kept, p); was.n > 0 {
		last := was.final()
		p.level = levelOf(tr, last, &was)
		p.high, p.known = last.high, p.level.known()
	}
	o := observe(tr, e.At, to, c.Kept, p)
	if o.n == 0 {
		return nil, false
	}
	for _, t := range placeTurns(tr, &o, e, p.level) {
		x := Crossing{At: t.from, Standard: math.NaN(), Expanded: math.NaN(), High: t.high}
		if t.placed {
			g := gum.Combine(t.cross.budget)
			x.At = e.At + capture.FromSeconds(t.cross.at)
			x.Standard = g.Standard
			_, x.Expanded = g.Expanded()
		}
		crossings = append(crossings, x)
	}
	gap := absences(tr, e.At, to, c.Kept, 0, math.Inf(1)).gap
	return crossings, o.more == 0 && !o.cut && !isGap(gap, o.interval*float64(o.n), o.n)
}
