package measure

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// measure looks at what an output did from an event to the next and reports it.
func (o *outputMeter) measure(m *Meter, tr *capture.Trace, e capture.Event, to capture.Instant) {
	if mv, moves := m.plan.Moves[e.Name]; moves {
		o.follow(m, tr, e, to, mv)
		return
	}
	x := m.expectation(o, e.Name)
	o.now = seen{expect: x, before: o.level, wasHigh: o.high, wasKnown: o.known}
	s := &o.now
	before := o.prior(tr)
	before.train = x.Demand == analyze.Train || o.flashed.Flashes()
	s.o = observe(tr, e.At, to, m.keptSpans, before)
	if s.o.n == 0 {
		o.nothing(m, e)
		return
	}
	s.watched = (s.o.last.Sub(e.At) + leftOut(m.keptSpans, s.o.last, to)).Seconds()
	s.moved = s.o.moved()
	s.stretch = o.judgedStretch()
	if from, flashed := o.restsFrom(s.stretch.high); flashed {
		s.stretch = span{high: s.stretch.high, from: max(from, s.stretch.from), to: s.stretch.to, ended: s.stretch.ended}
	}
	s.high = s.stretch.high
	s.state = levelOf(tr, s.stretch, &s.o)
	if s.endLevel = s.state; s.o.final() != s.stretch {
		s.endLevel = levelOf(tr, s.o.final(), &s.o)
	}
	want, named := x.Demand.State()
	s.brief = named && !s.moved && s.high != want && o.watchedTooBriefly()
	if !s.before.known() && s.moved {
		s.before = levelOf(tr, s.o.spans[0], &s.o)
	}
	if x.Demand == analyze.Train || x.Demand == analyze.Any && s.o.crossings() > 1 && s.o.more == 0 || o.flashed.Flashes() {
		s.train = o.followTrain(m, tr, e, to)
	}
	o.placeCrossing(tr, e, to)
	o.measureHold(m, tr, e, to)
	if o.plan == nil && !m.undemanded {
		o.reportHold(m, e, analyze.NoLimit(), true)
		return
	}
	o.reportLevels(m, tr, e)
	o.reportSwitching(m, tr, e, to)
	if x.Demand == analyze.Train || x.Demand == analyze.Any {
		o.reportTrain(m, e)
	}
	if !x.Flashes() {
		o.reportHold(m, e, o.limitOf(analyze.Hold), false)
	}
	switch o.demand = x.Demand; {
	case x.Flashes():
		o.demand = analyze.Any // it may be in either state at the next event
	case x.Demand == analyze.Pulse || x.Demand == analyze.Train:
		o.demand = analyze.Low // that is how a pulse leaves it
	}
}

// judgedStretch is the stretch of the state that counts: the longest one in the
// state demanded; where none is demanded, or it was never reached, the last.
func (o *outputMeter) judgedStretch() span {
	s := &o.now
	if want, ok := s.expect.Demand.State(); ok {
		if best, found := s.o.longest(want); found {
			return best
		}
	}
	return s.o.final()
}

// nothing reports an output without samples in a state. What state it leaves behind
// is not known.
func (o *outputMeter) nothing(m *Meter, e capture.Event) {
	o.level, o.known = level{}, false
	if none := of(analyze.NoSamples); o.plan == nil {
		m.missing(e.Name, o.signal, analyze.Hold, analyze.NoLimit(), analyze.NoVerdict, none)
	} else {
		o.nothingOf(m, e, none)
	}
}

// nothingOf lists the figures that an output in the plan should have had.
func (o *outputMeter) nothingOf(m *Meter, e capture.Event, why analyze.Doubt) {
	want, named := o.now.expect.Demand.State()
	if named {
		q := analyze.LowLevel
		if want {
			q = analyze.HighLevel
		}
		m.missing(e.Name, o.signal, q, o.limitOf(q), analyze.Undecided, why)
		o.missingSwitching(m, e, analyze.Undecided, why)
	}
	m.missing(e.Name, o.signal, analyze.Hold, o.limitOf(analyze.Hold), analyze.Undecided, why)
}

