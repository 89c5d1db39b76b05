package measure

import (
	"math"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// travel is how long, at most, a small relay takes from the coil voltage that makes
// it change over to the contact that shows it, where the plan sets no limit to that
// (makers' data sheets: 5 to 15 ms, more with a diode across the coil).
const travel = 20 * time.Millisecond

// follow takes over where an output stands after the supply has been moved. Its
// level goes with the supply, so nothing of it is reported.
func (o *outputMeter) follow(m *Meter, tr *capture.Trace, e capture.Event, to capture.Instant, mv analyze.Move) {
	o.now = seen{before: o.level, wasHigh: o.high, wasKnown: o.known}
	s := &o.now
	x := extremesOf(tr, e.At, to)
	s.o = observed{n: x.n, lo: x.lo, hi: x.hi, low: math.NaN(), high: math.NaN(), last: x.last}
	if x.n == 0 {
		o.level, o.known = level{}, false
		return
	}
	s.endLevel = o.levelAfter(tr, e, to, mv)
	s.state = s.endLevel
	s.o.spans = []span{{high: s.endLevel.volts > nominal(tr)/2, from: e.At, to: to}}
}

// levelAfter is the level at which an output settles once the supply has arrived.
func (o *outputMeter) levelAfter(tr *capture.Trace, e capture.Event, to capture.Instant, mv analyze.Move) level {
	arrived := e.At.Add(mv.Over)
	settled := arrived.Add(time.Duration(settling * float64(to.Sub(arrived))))
	if settled < to {
		if l := levelBetween(tr, settled, to, o.now.o.lo, o.now.o.hi); l.known() {
			return l
		}
	}
	return levelBetween(tr, o.now.o.last, to, o.now.o.lo, o.now.o.hi)
}

// move looks at a relay while the supply is moved. A ramp gives the voltage at which
// it changed over. Where the supply is set at once, and the output keeps its state,
// the contacts must keep theirs.
func (r *relayMeter) move(m *Meter, c *capture.Capture, e capture.Event, to capture.Instant, mv analyze.Move) []contacts {
	if mv.Ramp() {
		r.reportRamp(m, c, e, to, mv)
		return nil
	}
	if r.output == nil || r.output.now.o.n == 0 || r.output.now.o.final().high != r.output.now.wasHigh {
		return nil
	}
	x := r.changes(c, e.At, to)
	x.late = e.At.Sub(r.lastMove()) < ShortestWatch
	return []contacts{x}
}

// changeOver is the contact by which a ramp shows that a relay has changed over.
type changeOver struct {
	q      analyze.Quantity
	change change
	closed bool // the state that it turns to
	name   string
	window time.Duration // how long before the edge the coil's voltage was reached, at most
	limit  analyze.Limit
}

// reportRamp reports the coil voltage at which a rising supply pulled the relay in,
// or a falling one let it go.
func (r *relayMeter) reportRamp(m *Meter, c *capture.Capture, e capture.Event, to capture.Instant, mv analyze.Move) {
	t := r.turn(c, e, to, mv)
	signal := r.plan.Signal
	if r.output == nil {
		m.missing(e.Name, signal, t.q, t.limit, analyze.Undecided, r.noCrossing())
		return
	}
	at, turned := t.change.first(t.closed)
	switch {
	case t.change.start == t.closed && t.change.known:
		m.missing(e.Name, signal, t.q, t.limit, analyze.Undecided, t.already())
		return
	case !turned:
		r.neverTurned(m, c.Traces[r.output.index], e, t, mv)
		return
	}
	tr := c.Traces[r.output.index]
	lo, hi, ok := voltsAround(tr, at.Add(-t.window), at)
	if !ok {
		m.missing(e.Name, signal, t.q, t.limit, analyze.Undecided, about(analyze.NoSamplesAround, r.output.signal))
		return
	}
	volts := (lo + hi) / 2
	budget := append([]gum.Component{gum.Line(analyze.SupplyMoves, "rectangular", (hi-lo)/2, 1)}, readingBudget(tr, volts)...)
	row := analyze.Measurement{Event: e.Name, Signal: signal, Quantity: t.q, Value: volts, Limit: t.limit, Doubts: t.change.openEnd()}
	if !t.change.lateAt(at) {
		m.row(row, budget)
		t.change.doubtPass(m.lastRow())
		return
	}
	// It may have changed over sooner: at less on a way up, at more on a way down.
	row.Doubts = append(row.Doubts, missingEdges(t.change))
	bound := analyze.UpperBound
	if t.q == analyze.DropOutVoltage {
		bound = analyze.LowerBound
	}
	m.boundRow(row, bound, budget)
	t.change.doubtPass(m.lastRow())
}

// turn says which contact shows the change-over of a ramp: the one that closes, or,
// where that is not wired, the one that opens.
func (r *relayMeter) turn(c *capture.Capture, e capture.Event, to capture.Instant, mv analyze.Move) changeOver {
	t := changeOver{name: r.plan.Make, closed: true, window: r.within(analyze.OperateTime)}
	closing, opening := r.make, r.brk
	if t.q, t.limit = r.plan.OnRamp(mv); t.q == analyze.DropOutVoltage {
		t.name, t.window = r.plan.Break, r.within(analyze.ReleaseTime)
		closing, opening = opening, closing
	}
	i := closing
	if i < 0 {
		i, t.closed = opening, false
		t.name = r.plan.Make + r.plan.Break // there is only one
	}
	t.change = changeOf(trackAt(c, i), e.At, to)
	return t
}

// within is how long the relay may take from its coil's voltage to its contact.
func (r *relayMeter) within(q analyze.Quantity) time.Duration {
	if hi := r.plan.Limits.Of(q).Upper; hi > 0 {
		return time.Duration(hi * 1e9)
	}
	return travel
}

// neverTurned reports a relay that did not change over on a ramp. One that was never
// surely given what it needs has not failed: how far the ramp came is then a bound.
func (r *relayMeter) neverTurned(m *Meter, tr *capture.Trace, e capture.Event, t changeOver, mv analyze.Move) {
	still := analyze.Doubt{Code: analyze.DidNotOpenTill, Value: float64(mv.To), Signal: t.name}
	if t.closed {
		still.Code = analyze.DidNotCloseTill
	}
	if came := r.reached(tr, t); came.decision != gum.Conforms {
		m.missing(e.Name, r.plan.Signal, t.q, t.limit, analyze.Undecided, append([]analyze.Doubt{still}, came.doubts()...)...)
		return
	}
	v, doubts := doubtMissing(analyze.Fail, still, t.change)
	m.missing(e.Name, r.plan.Signal, t.q, t.limit, v, doubts...)
	m.leaveToCalibration(m.lastRow(), r.output.signal) // it tells what the relay was given
}

// already says that the contact was in the state that it should have turned to.
func (t changeOver) already() analyze.Doubt {
	if t.closed {
		return about(analyze.AlreadyClosed, t.name)
	}
	return about(analyze.AlreadyOpen, t.name)
}

// rampEnd is how far a ramp brought a coil's voltage, and whether that was surely to the
// relay's limit or beyond.
type rampEnd struct {
	volts, expanded float64
	decision        gum.Decision
}

func (c rampEnd) doubts() []analyze.Doubt {
	only := figure(analyze.CoilReachedOnly, c.volts)
	if c.expanded > 0 {
		only = append(only, figure(analyze.CoilReachedWith, roundUp(c.expanded))...)
	}
	return only
}

func (r *relayMeter) reached(tr *capture.Trace, t changeOver) rampEnd {
	seen := &r.output.now.o
	if seen.n == 0 {
		return rampEnd{volts: math.NaN()}
	}
	c, wanted := rampEnd{volts: seen.lo}, analyze.Limit{Lower: math.NaN(), Upper: t.limit.Lower}
	if t.q == analyze.PullInVoltage {
		c.volts, wanted = seen.hi, analyze.Limit{Lower: t.limit.Upper, Upper: math.NaN()}
	}
	_, c.expanded = gum.Combine(readingBudget(tr, c.volts)).Expanded()
	c.decision = gum.Decide(c.volts, c.expanded, wanted.Lower, wanted.Upper)
	return c
}

// voltsAround returns the lowest and the highest reading from the last one before
// from to the first one after to; none where there is no sample on either side.
func voltsAround(tr *capture.Trace, from, to capture.Instant) (lo, hi float64, ok bool) {
	before, _, earlier := tr.Near(from, 1, 0)
	after, _, n := tr.Near(to+1, 0, 1)
	if earlier != 1 || len(after) <= n {
		return 0, 0, false
	}
	x := extremesOf(tr, capture.Instant(before[0]), capture.Instant(after[n])+1)
	return x.lo, x.hi, x.n > 0
}
