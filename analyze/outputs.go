package analyze

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"makebreak/analyze/gum"
	"makebreak/rig/capture"
	"makebreak/rig/words"
)

// measure looks at what an output did from an event to the next and reports it.
func (o *outputMeter) measure(m *Meter, tr *capture.Trace, e capture.Event, to capture.Instant) {
	if mv, moves := m.plan.Moves[e.Name]; moves {
		o.follow(m, tr, e, to, mv)
		return
	}
	x := m.expectation(o, e.Name)
	o.now = seen{expect: x, before: o.level, was: o.high, wasSure: o.known}
	s := &o.now
	s.o = observe(tr, e.At, to, m.kept, o.prior(tr))
	if s.o.n == 0 {
		o.nothing(m, e, to)
		return
	}
	s.watched = (s.o.last.Sub(e.At) + leftOut(m.kept, s.o.last, to)).Seconds()
	s.moved = s.o.moved()
	s.stretch = o.judgedStretch()
	s.high = s.stretch.high
	s.state = levelOf(tr, s.stretch, &s.o)
	if s.rest = s.state; s.o.final() != s.stretch {
		s.rest = levelOf(tr, s.o.final(), &s.o)
	}
	want, named := wanted(x.Demand)
	s.soon = named && !s.moved && s.high != want && o.tooSoon()
	if !s.before.known() && s.moved {
		s.before = levelOf(tr, s.o.spans[0], &s.o)
	}
	o.placeCrossing(tr, e, to)
	o.measureHold(m, tr, e, to)
	if o.plan == nil && !m.free {
		o.reportHold(m, e, NoLimit(), true)
		return
	}
	o.reportLevels(m, tr, e)
	o.reportSwitching(m, tr, e, to)
	o.reportHold(m, e, o.limitOf(Hold), false)
	if o.demand = x.Demand; x.Demand == Pulse {
		o.demand = Low // that is how a pulse leaves it
	}
}

// judgedStretch is the stretch of the state that counts: the longest one in the
// state demanded; where none is demanded, or it was never reached, the last.
func (o *outputMeter) judgedStretch() span {
	s := &o.now
	if want, ok := wanted(s.expect.Demand); ok {
		if best, found := s.o.longest(want); found {
			return best
		}
	}
	return s.o.final()
}

// wanted is the state that a demand names.
func wanted(d Demand) (high, ok bool) {
	switch d {
	case High, Pulse:
		return true, true
	case Low:
		return false, true
	}
	return false, false
}

// nothing reports an output without samples in a state. What state it leaves behind
// is not known.
func (o *outputMeter) nothing(m *Meter, e capture.Event, to capture.Instant) {
	o.level, o.known = level{}, false
	const reason = "no samples"
	if o.plan == nil {
		m.missing(e.Name, o.signal, Hold, NoLimit(), NoVerdict, reason)
	} else {
		o.nothingOf(m, e, reason)
	}
	o.unsampled(m, e, to)
}

// unsampled says that an output has no samples in a state.
func (o *outputMeter) unsampled(m *Meter, e capture.Event, to capture.Instant) {
	switch length := to.Sub(e.At); {
	case m.free:
	case length < patience:
		m.symptom(e, o.signal, WatchedShort, "", length.Seconds(), patience.Seconds())
	default:
		m.symptom(e, o.signal, NotSampled, "", math.NaN(), math.NaN())
	}
}

// nothingOf lists the figures that an output in the plan should have had.
func (o *outputMeter) nothingOf(m *Meter, e capture.Event, reason string) {
	want, named := wanted(o.now.expect.Demand)
	if named {
		q := LowLevel
		if want {
			q = HighLevel
		}
		m.missing(e.Name, o.signal, q, o.limitOf(q), Undecided, reason)
		o.missingSwitching(m, e, Undecided, reason)
	}
	m.missing(e.Name, o.signal, Hold, o.limitOf(Hold), Undecided, reason)
}

