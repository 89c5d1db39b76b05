package measure

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mathext"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// train is what an output did that was to pulse or flash, or did so by itself.
type train struct {
	x     analyze.Expectation
	zero  capture.Instant // of the event
	turns []turn
	end   float64 // seconds from the event to the last sample
	// rest is the turn that begins the state after the train's end; -1: it does not end, or has not.
	rest    int
	hidden  float64 // seconds without samples, for which a pulse may have been missed; 0: none may
	after   bool    // it was to flash until this event
	crowded bool    // there are more turns than were kept, or samples were thinned out
}

// followTrain follows an output from edge to edge through a state.
func (o *outputMeter) followTrain(m *Meter, tr *capture.Trace, e capture.Event, to capture.Instant) *train {
	s := &o.now
	t := &train{x: s.expect, zero: e.At, end: s.watched, rest: -1, after: o.flashed.Flashes(), crowded: s.o.more > 0}
	if s.moved {
		t.turns = placeTurns(tr, &s.o, e, s.before)
	}
	if t.gap(absences(tr, e.At, to, m.keptSpans, 0, math.Inf(1)).gap, &s.o); t.hidden > 0 {
		s.gap = math.Max(s.gap, t.hidden)
	}
	t.rest = t.lastFall()
	return t
}

// gap says whether a time without samples, in seconds, is long enough to hide a pulse or the time
// between two.
func (t *train) gap(seconds float64, o *observed) {
	most := gapIntervals * o.interval
	if t.x.Demand == analyze.Train {
		most = math.Min(most, math.Max(2.5*o.interval, math.Min(t.x.OnSpan().Lower, t.x.OffSpan().Lower)/2))
	}
	if seconds > most {
		t.hidden = seconds
	}
}

// lastFall is the turn after which the output has to stay low: the fall of the last pulse that is
// expected, or, where there are fewer, of the last one there is.
func (t *train) lastFall() int {
	if t.x.Demand != analyze.Train || t.x.Flashes() {
		return -1
	}
	last, pulses := -1, 0
	for i, x := range t.turns {
		if x.high {
			continue
		}
		if pulses++; t.x.Pulses > 0 && pulses > t.x.Pulses {
			break
		}
		if t.x.For > 0 && last >= 0 && t.turns[i].from.Sub(t.turns[last].from).Seconds() > 2*(t.x.OnSpan().Upper+t.x.OffSpan().Upper) {
			break // it had ended, and began again
		}
		last = i
	}
	return last
}

// turnAt returns the turn that was seen first at an instant, and whether there is one.
func (t *train) turnAt(at capture.Instant) (turn, bool) {
	if t != nil {
		for _, x := range t.turns {
			if x.from == at {
				return x, true
			}
		}
	}
	return turn{}, false
}

// pulses counts the rises.
func (t *train) pulses() int {
	n := 0
	for _, x := range t.turns {
		if x.high {
			n++
		}
	}
	return n
}

// phase is how long an output was high, or low, within a train.
type phase struct {
	seconds float64
	budget  []gum.Component
	placed  bool // both of its ends are known
	// open says that it went on to the end of what was watched, for seconds at least.
	open bool
}

// phases lists how long the output was high, or low between pulses, each time. The time after the
// last pulse is none between pulses, unless the output is to flash on.
func (t *train) phases(high bool) []phase {
	var all []phase
	pulses := 0
	for i := range t.turns {
		a := &t.turns[i]
		if a.high {
			pulses++
		}
		if t.x.Pulses > 0 && (high && pulses > t.x.Pulses || !high && pulses >= t.x.Pulses) {
			break // beyond what was to come
		}
		if a.high != high {
			continue
		}
		if i+1 == len(t.turns) {
			if high || t.x.Flashes() { // else it may have ended: its number, or how long it flashed, says whether it should have
				all = append(all, t.open(a))
			}
			break
		}
		b := &t.turns[i+1]
		p := phase{seconds: b.cross.at - a.cross.at, placed: a.placed && b.placed}
		if !p.placed {
			p.seconds = b.from.Sub(a.from).Seconds()
		} else {
			p.budget = append(withoutEvent(a.cross.budget), withoutEvent(b.cross.budget)...)
		}
		if t.x.For > 0 && high && i+1 == t.rest && p.seconds < t.x.On.Seconds() {
			continue // the end of the train may have cut it short
		}
		all = append(all, p)
	}
	return all
}

// Phase is a time for which an output was high, or low between two pulses.
type Phase struct{ Seconds, Expanded float64 } // both in seconds

// Phases returns for how long an output was high, or low between pulses, each time in the state
// measured last, as far as both ends are known; none where it was not to pulse or flash.
func (m *Meter) Phases(signal string, high bool) (all []Phase) {
	for _, o := range m.outputs {
		if t := o.now.train; o.signal == signal && t != nil && t.x.Demand == analyze.Train {
			ended, _ := endedOf(t.phases(high))
			for _, p := range ended {
				_, expanded := gum.Combine(p.budget).Expanded()
				all = append(all, Phase{p.seconds, expanded})
			}
		}
	}
	return all
}

