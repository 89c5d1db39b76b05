package analyze

import (
	"math"
	"time"

	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// Move is what a step does to the supply of what is tested: it is set to a voltage
// at once, or taken there slowly.
type Move struct {
	From, To float64 // volts; From only of a ramp
	Over     float64 // seconds that a ramp takes; 0: at once
}

// Ramp reports whether the supply is taken from one voltage to the other slowly, to
// find where the relays change over.
func (m Move) Ramp() bool { return m.Over > 0 }

// movesAt reports whether all of the events move the supply.
func (p *Plan) movesAt(events []string) bool {
	for _, e := range events {
		if p == nil {
			return false
		}
		if _, moves := p.Moves[e]; !moves {
			return false
		}
	}
	return len(events) > 0
}

// travel is how long, at most, a small relay takes from the coil voltage that makes
// it change over to the contact that shows it, where the plan sets no limit to that
// (makers' data sheets: 5 to 15 ms, more with a diode across the coil).
const travel = 20 * time.Millisecond

// follow takes over where an output stands after the supply has been moved. Its
// level goes with the supply, so nothing of it is reported.
func (o *outputMeter) follow(m *Meter, tr *capture.Trace, e capture.Event, to capture.Instant, mv Move) {
	o.now = seen{before: o.level, was: o.high, wasSure: o.known}
	s := &o.now
	x := extremesOf(tr, e.At, to)
	s.o = observed{n: x.n, lo: x.lo, hi: x.hi, low: math.NaN(), high: math.NaN(), last: x.last}
	if x.n == 0 {
		o.level, o.known = level{}, false
		o.unsampled(m, e, to)
		return
	}
	s.o.interval = to.Sub(e.At).Seconds() / float64(x.n)
	s.rest = o.levelAfter(tr, e, to, mv)
	s.state = s.rest
	s.o.spans = []span{{high: s.rest.volts > nominal(tr)/2, from: e.At, to: to}}
}

// levelAfter is the level at which an output settles once the supply has arrived.
func (o *outputMeter) levelAfter(tr *capture.Trace, e capture.Event, to capture.Instant, mv Move) level {
	arrived := e.At.Add(time.Duration(mv.Over * 1e9))
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
func (r *relayMeter) move(m *Meter, c *capture.Capture, e capture.Event, to capture.Instant, mv Move) []contacts {
	if mv.Ramp() {
		r.reportRamp(m, c, e, to, mv)
		return nil
	}
	if r.output == nil || r.output.now.o.n == 0 || r.output.now.o.final().high != r.output.now.was {
		return nil
	}
	x := r.changes(c, e.At, to)
	x.late = e.At.Sub(r.lastMove()) < patience
	return []contacts{x}
}

// turn is the contact by which a ramp shows that a relay has changed over.
type turn struct {
	q      Quantity
	change change
	closed bool // the state that it turns to
	name   string
	window time.Duration // how long before the edge the coil's voltage was reached, at most
	limit  Limit
}

// reportRamp reports the coil voltage at which a rising supply pulled the relay in,
// or a falling one let it go.
func (r *relayMeter) reportRamp(m *Meter, c *capture.Capture, e capture.Event, to capture.Instant, mv Move) {
	t := r.turn(c, e, to, mv)
	signal := r.plan.Signal
	if r.output == nil {
		m.missing(e.Name, signal, t.q, t.limit, Undecided, r.noCrossing())
		return
	}
	at, turned := t.change.first(t.closed)
	switch {
	case t.change.start == t.closed && t.change.known:
		m.missing(e.Name, signal, t.q, t.limit, Undecided, t.name+" was already "+contactWord(t.closed))
		return
	case !turned:
		r.neverTurned(m, e, t, mv)
		return
	}
	lo, hi, ok := voltsAround(c.Traces[r.output.index], at.Add(-t.window), at)
	if !ok {
		m.missing(e.Name, signal, t.q, t.limit, Undecided, "no samples of "+r.output.signal+" around the change-over")
		return
	}
	tr, volts := c.Traces[r.output.index], (lo+hi)/2
	budget := append([]gum.Component{component(supplyMoves, "rectangular", (hi-lo)/2, 1)}, readingBudget(tr, volts)...)
	m.row(Measurement{Event: e.Name, Signal: signal, Quantity: t.q, Value: volts, Limit: t.limit, Reason: t.change.openEnd()}, budget)
	t.change.doubtPass(m.lastRow())
}

// supplyMoves is the budget's line for the time between the coil voltage that counts
// and the contact's edge.
const supplyMoves = "change of the supply while the armature moves"

// turn says which contact shows the change-over of a ramp: the one that closes, or,
// where that is not wired, the one that opens.
func (r *relayMeter) turn(c *capture.Capture, e capture.Event, to capture.Instant, mv Move) turn {
	t := turn{q: PullInVoltage, name: r.plan.Make, closed: true, window: r.within(OperateTime)}
	t.limit = r.plan.Limits.Of(PullInVoltage)
	closing, opening := r.make, r.brk
	if t.limit.None() {
		t.limit.Upper = r.plan.MustOperate
	}
	if mv.To < mv.From {
		t.q, t.name, t.window, t.limit = DropOutVoltage, r.plan.Break, r.within(ReleaseTime), r.plan.Limits.Of(DropOutVoltage)
		closing, opening = opening, closing
		if t.limit.None() {
			t.limit.Lower = r.plan.MustRelease
		}
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
func (r *relayMeter) within(q Quantity) time.Duration {
	if hi := r.plan.Limits.Of(q).Upper; hi > 0 {
		return time.Duration(hi * 1e9)
	}
	return travel
}

// neverTurned reports a relay that did not change over on a ramp.
func (r *relayMeter) neverTurned(m *Meter, e capture.Event, t turn, mv Move) {
	reason := t.name + " did not " + turnWord(t.closed) + " until " + short(mv.To) + " V"
	if got, far := r.reached(t); !far {
		m.missing(e.Name, r.plan.Signal, t.q, t.limit, Undecided, reason+", and the coil came to "+short(got)+" V only")
		return
	}
	m.missing(e.Name, r.plan.Signal, t.q, t.limit, Fail, reason)
	if t.limit.None() {
		return
	}
	k, signal := RelayStill, r.plan.Signal
	if t.q == DropOutVoltage {
		k, signal = Welded, r.plan.Make
	}
	m.symptom(e, signal, k, r.output.signal, r.output.now.rest.volts, t.limit.Upper)
}

// reached returns how far a ramp brought the coil's voltage, and whether that was
// to the limit or beyond: a relay that was never given what it needs has not failed.
func (r *relayMeter) reached(t turn) (volts float64, far bool) {
	seen := &r.output.now.o
	switch {
	case seen.n == 0:
		return math.NaN(), false
	case t.q == PullInVoltage:
		return seen.hi, !(seen.hi < t.limit.Upper)
	}
	return seen.lo, !(seen.lo > t.limit.Lower)
}

// voltsAround returns the lowest and the highest reading from the last one before
// from to the first one after to.
func voltsAround(tr *capture.Trace, from, to capture.Instant) (lo, hi float64, ok bool) {
	if times, _, earlier := tr.Near(from, 1, 0); earlier == 1 {
		from = capture.Instant(times[0])
	}
	if times, _, earlier := tr.Near(to+1, 0, 1); len(times) > earlier {
		to = capture.Instant(times[earlier])
	}
	x := extremesOf(tr, from, to+1)
	return x.lo, x.hi, x.n > 0
}

func contactWord(closed bool) string {
	if closed {
		return "closed"
	}
	return "open"
}

func turnWord(closed bool) string {
	if closed {
		return "close"
	}
	return "open"
}
