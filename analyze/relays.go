package analyze

import (
	"fmt"
	"math"
	"strings"

	"makebreak/analyze/gum"
	"makebreak/rig/capture"
	"makebreak/rig/words"
)

// contacts is what a relay's two contacts did from when it was told something to
// when it was told the next.
type contacts struct {
	make, brk change
	// operates and releases say which way the contacts changed over.
	operates, releases bool
	told               command
	soon               bool // it was not watched for long enough to say that it stands still
	late               bool // what it does may answer what it was told in the state before
}

// command is what a relay's output told it.
type command struct {
	due    bool // it was told to change
	rising bool
	cross  crossing // of the output
	placed bool
}

// lost reports whether edges of either contact are known to be missing.
func (x contacts) lost() bool { return x.make.lost > 0 || x.brk.lost > 0 }

// measure looks at a relay's contacts from an event to the next and reports them.
// A pulse tells a relay two things, each of which is measured.
func (r *relayMeter) measure(m *Meter, c *capture.Capture, e capture.Event, to capture.Instant) []contacts {
	if mv, moves := m.plan.Moves[e.Name]; moves {
		return r.move(m, c, e, to, mv)
	}
	end, pulsed := r.pulseEnd(c)
	if !pulsed {
		x := r.changes(c, e.At, to)
		x.told = r.command(x)
		x.soon = to.Sub(max(e.At, r.lastMove())) < patience
		x.late = !x.told.due && e.At.Sub(r.lastMove()) < patience
		r.report(m, e, x)
		r.reportMargins(m, c, e)
		return []contacts{x}
	}
	s := &r.output.now
	x, y := r.changes(c, e.At, end), r.changes(c, end, to)
	x.told = command{true, true, s.cross, s.placed}
	y.told = command{true, false, s.end, s.ended}
	r.report(m, e, x)
	r.report(m, e, y)
	r.reportMargins(m, c, e)
	return []contacts{x, y}
}

// changes looks at what both contacts did in from..to.
func (r *relayMeter) changes(c *capture.Capture, from, to capture.Instant) contacts {
	x := contacts{
		make: changeOf(trackAt(c, r.make), from, to),
		brk:  changeOf(trackAt(c, r.brk), from, to),
		soon: to.Sub(from) < patience,
	}
	x.operates = x.make.closes() || x.brk.opens()
	x.releases = x.make.opens() || x.brk.closes()
	return x
}

// report reports the figures of one change-over.
func (r *relayMeter) report(m *Meter, e capture.Event, x contacts) {
	first := len(m.out.Measurements)
	r.reportTime(m, e, x)
	r.reportTransfer(m, e, x)
	r.reportBounce(m, e, x.make, r.plan.Make)
	r.reportBounce(m, e, x.brk, r.plan.Break)
	if x.lost() {
		doubtFailures(m.out.Measurements[first:])
	}
}

// pulseEnd is when the relay is told to let go within a state: no later than at the
// output's first sample after its pulse, and no sooner than at the last one in it.
func (r *relayMeter) pulseEnd(c *capture.Capture) (capture.Instant, bool) {
	if r.output == nil {
		return 0, false
	}
	s := &r.output.now
	if s.expect.Demand != Pulse || !s.moved || !s.high || !s.stretch.ended {
		return 0, false
	}
	at := s.stretch.to
	if times, _, earlier := c.Traces[r.output.index].Near(at, 1, 0); earlier == 1 {
		at = max(s.stretch.from, capture.Instant(times[0]))
	}
	return at, true
}

const edgesWereLost = "edges were lost"

// doubtFailures takes back what lost edges may have made look wrong.
func doubtFailures(rows []Measurement) {
	for i := range rows {
		if x := &rows[i]; x.Verdict == Fail {
			x.doubt(strings.TrimPrefix(x.Reason+"; "+edgesWereLost, "; "))
		}
	}
}