// placeCrossing finds the instant at which the output went into its state.
func (o *outputMeter) placeCrossing(tr *capture.Trace, e capture.Event, to capture.Instant) {
	s := &o.now
	if !s.moved {
		return
	}
	entry, ok := o.comesInto(s.high)
	if !ok {
		return
	}
	s.entry = entry
	if !s.state.known() || !s.before.known() {
		return
	}
	if t, stopped := s.train.turnAt(entry.from); o.flashed.Flashes() && stopped {
		s.cross, s.placed = t.cross, t.placed // it need not be the first
	} else {
		s.cross, s.placed = place(tr, e.At-capture.Instant(4*s.o.interval*1e9), entry.from, e.At, s.before, s.state)
	}
	o.averaging.add(s.cross)
	s.aberration = farthest(tr, entry.from, min(to, entry.from.Add(transient)), s.state.volts, entry.high)
	if u := e.Uncertainty.Seconds(); s.placed && u > 0 {
		s.cross.add(analyze.EventInstant, "normal", u, 1)
	}
}

// comesInto returns the stretch with which the output came into a state: the first one, and after
// flashing, which may go on until the unit has acted, the first one that flashing does not make.
// It did not come into one that it was in all along.
func (o *outputMeter) comesInto(high bool) (span, bool) {
	if s, stopped := o.stopsFlashing(high); stopped {
		return s, s.crossed
	}
	return o.now.o.entry(high)
}

// stopsFlashing returns the stretch in a state by which an output that flashed before shows that
// it does so no longer, and whether there is one.
func (o *outputMeter) stopsFlashing(high bool) (span, bool) {
	if !o.flashed.Flashes() {
		return span{}, false
	}
	for _, s := range o.now.o.spans {
		if s.high == high && s.to.Sub(s.from).Seconds() > stopped*o.longestFlash(high) {
			return s, true
		}
	}
	return span{}, false
}

// restsFrom is from when on an output that flashed before must keep a state: until flashing would
// have shown itself, the unit may still have begun a pulse that is cut short.
func (o *outputMeter) restsFrom(high bool) (capture.Instant, bool) {
	s, ok := o.stopsFlashing(high)
	if !ok {
		return 0, false
	}
	return min(s.to, s.from+capture.FromSeconds(stopped*o.longestFlash(high))), true
}

// flashesOn reports whether an output that was to flash until the event flashes still.
func (o *outputMeter) flashesOn() bool {
	want, named := o.now.expect.Demand.State()
	if !named || !o.flashed.Flashes() || len(o.now.train.turns) < 3 {
		return false
	}
	_, stopped := o.stopsFlashing(want)
	return !stopped
}

// flashesFreely reports whether an output that was to flash until the event, and may do anything
// from then on, ends the state as flashing does: then it was to flash until the next event, too.
// It may have begun anew meanwhile.
func (o *outputMeter) flashesFreely() bool {
	if o.now.expect.Demand != analyze.Any || !o.flashed.Flashes() {
		return false
	}
	s := o.now.o.final()
	return o.now.o.more > 0 || s.to.Sub(s.from).Seconds() <= stopped*o.longestFlash(s.high)
}

// longestFlash is how long, in seconds, flashing that was expected keeps an output high, or low.
func (o *outputMeter) longestFlash(high bool) float64 {
	if high {
		return o.flashed.OnSpan().Upper
	}
	return o.flashed.OffSpan().Upper
}

// free reports whether an output that may do anything changed its state more than once.
func (s *seen) free() bool { return s.expect.Demand == analyze.Any && s.o.crossings() > 1 }

// passes reports whether an output that may do anything ended in a state that fewer samples show
// than make a histogram: it may only be passing through it.
func (o *outputMeter) passes() bool {
	s := &o.now
	return o.plan != nil && s.expect.Demand == analyze.Any && s.moved && s.state.mean
}

// stopped is how many times longer than flashing can make it an output is in one state, once it
// no longer flashes.
const stopped = 1.25

// transient is how long a transition may overshoot, at most: an excursion lasts.
const transient = longestSettling / 5