// placeCrossing finds the instant at which the output went into its state.
func (o *outputMeter) placeCrossing(tr *capture.Trace, e capture.Event, to capture.Instant) {
	s := &o.now
	if !s.moved {
		return
	}
	entry, ok := s.o.entry(s.high)
	if !ok {
		return
	}
	s.entry = entry
	if !s.state.known() || !s.before.known() {
		return
	}
	s.cross, s.placed = place(tr, e.At-capture.Instant(4*s.o.interval*1e9), entry.from, e.At, s.before, s.state)
	o.averaging.add(s.cross)
	s.aberration = farthest(tr, entry.from, min(to, entry.from.Add(transient)), s.state.volts, entry.high)
	if u := e.Uncertainty.Seconds(); s.placed && u > 0 {
		s.cross.add("instant of the event", "normal", u, 1)
	}
}

// transient is how long a transition may overshoot, at most: an excursion lasts.
const transient = longestSettling / 5

// A transition is told of that goes beyond its level by this share of its amplitude, and
// by this many volts, at least. The diode across a coil lets the terminal go 0.7 V below
// zero, and a supply sags less than that under it (common practice, no source).
const (
	farBeyond       = 0.25
	leastAberration = 2.0
)

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
	s.absent = absences(tr, o.heldFrom(tr, e, to, tol), to, m.kept, l, tol)
	if isGap(s.absent.gap, s.o.interval*float64(s.o.n), s.o.n) {
		s.gap = s.absent.gap
	}
}

// heldFrom is when the output has to keep its state: at once where it must not move,
// else once a transition has reached its state and is no longer settling. What settles may
// bounce and ring; an output that goes back to the other state later on has left its own.
func (o *outputMeter) heldFrom(tr *capture.Trace, e capture.Event, to capture.Instant, tol float64) capture.Instant {
	s := &o.now
	if s.expect.Demand == Unmoved && s.wasSure {
		return e.At
	}
	entry, ok := s.o.entry(s.high)
	towards := s.state.volts
	if s.expect.Demand == Pulse {
		if entry, ok = s.o.after(s.stretch); ok {
			towards = o.heldLevel()
		}
	}
	if !ok {
		return e.At
	}
	from, _ := span{from: entry.from, to: to, crossed: true}.settled(s.o.interval)
	from = min(from, entry.from.Add(transient))
	if back, left := s.o.leaves(entry); left {
		from = min(from, back)
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
	for ts, vs := range tr.Blocks(from, to) {
		for i, v := range vs {
			if rising && v >= near || !rising && v <= near {
				return capture.Instant(ts[i])
			}
		}
	}
	return to
}

// heldLevel is the level that the output must keep.
func (o *outputMeter) heldLevel() float64 {
	s := &o.now
	if d := s.expect.Demand; (d == Unmoved || d == Pulse) && s.before.known() {
		return s.before.volts
	}
	return s.state.volts
}

func (o *outputMeter) reportHold(m *Meter, e capture.Event, limit Limit, other bool) {
	s := &o.now
	if math.IsNaN(s.absent.seconds) {
		m.missing(e.Name, o.signal, Hold, limit, Undecided, s.state.reason)
		return
	}
	if other {
		limit = Limit{Lower: math.NaN(), Upper: 0} // others must keep their state
	}
	if why := o.neverReached(); why != "" && !other {
		m.missing(e.Name, o.signal, Hold, limit, Undecided, why)
		return
	}
	x := Measurement{Event: e.Name, Signal: o.signal, Quantity: Hold, Value: s.absent.seconds, Limit: limit}
	if s.gap > 0 {
		x.Reason = missingFor(s.gap)
	}
	var budget []gum.Component
	// Each end of an excursion that is not the state's own lies anywhere in one sampling
	// interval: the difference of two is triangular.
	switch {
	case s.absent.samples == 0:
	case s.absent.ends == 1:
		budget = []gum.Component{component("sampling interval", "rectangular", s.absent.step/2, 1)}
	default:
		budget = []gum.Component{component("sampling interval", "triangular", s.absent.step, 1)}
	}
	m.row(x, budget)
	switch y := m.lastRow(); {
	case limit.None() && o.kept():
		y.Verdict = Pass
	case y.Verdict != Pass:
	case s.gap > 0:
		y.doubt("") // nothing says that it kept its state meanwhile
	case s.o.n < fewHeld:
		y.doubt("only " + samples(s.o.n) + " in the state")
	}
	if o.plan != nil || o.wanders() {
		m.doubtLeftOut(s)
	}
}

// kept reports whether an output was seen to keep the state that is expected of it: that
// needs no limit to be met.
func (o *outputMeter) kept() bool {
	s := &o.now
	return o.plan != nil && s.expect.Demand != Any && s.absent.samples == 0 &&
		s.gap == 0 && s.absent.left < leastGap && s.o.n >= fewHeld
}

// neverReached says that the output was never in the state that it should have kept;
// empty: it was.
func (o *outputMeter) neverReached() string {
	s := &o.now
	switch want, named := wanted(s.expect.Demand); {
	case !named || s.expect.Demand == Pulse || s.high == want:
		return ""
	case s.soon:
		return o.soonReason()
	default:
		return "the output did not go " + stateWord(want)
	}
}

// fewHeld is how many samples a state must have for its ripple, or that it was kept, to
// be known at all.
const fewHeld = 3

func samples(n int) string { return words.Count(n, "sample") }

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
	if y := m.lastRow(); s.absent.left >= leastGap && y.Verdict == Pass {
		y.doubt(leftOutFor(s.absent.left))
	}
}