func trackAt(c *capture.Capture, i int) *capture.Track {
	if i < 0 {
		return nil
	}
	return c.Tracks[i]
}

// reportTime reports the operate time (make contact's first closing after the
// output's crossing) or the release time (break contact's), bounce not counted:
// MIL-R-5757 4.6.8, IEC 61810-7.
func (r *relayMeter) reportTime(m *Meter, e capture.Event, x contacts) {
	q, closing, name := OperateTime, x.make, r.plan.Make
	if !x.told.due {
		return
	}
	if !x.told.rising {
		q, closing, name = ReleaseTime, x.brk, r.plan.Break
	}
	limit := r.plan.Limits.Of(q)
	if name == "" {
		m.missing(e.Name, r.plan.Signal, q, limit, Undecided, "no such contact is wired")
		return
	}
	if !x.told.placed {
		m.missing(e.Name, r.plan.Signal, q, limit, Undecided, r.noCrossing())
		return
	}
	at, ok := closing.first(true)
	if !ok || closing.start {
		v, reason := notClosed(name, x, closing)
		m.missing(e.Name, r.plan.Signal, q, limit, v, reason)
		return
	}
	cross := x.told.cross
	budget := withoutEvent(cross.budget)
	budget = append(budget, stampOf(closing.track)...)
	row := Measurement{Event: e.Name, Signal: r.plan.Signal, Quantity: q, Value: at.Sub(e.At).Seconds() - cross.at, Limit: limit}
	if gap := r.output.now.crossGap; gap > 0 {
		row.Reason = missingFor(gap)
	}
	m.row(row, budget)
	if y := m.lastRow(); y.Value+y.Expanded < 0 {
		r.beforeTold(y, name)
	}
}

// beforeTold doubts the time of a contact that closed before the output crossed its mid
// level: that was not when the relay was told.
func (r *relayMeter) beforeTold(y *Measurement, name string) {
	reason := name + " closed before " + r.output.signal + " crossed its mid level: the edge is too slow to time the relay by, or the relay moved by itself"
	if y.Reason = reason; y.Verdict == Pass {
		y.doubt(reason)
	}
}

// notClosed says why a contact that should have closed has no time of closing.
func notClosed(name string, x contacts, c change) (Verdict, string) {
	switch {
	case c.start:
		return Fail, name + " was already closed"
	case x.soon:
		return Undecided, name + " did not close before the state ended, which was soon"
	}
	return Fail, name + " did not close"
}

// command says whether the relay was told to change at this event, and which way:
// by its output where one is known, else by what its contacts did.
func (r *relayMeter) command(x contacts) command {
	if r.output == nil {
		return command{due: x.operates || x.releases, rising: x.operates}
	}
	s := &r.output.now
	return command{s.moved, s.high, s.cross, s.placed}
}

// lastMove is when the relay's output crossed its mid level last.
func (r *relayMeter) lastMove() capture.Instant {
	if r.output == nil {
		return never
	}
	if s := &r.output.now; s.moved {
		return s.entry.from
	}
	return r.output.movedAt
}

// never is an instant before all others, far enough from them for a difference.
const never = capture.Instant(math.MinInt64 / 4)

func (r *relayMeter) noCrossing() string {
	if r.output == nil {
		return "no output is known to drive " + r.plan.Signal
	}
	return "the crossing of " + r.output.signal + " could not be placed"
}

// stampOf is the uncertainty of the time stamps of one edge on each track.
func stampOf(tracks ...*capture.Track) []gum.Component {
	var sum float64
	for _, t := range tracks {
		if t != nil {
			sum = math.Hypot(sum, t.Stamp.Seconds())
		}
	}
	if sum == 0 {
		return nil
	}
	return []gum.Component{{Source: "time stamp of the contact's edge", Distribution: "normal",
		Standard: sum, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}}
}