// farthest returns the reading in from..to that lies furthest beyond a level: above it
// after a rise, below it after a fall; the level where none does.
func farthest(tr *capture.Trace, from, to capture.Instant, volts float64, rising bool) float64 {
	x := extremesOf(tr, from, to)
	if rising {
		return math.Max(volts, x.hi)
	}
	return math.Min(volts, x.lo)
}

// measureHold finds the longest excursion out of the state between the output's
// settling and the next event.
func (o *outputMeter) measureHold(m *Meter, tr *capture.Trace, e capture.Event, to capture.Instant) {
	s := &o.now
	s.absent = absence{seconds: math.NaN()}
	if !s.state.known() {
		return
	}
	l := o.heldLevel()
	tol := math.Max(leastTolerance, tolerance*(s.o.hi-s.o.lo))
	s.absent = absences(tr, o.heldFrom(tr, e, to, tol), to, m.keptSpans, l, tol)
	if isGap(s.absent.gap, s.o.interval*float64(s.o.n), s.o.n) {
		s.gap = s.absent.gap
	}
}

// heldFrom is when the output has to keep its state: at once where it must not move,
// else once a transition has reached its state and is no longer settling. What settles may
// bounce and ring; an output that goes back to the other state later on has left its own.
func (o *outputMeter) heldFrom(tr *capture.Trace, e capture.Event, to capture.Instant, tol float64) capture.Instant {
	s := &o.now
	if s.expect.Demand == analyze.Unmoved && s.wasKnown {
		return e.At
	}
	entry, ok := o.comesInto(s.high)
	towards := s.state.volts
	if s.expect.Demand == analyze.Train {
		if ok = s.train.rest >= 0; ok {
			entry, towards = s.o.spans[s.train.turns[s.train.rest].first], o.heldLevel()
		}
	}
	if s.expect.Demand == analyze.Pulse {
		if entry, ok = s.o.after(s.stretch); ok {
			towards = o.heldLevel()
		}
	}
	if !ok {
		if rests, flashed := o.restsFrom(s.high); flashed {
			return max(e.At, rests)
		}
		return e.At
	}
	from, _ := span{from: entry.from, to: to, crossed: true}.settled(s.o.interval)
	from = min(from, entry.from.Add(transient))
	if back, left := s.o.leaves(entry); left {
		from = min(from, back)
	}
	if rests, flashed := o.restsFrom(s.high); flashed {
		return max(from, rests)
	}
	return max(from, reached(tr, entry.from, to, towards, tol/2, entry.high))
}

// reached is when an output that crossed its mid level came within tol of the level
// it was going to, or beyond; to where it never did.
func reached(tr *capture.Trace, from, to capture.Instant, volts, tol float64, rising bool) capture.Instant {
	near := float32(volts - tol)
	if !rising {
		near = float32(volts + tol)
	}
	for p := range tr.Pieces(from, to) {
		if d := p.Sum; d != nil {
			switch n := float64(near); {
			case rising && d.First >= n || !rising && d.First <= n:
				return max(from, d.From)
			case rising && d.High >= n:
				return d.HighAt
			case !rising && d.Low <= n:
				return d.LowAt
			}
			continue
		}
		for i, v := range p.V {
			if rising && v >= near || !rising && v <= near {
				return capture.Instant(p.At[i])
			}
		}
	}
	return to
}

// heldLevel is the level that the output must keep.
func (o *outputMeter) heldLevel() float64 {
	s := &o.now
	if d := s.expect.Demand; (d == analyze.Unmoved || d == analyze.Pulse || d == analyze.Train) && s.before.known() {
		return s.before.volts
	}
	return s.state.volts
}