// component makes a budget line from a half-width (or, for a normal one, a
// standard deviation).
func component(source, distribution string, half, sensitivity float64) gum.Component {
	return gum.Component{Source: source, Distribution: distribution,
		Standard: gum.HalfWidth(distribution, half), Sensitivity: sensitivity, DegreesOfFreedom: math.Inf(1)}
}

// scattering makes a budget line from a standard deviation that the samples of two states
// show: with as many degrees of freedom as that with the fewer has.
func scattering(source string, deviation, sensitivity float64, before, after level) gum.Component {
	c := component(source, "normal", deviation, sensitivity)
	c.DegreesOfFreedom = math.Min(before.dof, after.dof)
	return c
}

// reportLevels reports the level of the state and its ripple.
func (o *outputMeter) reportLevels(m *Meter, tr *capture.Trace, e capture.Event) {
	s := &o.now
	q := LowLevel
	if o.namesHigh() {
		q = HighLevel
	}
	if !s.state.known() {
		m.missing(e.Name, o.signal, q, o.limitOf(q), Undecided, s.state.reason)
		return
	}
	if s.soon {
		m.missing(e.Name, o.signal, q, o.limitOf(q), Undecided, o.soonReason())
		return
	}
	m.levelRow(tr, e.Name, o, q, s.state, o.limitOf(q))
	if s.state.n < fewHeld {
		m.missing(e.Name, o.signal, Ripple, o.limitOf(Ripple), Undecided, "only "+samples(s.state.n)+" in the state")
		return
	}
	budget := rippleBudget(tr, s.state)
	m.row(Measurement{Event: e.Name, Signal: o.signal, Quantity: Ripple, Value: s.state.peak, Limit: o.limitOf(Ripple)}, budget)
	m.doubtLeftOut(s)
	if s.expect.Demand == Pulse {
		o.reportPulseEnd(m, tr, e)
	}
}

// rippleBudget lists what the uncertainty of a state's peak to peak value is made of:
// the noise of the two outermost samples, and of the doubts those that scale a
// reading. What shifts both alike cancels.
func rippleBudget(tr *capture.Trace, l level) []gum.Component {
	budget := []gum.Component{noiseOfTwo(tr, l)}
	for _, d := range tr.Converter.Doubts {
		if d.Relative != 0 {
			// A calibration's points pull to either side; its sign says which.
			budget = append(budget, component(d.Source, string(d.Distribution), math.Abs(d.Relative), l.peak))
		}
	}
	return budget
}

// noiseOfTwo is the noise of two samples, of each at least the rounding of one step.
func noiseOfTwo(tr *capture.Trace, l level) gum.Component {
	one, least := math.Min(l.noise, l.peak/4), tr.Converter.StepVolts/math.Sqrt(12)
	c := component("noise of two samples", "normal", math.Sqrt2*math.Max(one, least), 1)
	if one > least {
		c.DegreesOfFreedom = l.noiseDOF
	}
	return c
}

// namesHigh says whether the level is reported as the high one: by what was
// demanded, else by what it is.
func (o *outputMeter) namesHigh() bool {
	if want, ok := wanted(o.now.expect.Demand); ok {
		return want
	}
	return o.now.high
}

// levelRow reports a state level with its budget.
func (m *Meter) levelRow(tr *capture.Trace, event string, o *outputMeter, q Quantity, l level, limit Limit) {
	x := Measurement{Event: event, Signal: o.signal, Quantity: q, Value: l.volts, Limit: limit}
	if l.mean {
		x.Reason = fewSamples + samples(l.n) + ", too few for a histogram"
	}
	m.row(x, levelBudget(tr, l))
}