// open is a phase that nothing ended.
func (t *train) open(a *turn) phase {
	return phase{seconds: math.Max(0, t.end-a.cross.at), budget: withoutEvent(a.cross.budget), placed: a.placed, open: true}
}

// reportTrain reports how often an output went high, and for how long it was high and low.
func (o *outputMeter) reportTrain(m *Meter, e capture.Event) {
	s := &o.now
	t := s.train
	if t == nil {
		return
	}
	expected := t.x.Demand == analyze.Train
	if !expected && t.pulses() < 2 {
		return
	}
	o.reportCount(m, e)
	on, off := analyze.NoLimit(), analyze.NoLimit()
	if expected {
		on, off = t.x.OnSpan(), t.x.OffSpan()
	}
	o.reportPhases(m, e, analyze.OnTime, true, on)
	o.reportPhases(m, e, analyze.OffTime, false, off)
	if expected && t.x.For > 0 {
		o.reportFlashing(m, e)
	}
}

// reportCount reports the number of pulses. More may have come where samples are missing, and
// more may come where the output was not watched for long enough after the last one.
func (o *outputMeter) reportCount(m *Meter, e capture.Event) {
	t := o.now.train
	limit := analyze.NoLimit()
	if n := float64(t.x.Pulses); n > 0 {
		limit = analyze.Limit{Lower: n, Upper: n}
	}
	x := analyze.Measurement{Event: e.Name, Signal: o.signal, Quantity: analyze.PulseCount, Value: float64(t.pulses()), Limit: limit}
	x.Doubts = o.trainDoubts(m)
	if len(x.Doubts) > 0 {
		m.boundRow(x, analyze.LowerBound, nil)
		return
	}
	m.row(x, nil)
	if y := m.lastRow(); t.x.Pulses > 0 && y.Verdict != analyze.NoVerdict && t.pulses() <= t.x.Pulses && t.mayGoOn(o) {
		y.LeaveUndecided(o.watchedBriefly())
	}
}

// mayGoOn reports whether the output was not watched for long enough after its last edge to say
// that no further pulse comes.
func (t *train) mayGoOn(o *outputMeter) bool {
	if len(t.turns) == 0 {
		return o.watchedTooBriefly()
	}
	last := &t.turns[len(t.turns)-1]
	most := t.x.OffSpan().Upper
	if last.high {
		most = t.x.OnSpan().Upper + t.x.OffSpan().Upper
	}
	return t.end-last.from.Sub(t.zero).Seconds() < most
}

// trainDoubts are why there may be more edges than were seen; none: there are not.
func (o *outputMeter) trainDoubts(m *Meter) []analyze.Doubt {
	s := &o.now
	switch out := leftOut(m.keptSpans, s.train.zero, s.train.zero.Add(time.Duration(s.train.end*1e9))).Seconds(); {
	case s.train.hidden > 0:
		return figure(analyze.SamplesAbsent, s.train.hidden)
	case out >= leastLeftOut:
		return figure(analyze.SamplesLeftOut, out)
	case s.train.crowded:
		return figure(analyze.SamplesLeftOut, s.train.end)
	}
	return nil
}

// reportPhases reports how long the output was high, or low between pulses: the time farthest from
// what is expected, and the mean where nothing is.
func (o *outputMeter) reportPhases(m *Meter, e capture.Event, q analyze.Quantity, high bool, limit analyze.Limit) {
	t := o.now.train
	all := t.phases(high)
	x := analyze.Measurement{Event: e.Name, Signal: o.signal, Quantity: q, Limit: limit}
	if p, ok := beyondEnd(all, limit); ok {
		x.Value = p.seconds
		m.boundRow(x, analyze.LowerBound, p.budget)
		return
	}
	ended, unplaced := endedOf(all)
	if len(ended) == 0 {
		o.missingPhases(m, e, q, limit, unplaced)
		return
	}
	var budget []gum.Component
	if limit.None() {
		x.Value, budget = meanPhase(ended)
	} else {
		x.Value, budget = farthestPhase(ended, (limit.Lower+limit.Upper)/2)
	}
	m.row(x, budget)
	y := m.lastRow()
	if doubts := o.trainDoubts(m); len(doubts) > 0 {
		y.Doubts = append(y.Doubts, doubts...)
		if y.Verdict == analyze.Pass {
			y.LeaveUndecided()
		}
	}
	if unplaced > 0 && y.Verdict == analyze.Pass {
		y.LeaveUndecided(of(analyze.PulseEdgesNotPlaced))
	}
}

// missingPhases reports that there is no time to tell.
func (o *outputMeter) missingPhases(m *Meter, e capture.Event, q analyze.Quantity, limit analyze.Limit, unplaced int) {
	t := o.now.train
	switch {
	case unplaced > 0:
		m.missing(e.Name, o.signal, q, limit, analyze.Undecided, of(analyze.PulseEdgesNotPlaced))
	case t.x.Demand != analyze.Train:
		return
	case t.pulses() == 0 && !o.watchedTooBriefly() && len(o.trainDoubts(m)) == 0:
		m.missing(e.Name, o.signal, q, limit, analyze.Fail, of(analyze.DidNotPulse))
	case t.pulses() == 1 && q == analyze.OffTime && t.x.Pulses > 0 && len(o.trainDoubts(m)) == 0 && !t.mayGoOn(o):
		m.missing(e.Name, o.signal, q, limit, analyze.Fail, of(analyze.OnePulseOnly))
	default:
		m.missing(e.Name, o.signal, q, limit, analyze.Undecided, o.watchedBriefly())
	}
}