func (o *outputMeter) reportHold(m *Meter, e capture.Event, limit analyze.Limit, other bool) {
	s := &o.now
	if other {
		limit = analyze.Limit{Lower: math.NaN(), Upper: 0} // others must keep their state
	}
	if math.IsNaN(s.absent.seconds) {
		m.missing(e.Name, o.signal, analyze.Hold, limit, analyze.Undecided, of(s.state.unknown))
		if o.mustHold() {
			m.lastRow().Verdict = analyze.Undecided
		}
		return
	}
	if why, never := o.neverReached(); never && !other {
		m.missing(e.Name, o.signal, analyze.Hold, limit, analyze.Undecided, why)
		return
	}
	x := analyze.Measurement{Event: e.Name, Signal: o.signal, Quantity: analyze.Hold, Value: s.absent.seconds, Limit: limit}
	if s.gap > 0 {
		x.Doubts = figure(analyze.SamplesAbsent, s.gap)
	}
	var budget []gum.Component
	// Each end of an excursion that is not the state's own lies anywhere in one sampling
	// interval: the difference of two is triangular.
	switch {
	case s.absent.samples == 0:
	case s.absent.ends == 1:
		budget = []gum.Component{gum.Line(analyze.SamplingInterval, "rectangular", s.absent.step/2, 1)}
	default:
		budget = []gum.Component{gum.Line(analyze.SamplingInterval, "triangular", s.absent.step, 1)}
	}
	m.row(x, budget)
	y := m.lastRow()
	if limit.None() && o.mustHold() && s.absent.samples == 0 {
		y.Verdict = analyze.Pass // it needs no limit to be met
	}
	switch {
	case y.Verdict != analyze.Pass:
	case s.gap > 0:
		y.LeaveUndecided() // nothing says that it kept its state meanwhile
	case s.o.n < FewHeld:
		y.LeaveUndecided(figure(analyze.FewSamples, float64(s.o.n))...)
	}
	if o.plan != nil || o.wanders() {
		m.doubtLeftOut(s)
	}
}

// mustHold reports whether the plan expects the output to keep a state.
func (o *outputMeter) mustHold() bool { return o.plan != nil && o.now.expect.Demand != analyze.Any }

// neverReached reports whether the output was never in the state that it should have
// kept, and what there is to say of that.
func (o *outputMeter) neverReached() (analyze.Doubt, bool) {
	s := &o.now
	switch want, named := s.expect.Demand.State(); {
	case !named || s.expect.Demand == analyze.Pulse || s.expect.Demand == analyze.Train || s.high == want:
		return analyze.Doubt{}, false
	case s.brief:
		return o.watchedBriefly(), true
	default:
		return didNotGo(want), true
	}
}

// FewHeld is how many samples a state must have for its ripple, or that it was kept, to
// be known at all.
const FewHeld = 3

// wanders reports whether an output moved, or has so much noise that an excursion of it
// may not have been worth keeping. What stands still has every one kept that is much
// more than its noise, see capture.Capture.Around.
func (o *outputMeter) wanders() bool {
	const much = 16 // twice Around's share of the noise, since the level may lie that far from where it was last
	return o.now.moved || much*o.now.state.noise > leastTolerance
}

// doubtLeftOut takes back a pass of the last row that samples which were left out may
// hide something from.
func (m *Meter) doubtLeftOut(s *seen) {
	if y := m.lastRow(); s.absent.leftOut >= leastLeftOut && y.Verdict == analyze.Pass {
		y.LeaveUndecided(figure(analyze.SamplesLeftOut, s.absent.leftOut)...)
	}
}

// doubtEarlier takes back a failure of the last row that rests on samples of the settling: a state
// of which the later ones were left out is told from those kept, which begin before the whole one
// counts as settled. What happened meanwhile is no part of the state.
func (m *Meter) doubtEarlier(s *seen) {
	settled, _ := s.stretch.settled(s.o.interval)
	if y := m.lastRow(); s.o.cut && s.state.from < settled && y.Verdict == analyze.Fail {
		y.LeaveUndecided(figure(analyze.SamplesLeftOut, s.absent.leftOut)...)
	}
}