// levelMoves names what a level's uncertainty owes to a drift during the state.
const levelMoves = "drift during the state"

// levelBudget lists what a state level's uncertainty is made of.
func levelBudget(tr *capture.Trace, l level) []gum.Component {
	budget := make([]gum.Component, 0, len(tr.Converter.Doubts)+2)
	repeat := gum.Component{Source: "repeatability of the samples", Distribution: "normal",
		Standard: l.repeat, Sensitivity: 1, DegreesOfFreedom: l.dof}
	if l.n == 1 {
		repeat.Distribution = "rectangular"
	}
	if l.drifts() {
		repeat.Source = levelMoves
	}
	budget = append(budget, repeat)
	return append(budget, readingBudget(tr, l.volts)...)
}

// readingBudget lists what the uncertainty of a voltage owes to the converter.
func readingBudget(tr *capture.Trace, volts float64) []gum.Component {
	budget := make([]gum.Component, 0, len(tr.Converter.Doubts)+1)
	if step := tr.Converter.StepVolts; step > 0 {
		budget = append(budget, component("resolution", "rectangular", step/2, 1))
	}
	for _, d := range tr.Converter.Doubts {
		// One source: its share of the reading and its volts go together.
		if half := math.Abs(d.Relative*volts + d.Volts); half != 0 {
			budget = append(budget, component(d.Source, string(d.Distribution), half, 1))
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
	limit := s.expect.span()
	next, ok := s.o.after(s.stretch)
	if !s.moved || !s.high || !ok {
		v, reason := Fail, "the output did not pulse"
		if !s.moved && o.tooSoon() || s.moved && s.high && s.watched < limit.Upper {
			v, reason = Undecided, o.soonReason()
		}
		m.missing(e.Name, o.signal, PulseDuration, limit, v, reason)
		return
	}
	low := levelOf(tr, next, &s.o)
	if low.known() {
		m.levelRow(tr, e.Name, o, LowLevel, low, o.limitOf(LowLevel))
	}
	begin, begun := s.cross, s.placed
	if s.stretch.from > s.entry.from.Add(samePulse) {
		begin, begun = place(tr, s.entry.to, s.stretch.from, e.At, low, s.state)
	}
	s.end, s.ended = place(tr, s.stretch.from, s.stretch.to, e.At, s.state, low)
	o.averaging.add(s.end)
	if !begun || !s.ended || !low.known() {
		m.missing(e.Name, o.signal, PulseDuration, limit, Undecided, "the pulse's edges could not be placed")
		return
	}
	budget := append(withoutEvent(begin.budget), s.end.budget...)
	m.row(Measurement{Event: e.Name, Signal: o.signal, Quantity: PulseDuration, Value: s.end.at - begin.at, Limit: limit}, budget)
}

// span is the time that an expectation allows its delay or its pulse.
func (x Expectation) span() Limit {
	return Limit{x.After * (1 - x.Within), x.After * (1 + x.Within)}
}

// withoutEvent copies a crossing's budget without the event's own uncertainty,
// for times that do not begin at the event.
func withoutEvent(budget []gum.Component) []gum.Component {
	out := make([]gum.Component, 0, len(budget)+4)
	for _, c := range budget {
		if c.Source != "instant of the event" {
			out = append(out, c)
		}
	}
	return out
}

// reportSwitching reports the delay and the duration of a transition that was
// demanded, or that happened where anything may.
func (o *outputMeter) reportSwitching(m *Meter, tr *capture.Trace, e capture.Event, to capture.Instant) {
	s := &o.now
	want, named := wanted(s.expect.Demand)
	due := named && (!s.wasSure || s.was != want)
	if !due && !(s.expect.Demand == Any && s.moved) {
		if named && changedDemand(o.demand, s.expect.Demand) {
			o.missingSwitching(m, e, Undecided, "the output was already "+stateWord(want))
		}
		return
	}
	switch {
	case !s.moved && !s.wasSure:
		o.missingSwitching(m, e, Undecided, "nothing is known of the state before the event")
	case s.soon:
		o.missingSwitching(m, e, Undecided, o.soonReason())
	case !s.moved || named && s.high != want:
		o.missingSwitching(m, e, Fail, "the output did not go "+stateWord(want))
	case !s.placed:
		o.missingSwitching(m, e, Undecided, "the samples do not show where it crossed")
	default:
		x := Measurement{Event: e.Name, Signal: o.signal, Quantity: SwitchingDelay, Value: s.cross.at, Limit: o.delayLimit()}
		if isGap(s.cross.step, s.watched-s.absent.left, s.o.n) {
			s.crossGap = s.cross.step
			x.Reason = missingFor(s.crossGap)
		}
		m.row(x, s.cross.budget)
		o.reportDuration(m, tr, e, to)
	}
}

// patience is how long an output is given, at least, to go where it should before
// it is said not to have (common practice, no source).
const patience = 100 * time.Millisecond

// allowed is how long, in seconds, the output may take to go where it should.
func (o *outputMeter) allowed() float64 {
	if hi := o.delayLimit().Upper; !math.IsNaN(hi) {
		return hi
	}
	return patience.Seconds()
}

// tooSoon reports whether the output was not watched for long enough to say that it
// does not move.
func (o *outputMeter) tooSoon() bool { return o.now.watched < o.allowed() }

func (o *outputMeter) soonReason() string {
	return fmt.Sprintf("watched for only %s", seconds(math.Max(0, o.now.watched)))
}

func changedDemand(before, now Demand) bool {
	a, ok := wanted(before)
	b, okNow := wanted(now)
	return ok && okNow && a != b
}

func (o *outputMeter) missingSwitching(m *Meter, e capture.Event, v Verdict, reason string) {
	m.missing(e.Name, o.signal, SwitchingDelay, o.delayLimit(), v, reason)
}

// delayLimit is the limit of the switching delay: the exit delay's own where one
// runs, else the plan's.
func (o *outputMeter) delayLimit() Limit {
	if x := o.now.expect; x.After > 0 && x.Demand != Pulse {
		return x.span()
	}
	return o.limitOf(SwitchingDelay)
}

func stateWord(high bool) string {
	if high {
		return "high"
	}
	return "low"
}

// edgeSamples is how many sampling intervals an edge must take for its duration to be a
// figure: few make it longer than it is, by up to a whole interval, since a mean or the straight
// line between two samples rounds its corners.
const edgeSamples = 4

// reportDuration reports the 10 % to 90 % transition duration, or the bound that
// the sampling sets to it.
func (o *outputMeter) reportDuration(m *Meter, tr *capture.Trace, e capture.Event, to capture.Instant) {
	s := &o.now
	x := Measurement{Event: e.Name, Signal: o.signal, Quantity: TransitionDuration, Limit: o.limitOf(TransitionDuration)}
	if s.cross.clean {
		x.Value, x.Reason = roundUp(s.cross.bound), upperBound
		m.row(x, nil)
		return
	}
	lead := capture.Instant(4 * s.o.interval * 1e9)
	edge, ok := duration(tr, e.At-lead, s.entry.from, to, s.before, s.state)
	if !ok {
		m.missing(e.Name, o.signal, TransitionDuration, x.Limit, Undecided, "the 10 % or 90 % instant is not in the samples")
		return
	}
	if edge.seconds < edgeSamples*edge.step {
		x.Value, x.Reason = roundUp(math.Max(edge.seconds, edge.step)), upperBound
		m.row(x, nil)
		return
	}
	x.Value = edge.seconds - edge.longer
	// An instant at a share x between two samples has x of the later one's deviation and 1-x of
	// the other's: x² + (1-x)² is 2/3 in the mean.
	between := math.Sqrt(2.0 / 3)
	m.row(x, []gum.Component{
		component("sampling interval", "rectangular", edge.step, edge.bends[0]),
		component("sampling interval", "rectangular", edge.step, edge.bends[1]),
		component("time stamp", "normal", tr.Converter.Stamp.Seconds(), math.Sqrt2*between),
		scattering("state levels", edge.slowness*math.Max(s.state.repeat, s.before.repeat), 1, s.before, s.state),
		scattering("scatter of the samples", math.Max(edge.spread/math.Sqrt(3), between*edge.slowness*math.Max(s.state.quiet, s.before.quiet)), 1, s.before, s.state),
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
	last := s.o.final()
	o.settle(s.rest, last.high)
	if last.crossed {
		o.movedAt = last.from
	}
}