// reportTransfer reports the time from the opening contact's last opening to the
// closing contact's first closing. It is negative where both were closed at once.
func (r *relayMeter) reportTransfer(m *Meter, e capture.Event, x contacts) {
	if !x.operates && !x.releases || r.make < 0 || r.brk < 0 {
		return
	}
	opening, closing := x.brk, x.make
	if x.releases {
		opening, closing = x.make, x.brk
	}
	limit := r.plan.Limits.Of(TransferTime)
	opened, ok := opening.last(false)
	if !ok || !opening.opens() {
		m.missing(e.Name, r.plan.Signal, TransferTime, limit, x.stillness(), opening.track.Signal+" did not open")
		return
	}
	closed, ok := closing.first(true)
	if !ok || closing.start {
		_, reason := notClosed(closing.track.Signal, x, closing)
		m.missing(e.Name, r.plan.Signal, TransferTime, limit, x.stillness(), reason)
		return
	}
	m.row(Measurement{Event: e.Name, Signal: r.plan.Signal, Quantity: TransferTime,
		Value: closed.Sub(opened).Seconds(), Limit: limit}, stampOf(opening.track, closing.track))
}

// stillness is the verdict on a contact that did not change.
func (x contacts) stillness() Verdict {
	if x.soon {
		return Undecided
	}
	return Fail
}

// reportBounce reports the bounce of a contact that closed, and of one that opened
// where it bounced.
func (r *relayMeter) reportBounce(m *Meter, e capture.Event, x change, name string) {
	if !x.moved() && len(x.edges) < 2 || x.opens() && x.bounceCount() == 0 {
		return
	}
	limit, counts := r.plan.Limits.Of(BounceTime), r.plan.Limits.Of(BounceCount)
	row := Measurement{Event: e.Name, Signal: name, Quantity: BounceTime, Value: x.bounceTime().Seconds(), Limit: limit}
	count := Measurement{Event: e.Name, Signal: name, Quantity: BounceCount, Value: float64(x.bounceCount()), Limit: counts}
	row.Reason = x.openEnd()
	if x.lost > 0 && x.bounceCount() > 0 {
		row.Reason = "edges were lost: there may be more bounce than was seen"
	}
	count.Reason = row.Reason
	m.row(row, stampOf(x.track, x.track))
	x.doubtPass(m.lastRow())
	m.row(count, nil)
	x.doubtPass(m.lastRow())
}

// openEnd says what is not known of a change's end, or nothing.
func (c change) openEnd() string {
	switch {
	case c.later > 0:
		return "the contact had come to rest and then changed again, " + words.Count(c.later, "time")
	case !c.rests:
		return fmt.Sprintf("the state ended %s after the last edge: there may have been more to come", seconds(c.watched.Seconds()))
	}
	return ""
}

// doubtPass takes back a pass that edges after the state's end may have spoilt.
func (c change) doubtPass(x *Measurement) {
	if !c.rests && x.Verdict == Pass {
		x.doubt("")
	}
}

// reportMargins reports how far the output's levels are from what the relay needs.
func (r *relayMeter) reportMargins(m *Meter, c *capture.Capture, e capture.Event) {
	if r.output == nil || !r.output.now.state.known() || r.output.now.soon {
		return
	}
	s := &r.output.now
	budget := levelBudget(c.Traces[r.output.index], s.state)
	if r.output.namesHigh() {
		if must := r.plan.MustOperate; !math.IsNaN(must) {
			m.row(Measurement{Event: e.Name, Signal: r.plan.Signal, Quantity: PullInMargin,
				Value: s.state.volts - must, Limit: r.plan.Limits.Of(PullInMargin)}, budget)
		}
		return
	}
	if must := r.plan.MustRelease; !math.IsNaN(must) {
		m.row(Measurement{Event: e.Name, Signal: r.plan.Signal, Quantity: DropOutMargin,
			Value: must - s.state.volts, Limit: r.plan.Limits.Of(DropOutMargin)}, budget)
	}
}