// doubtDrift leaves the level in the last row undecided where samples were left out and those
// kept right after the output came into its state would be judged otherwise: it may have gone
// from the one to the other at any time between.
func (m *Meter) doubtDrift(tr *capture.Trace, s *seen) {
	y := m.lastRow()
	if s.absent.leftOut < leastLeftOut || y.Verdict != analyze.Pass && y.Verdict != analyze.Fail {
		return
	}
	i := slices.IndexFunc(m.keptSpans, func(k capture.Span) bool { return k.To > s.stretch.from })
	if i < 0 {
		return
	}
	till := min(m.keptSpans[i].To, s.stretch.to)
	x := extremesOf(tr, max(s.stretch.from, till.Add(-edgeTime)), till+1)
	if x.n == 0 {
		return
	}
	early := *y
	early.Value = (x.lo + x.hi) / 2
	if Judge(&early, m.plan.Decide); early.Verdict != y.Verdict {
		y.LeaveUndecided(figure(analyze.SamplesLeftOut, s.absent.leftOut)...)
	}
}

// scattering makes a budget line from a standard deviation that the samples of two states
// show: with as many degrees of freedom as that with the fewer has.
func scattering(source gum.Source, deviation, sensitivity float64, before, after level) gum.Component {
	c := gum.Line(source, "normal", deviation, sensitivity)
	c.DegreesOfFreedom = math.Min(before.dof, after.dof)
	return c
}

// reportLevels reports the level of the state and its ripple.
func (o *outputMeter) reportLevels(m *Meter, tr *capture.Trace, e capture.Event) {
	s := &o.now
	q := analyze.LowLevel
	if o.namesHigh() {
		q = analyze.HighLevel
	}
	if s.free() && (s.o.more > 0 || !s.state.known()) || o.passes() {
		return // it may go to and fro, and the state that it ends in need be none that it keeps
	}
	if !s.state.known() {
		m.missing(e.Name, o.signal, q, o.limitOf(q), analyze.Undecided, of(s.state.unknown))
		return
	}
	if s.brief {
		m.missing(e.Name, o.signal, q, o.limitOf(q), analyze.Undecided, o.watchedBriefly())
		return
	}
	m.levelRow(tr, e.Name, o, q, s.state, o.limitOf(q))
	m.doubtDrift(tr, s)
	o.reportRipple(m, tr, e.Name)
	if s.state.n < FewHeld {
		return
	}
	switch s.expect.Demand {
	case analyze.Pulse:
		o.reportPulseEnd(m, tr, e)
	case analyze.Train:
		o.reportTrainLow(m, tr, e)
	}
}

// namesHigh says whether the level is reported as the high one: by what was
// demanded, else by what it is.
func (o *outputMeter) namesHigh() bool {
	if want, ok := o.now.expect.Demand.State(); ok {
		return want
	}
	return o.now.high
}

// levelRow reports a state level with its budget.
func (m *Meter) levelRow(tr *capture.Trace, event string, o *outputMeter, q analyze.Quantity, l level, limit analyze.Limit) {
	x := analyze.Measurement{Event: event, Signal: o.signal, Quantity: q, Value: l.volts, Limit: limit}
	if l.mean {
		x.Doubts = figure(analyze.PlainMean, float64(l.n))
	}
	m.row(x, levelBudget(tr, l))
}

// levelBudget lists what a state level's uncertainty is made of.
func levelBudget(tr *capture.Trace, l level) []gum.Component {
	budget := make([]gum.Component, 0, len(tr.Converter.Doubts)+2)
	repeat := gum.Component{Source: analyze.Repeatability, Distribution: "normal",
		Standard: l.repeat, Sensitivity: 1, DegreesOfFreedom: l.dof}
	if l.n == 1 {
		repeat.Distribution = "rectangular"
	}
	if l.drifts() {
		repeat.Source = analyze.LevelDrift
	}
	budget = append(budget, repeat)
	return append(budget, readingsBudget(tr, l.volts, l.rounding(tr.Converter))...)
}

// readingBudget lists what the uncertainty of a voltage owes to the converter.
func readingBudget(tr *capture.Trace, volts float64) []gum.Component {
	return readingsBudget(tr, volts, tr.Converter.StepVolts/2)
}