// beyondEnd returns a phase that nothing ended and that is longer already than any may be.
func beyondEnd(all []phase, limit analyze.Limit) (phase, bool) {
	if n := len(all); n > 0 && all[n-1].open && all[n-1].placed && all[n-1].seconds > limit.Upper {
		return all[n-1], true
	}
	return phase{}, false
}

// endedOf are the phases of which both ends are known; unplaced counts those of which one is not.
func endedOf(all []phase) (ended []phase, unplaced int) {
	for _, p := range all {
		switch {
		case p.open:
		case p.placed:
			ended = append(ended, p)
		default:
			unplaced++
		}
	}
	return ended, unplaced
}

// meanPhase is the mean of phases. Their errors may be one: its uncertainty is the largest of theirs.
func meanPhase(all []phase) (seconds float64, budget []gum.Component) {
	most := 0.0
	for _, p := range all {
		seconds += p.seconds / float64(len(all))
		if u := gum.Combine(p.budget).Standard; u >= most {
			most, budget = u, p.budget
		}
	}
	return seconds, budget
}

// farthestPhase is the phase farthest from a time.
func farthestPhase(all []phase, from float64) (seconds float64, budget []gum.Component) {
	best := all[0]
	for _, p := range all[1:] {
		if math.Abs(p.seconds-from) > math.Abs(best.seconds-from) {
			best = p
		}
	}
	return best.seconds, farthestBudget(best.budget, len(all))
}

// farthestBudget adds to a figure's budget that it is the farthest of n, each with an error of its
// own: so much that the interval holds all of n at once with 95 % (Bonferroni's inequality,
// textbook), by the factors of a normal distribution. Of a bounded one the largest errors are less.
func farthestBudget(budget []gum.Component, n int) []gum.Component {
	if n < 2 || len(budget) == 0 {
		return budget
	}
	const one = 1.959963984540054
	wider := mathext.NormalQuantile(1-0.025/float64(n)) / one
	u := gum.Combine(budget).Standard * math.Sqrt(wider*wider-1)
	return append(append([]gum.Component(nil), budget...), gum.Line(analyze.FarthestOfSeveral, "normal", u, 1))
}

// reportFlashing reports how long an output flashed that is to do so for a set time.
func (o *outputMeter) reportFlashing(m *Meter, e capture.Event) {
	t := o.now.train
	limit := t.x.FlashingSpan()
	x := analyze.Measurement{Event: e.Name, Signal: o.signal, Quantity: analyze.FlashingDuration, Limit: limit}
	if len(t.turns) == 0 {
		m.missing(e.Name, o.signal, x.Quantity, limit, analyze.Undecided, of(analyze.DidNotPulse))
		return
	}
	first := &t.turns[0]
	if t.rest < 0 || t.mayGoOn(o) {
		x.Value = t.end - first.cross.at
		if x.Doubts = []analyze.Doubt{o.watchedBriefly()}; !first.placed {
			m.missing(e.Name, o.signal, x.Quantity, limit, analyze.Undecided, of(analyze.PulseEdgesNotPlaced))
			return
		}
		m.boundRow(x, analyze.LowerBound, withoutEvent(first.cross.budget))
		return
	}
	last := &t.turns[t.rest]
	if !first.placed || !last.placed {
		m.missing(e.Name, o.signal, x.Quantity, limit, analyze.Undecided, of(analyze.PulseEdgesNotPlaced))
		return
	}
	x.Value = last.cross.at - first.cross.at
	m.row(x, append(withoutEvent(first.cross.budget), withoutEvent(last.cross.budget)...))
	if doubts, y := o.trainDoubts(m), m.lastRow(); len(doubts) > 0 && y.Verdict == analyze.Pass {
		y.LeaveUndecided(doubts...)
	}
}

// reportTrainLow reports the level of the output when it is low within a train, or after it.
func (o *outputMeter) reportTrainLow(m *Meter, tr *capture.Trace, e capture.Event) {
	s := &o.now
	q := analyze.LowLevel
	if len(s.train.turns) < 2 {
		return // it was not low again
	}
	low, _ := levelsOf(tr, &s.o, s.train.turns)
	switch {
	case !low.known():
		m.missing(e.Name, o.signal, q, o.limitOf(q), analyze.Undecided, of(low.unknown))
	case low.n < FewHeld:
		m.missing(e.Name, o.signal, q, o.limitOf(q), analyze.Undecided, figure(analyze.FewSamples, float64(low.n))...)
	default:
		m.levelRow(tr, e.Name, o, q, low, o.limitOf(q))
	}
}