// readingsBudget does so where rounding leaves no more than the half-width, in volts.
func readingsBudget(tr *capture.Trace, volts, rounding float64) []gum.Component {
	budget := make([]gum.Component, 0, len(tr.Converter.Doubts)+1)
	if rounding > 0 {
		budget = append(budget, gum.Line(analyze.Resolution, "rectangular", rounding, 1))
	}
	for _, d := range tr.Converter.Doubts {
		// One source: its share of the reading and its volts go together.
		if half := math.Abs(d.Relative*volts + d.Volts); half != 0 {
			budget = append(budget, gum.Line(gum.Source(d.Source), string(d.Distribution), half, 1))
		}
	}
	return budget
}

// samePulse is how far an output's first rise and its pulse's may be apart for the
// pulse to begin at the first: contacts bounce.
const samePulse = edgeTime

// reportPulseEnd reports the level after a pulse and the pulse's duration.
func (o *outputMeter) reportPulseEnd(m *Meter, tr *capture.Trace, e capture.Event) {
	s := &o.now
	limit := s.expect.Span()
	next, ok := s.o.after(s.stretch)
	if !s.moved || !s.high || !ok {
		v, why := analyze.Fail, of(analyze.DidNotPulse)
		if !s.moved && o.watchedTooBriefly() || s.moved && s.high && s.watched < limit.Upper {
			v, why = analyze.Undecided, o.watchedBriefly()
		}
		m.missing(e.Name, o.signal, analyze.PulseDuration, limit, v, why)
		return
	}
	low := levelOf(tr, next, &s.o)
	if low.known() {
		m.levelRow(tr, e.Name, o, analyze.LowLevel, low, o.limitOf(analyze.LowLevel))
	}
	begin, begun := s.cross, s.placed
	if s.stretch.from > s.entry.from.Add(samePulse) {
		begin, begun = place(tr, s.entry.to, s.stretch.from, e.At, low, s.state)
	}
	s.end, s.ended = place(tr, s.stretch.from, s.stretch.to, e.At, s.state, low)
	o.averaging.add(s.end)
	if !begun || !s.ended || !low.known() {
		m.missing(e.Name, o.signal, analyze.PulseDuration, limit, analyze.Undecided, of(analyze.PulseEdgesNotPlaced))
		return
	}
	budget := append(withoutEvent(begin.budget), s.end.budget...)
	m.row(analyze.Measurement{Event: e.Name, Signal: o.signal, Quantity: analyze.PulseDuration, Value: s.end.at - begin.at, Limit: limit}, budget)
}

// withoutEvent copies a crossing's budget without the event's own uncertainty,
// for times that do not begin at the event.
func withoutEvent(budget []gum.Component) []gum.Component {
	out := make([]gum.Component, 0, len(budget)+4)
	for _, c := range budget {
		if c.Source != analyze.EventInstant {
			out = append(out, c)
		}
	}
	return out
}

// reportSwitching reports the delay and the duration of a transition that was
// demanded, or that happened where anything may.
func (o *outputMeter) reportSwitching(m *Meter, tr *capture.Trace, e capture.Event, to capture.Instant) {
	s := &o.now
	want, named := s.expect.Demand.State()
	due := named && (!s.wasKnown || s.wasHigh != want)
	if named && o.flashed.Flashes() && s.high == want {
		_, turned := s.train.turnAt(s.entry.from)
		due = s.entry.crossed && turned // where it was there all along, it has no delay
	}
	if !due && !(s.expect.Demand == analyze.Any && s.moved) {
		if named && changedDemand(o.demand, s.expect.Demand) {
			o.missingSwitching(m, e, analyze.Undecided, already(want))
		}
		return
	}
	switch {
	case !s.moved && !s.wasKnown:
		o.missingSwitching(m, e, analyze.Undecided, of(analyze.StateBeforeUnknown))
	case s.brief:
		o.missingSwitching(m, e, analyze.Undecided, o.watchedBriefly())
	case !s.moved || named && s.high != want:
		o.missingSwitching(m, e, analyze.Fail, didNotGo(want))
	case !s.placed:
		o.missingSwitching(m, e, analyze.Undecided, of(analyze.CrossingNotShown))
	default:
		x := analyze.Measurement{Event: e.Name, Signal: o.signal, Quantity: analyze.SwitchingDelay, Value: s.cross.at, Limit: o.delayLimit()}
		if isGap(s.cross.step, s.watched-s.absent.leftOut, s.o.n) {
			s.crossGap = s.cross.step
			x.Doubts = figure(analyze.SamplesAbsent, s.crossGap)
		}
		m.row(x, s.cross.budget)
		o.reportDuration(m, tr, e, to)
	}
}

// ShortestWatch is how long an output is given, at least, to go where it should before
// it is said not to have (common practice, no source).
const ShortestWatch = 100 * time.Millisecond

// allowed is how long, in seconds, the output may take to go where it should.
func (o *outputMeter) allowed() float64 {
	if hi := o.delayLimit().Upper; !math.IsNaN(hi) {
		return hi
	}
	return ShortestWatch.Seconds()
}

// watchedTooBriefly reports whether the output was not watched for long enough to say that it
// does not move.
func (o *outputMeter) watchedTooBriefly() bool { return o.now.watched < o.allowed() }

func (o *outputMeter) watchedBriefly() analyze.Doubt {
	return analyze.Doubt{Code: analyze.WatchedBriefly, Value: math.Max(0, o.now.watched)}
}

func changedDemand(before, now analyze.Demand) bool {
	a, ok := before.State()
	b, okNow := now.State()
	return ok && okNow && a != b
}

func (o *outputMeter) missingSwitching(m *Meter, e capture.Event, v analyze.Verdict, why analyze.Doubt) {
	m.missing(e.Name, o.signal, analyze.SwitchingDelay, o.delayLimit(), v, why)
	if limit := o.limitOf(analyze.TransitionDuration); o.delayLimit().None() && !limit.None() {
		m.missing(e.Name, o.signal, analyze.TransitionDuration, limit, v, why)
	}
}

// delayLimit is the limit of the switching delay: the exit delay's own where one
// runs, else the plan's.
func (o *outputMeter) delayLimit() analyze.Limit {
	if x := o.now.expect; x.After > 0 && x.Demand != analyze.Pulse {
		return x.Span()
	}
	return o.limitOf(analyze.SwitchingDelay)
}

// of is a doubt without a figure.
func of(code analyze.DoubtCode) analyze.Doubt { return analyze.Doubt{Code: code, Value: math.NaN()} }

// figure is a list of one doubt with a figure.
func figure(code analyze.DoubtCode, value float64) []analyze.Doubt {
	return []analyze.Doubt{{Code: code, Value: value}}
}

// about is a doubt about a signal.
func about(code analyze.DoubtCode, signal string) analyze.Doubt {
	return analyze.Doubt{Code: code, Value: math.NaN(), Signal: signal}
}

func didNotGo(high bool) analyze.Doubt {
	if high {
		return of(analyze.DidNotGoHigh)
	}
	return of(analyze.DidNotGoLow)
}

func already(high bool) analyze.Doubt {
	if high {
		return of(analyze.AlreadyHigh)
	}
	return of(analyze.AlreadyLow)
}

// EdgeSamples is how many sampling intervals an edge must take for its duration to be a
// figure: few make it longer than it is, by up to a whole interval, since a mean or the straight
// line between two samples rounds its corners.
const EdgeSamples = 4

// reportDuration reports the 10 % to 90 % transition duration, or the bound that
// the sampling sets to it.
func (o *outputMeter) reportDuration(m *Meter, tr *capture.Trace, e capture.Event, to capture.Instant) {
	s := &o.now
	x := analyze.Measurement{Event: e.Name, Signal: o.signal, Quantity: analyze.TransitionDuration, Limit: o.limitOf(analyze.TransitionDuration)}
	if s.cross.clean {
		x.Value, x.Doubts = roundUp(s.cross.bound), []analyze.Doubt{of(analyze.AtMost)}
		m.row(x, nil)
		return
	}
	if len(s.cross.edge.at) > 0 && !s.cross.edge.straight() {
		o.reportSeveral(m, tr, e, s.cross.edge, x)
		return
	}
	lead := capture.Instant(4 * s.o.interval * 1e9)
	edge, ok := duration(tr, e.At-lead, s.entry.from, to, s.before, s.state)
	if !ok {
		m.missing(e.Name, o.signal, analyze.TransitionDuration, x.Limit, analyze.Undecided, of(analyze.ReferencesNotShown))
		return
	}
	if edge.seconds < EdgeSamples*edge.step {
		x.Value, x.Doubts = roundUp(math.Max(edge.seconds, edge.step)), []analyze.Doubt{of(analyze.AtMost)}
		m.row(x, nil)
		return
	}
	x.Value = edge.seconds - edge.longer
	// An instant at a share x between two samples has x of the later one's deviation and 1-x of
	// the other's: x² + (1-x)² is 2/3 in the mean.
	between := math.Sqrt(2.0 / 3)
	level := math.Max(s.state.unsure(tr.Converter), s.before.unsure(tr.Converter))
	budget := []gum.Component{
		gum.Line(analyze.SamplingInterval, "rectangular", edge.step, edge.bends[0]),
		gum.Line(analyze.SamplingInterval, "rectangular", edge.step, edge.bends[1]),
		gum.Line(analyze.TimeStamp, "normal", tr.Converter.Stamp.Seconds(), math.Sqrt2*between),
		scattering(analyze.StateLevels, edge.slowness*level, 1, s.before, s.state),
		scattering(analyze.ScatterOfSamples, math.Max(edge.spread/math.Sqrt(3), between*edge.slowness*max(s.state.quieterSigma, s.before.quieterSigma, tr.Converter.StepVolts/math.Sqrt(12))), 1, s.before, s.state),
	}
	if len(s.cross.edge.at) > 0 { // a line's sagitta where the slope changes by half, see smooth
		budget = append(budget, gum.Line(analyze.EdgeNotClean, "rectangular", edge.step/8, math.Sqrt2))
	}
	m.row(x, budget)
}

// reportSeveral reports the duration of a transition whose samples are not those of one edge:
// that it is between what they let it be, where they rise steadily; else a bound.
func (o *outputMeter) reportSeveral(m *Meter, tr *capture.Trace, at capture.Event, e edge, x analyze.Measurement) {
	ten, ninety, steady, ok := e.bounds()
	if !ok {
		m.missing(at.Name, o.signal, analyze.TransitionDuration, x.Limit, analyze.Undecided, of(analyze.ReferencesNotShown))
		return
	}
	if !steady {
		x.Value, x.Doubts = roundUp(ninety[1]-ten[0]), []analyze.Doubt{of(analyze.AtMost)}
		m.row(x, nil)
		return
	}
	x.Value = (ninety[0] + ninety[1] - ten[0] - ten[1]) / 2
	m.row(x, []gum.Component{
		gum.Line(analyze.EdgeNotClean, "rectangular", (ten[1]-ten[0])/2, 1),
		gum.Line(analyze.EdgeNotClean, "rectangular", (ninety[1]-ninety[0])/2, 1),
		gum.Line(analyze.TimeStamp, "normal", tr.Converter.Stamp.Seconds(), math.Sqrt2),
	})
}

// roundUp rounds a bound up to two significant digits: it says no more than that.
func roundUp(v float64) float64 {
	if v <= 0 {
		return v
	}
	digits := 1 - int(math.Floor(math.Log10(v)))
	up := math.Ceil(v*math.Pow(10, float64(digits)) - 1e-6)
	// Through the decimal text, so that the result is the nearest number to it.
	w, err := strconv.ParseFloat(fmt.Sprintf("%.0fe%d", up, -digits), 64)
	if err != nil {
		return v
	}
	return w
}

// after makes the state that the output ended in the one that the next starts from.
func (o *outputMeter) after() {
	s := &o.now
	if s.o.n == 0 {
		return
	}
	if !o.flashesFreely() {
		o.flashed = s.expect
	}
	last, end := s.o.final(), s.endLevel
	if s.o.more > 0 {
		// Crossings that are not kept lie within the last stretch: its level is not that of the
		// state at its end, and the next state finds out by itself how it begins.
		end = level{unknown: analyze.NoSettledSamples}
	}
	o.settle(end, last.high)
	if last.crossed {
		o.movedAt = last.from
	}
}
