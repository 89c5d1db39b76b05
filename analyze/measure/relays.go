package measure

import (
	"math"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// contacts is what a relay's two contacts did from when it was told something to
// when it was told the next.
type contacts struct {
	make, brk change
	// operates and releases say which way the contacts changed over.
	operates, releases bool
	command            command
	watched            time.Duration // from what it was told to the end of the state
	late               bool          // what it does may answer what it was told in the state before
}

// command is what a relay's output told it.
type command struct {
	due    bool // it was told to change
	rising bool
	cross  crossing // of the output
	placed bool
}

// brief reports whether the relay was not watched for long enough to say that it stands still.
func (x contacts) brief() bool { return x.watched < ShortestWatch }

// lost reports whether edges of either contact are known to be missing.
func (x contacts) lost() bool { return x.make.lossy() || x.brk.lossy() }

// measure looks at a relay's contacts from an event to the next and reports them.
// A pulse tells a relay two things, each of which is measured.
func (r *relayMeter) measure(m *Meter, c *capture.Capture, e capture.Event, to capture.Instant) []contacts {
	if mv, moves := m.plan.Moves[e.Name]; moves {
		return r.move(m, c, e, to, mv)
	}
	if r.output != nil && r.output.now.train.tells() {
		return r.measureTrain(m, c, e, to)
	}
	if r.output != nil && r.output.now.free() {
		r.reportMargins(m, c, e)
		return []contacts{r.changes(c, e.At, to)} // it follows, and which of its edges follows which is not known
	}
	end, pulsed := r.pulseEnd(c)
	if !pulsed {
		x := r.changes(c, e.At, to)
		x.command = r.command(x)
		x.watched = to.Sub(max(e.At, r.lastMove()))
		x.late = !x.command.due && (e.At.Sub(r.lastMove()) < ShortestWatch || r.flashed() && !x.operates && !x.releases)
		if !x.late {
			r.report(m, e, x)
		}
		r.reportMargins(m, c, e)
		return []contacts{x}
	}
	s := &r.output.now
	x, y := r.changes(c, e.At, end), r.changes(c, end, to)
	x.command = command{true, true, s.cross, s.placed}
	y.command = command{true, false, s.end, s.ended}
	r.report(m, e, x)
	r.report(m, e, y)
	r.reportMargins(m, c, e)
	return []contacts{x, y}
}

// flashed reports whether the relay's output was to flash until this event: a pulse that the unit
// cut short may have been too brief for the samples, and not for the relay.
func (r *relayMeter) flashed() bool { return r.output != nil && r.output.flashed.Flashes() }

// changes looks at what both contacts did in from..to.
func (r *relayMeter) changes(c *capture.Capture, from, to capture.Instant) contacts {
	x := contacts{
		make:    changeOf(trackAt(c, r.make), from, to),
		brk:     changeOf(trackAt(c, r.brk), from, to),
		watched: to.Sub(from),
	}
	x.operates = x.make.closes() || x.brk.opens()
	x.releases = x.make.opens() || x.brk.closes()
	return x
}

// report reports the figures of one change-over.
func (r *relayMeter) report(m *Meter, e capture.Event, x contacts) {
	r.reportTime(m, e, x)
	r.reportTransfer(m, e, x)
	r.reportBounce(m, e, x.make, r.plan.Make)
	r.reportBounce(m, e, x.brk, r.plan.Break)
}

// pulseEnd is when the relay is told to let go within a state, at the soonest: at the output's
// last sample in its pulse, or, as a sample is a mean and its stamp the end of that, when that
// began. The contacts can follow at once.
func (r *relayMeter) pulseEnd(c *capture.Capture) (capture.Instant, bool) {
	if r.output == nil {
		return 0, false
	}
	s := &r.output.now
	if s.expect.Demand != analyze.Pulse || !s.moved || !s.high || !s.stretch.ended {
		return 0, false
	}
	at := s.stretch.to
	t := c.Traces[r.output.index]
	if times, _, earlier := t.Near(at, 1, 0); earlier == 1 {
		at = max(s.stretch.from, capture.Instant(times[0]).Add(-t.Converter.Span))
	}
	return at, true
}

func trackAt(c *capture.Capture, i int) *capture.Track {
	if i < 0 {
		return nil
	}
	return c.Tracks[i]
}

// reportTime reports the operate time (make contact's first closing after the
// output's crossing) or the release time (break contact's), bounce not counted:
// MIL-R-5757 4.6.8, IEC 61810-7. A closing that was lost would have been sooner: the time
// of the first one seen is then an upper bound.
func (r *relayMeter) reportTime(m *Meter, e capture.Event, x contacts) {
	q, closing, name := analyze.OperateTime, x.make, r.plan.Make
	if !x.command.due {
		return
	}
	if !x.command.rising {
		q, closing, name = analyze.ReleaseTime, x.brk, r.plan.Break
	}
	limit := r.plan.Limits.Of(q)
	if name == "" {
		m.missing(e.Name, r.plan.Signal, q, limit, analyze.Undecided, of(analyze.NoContactWired))
		return
	}
	if !x.command.placed {
		m.missing(e.Name, r.plan.Signal, q, limit, analyze.Undecided, r.noCrossing())
		return
	}
	at, ok := closing.first(true)
	if !ok || closing.start {
		v, why := notClosed(name, x, closing)
		v, doubts := doubtMissing(v, why, closing)
		m.missing(e.Name, r.plan.Signal, q, limit, v, doubts...)
		return
	}
	cross := x.command.cross
	budget := withoutEvent(cross.budget)
	row := analyze.Measurement{Event: e.Name, Signal: r.plan.Signal, Quantity: q, Value: at.Sub(e.At).Seconds() - cross.at, Limit: limit}
	if gap := r.output.now.crossGap; gap > 0 {
		row.Doubts = figure(analyze.SamplesAbsent, gap)
	}
	if closing.lateAt(at) {
		row.Doubts = append(row.Doubts, missingEdges(closing))
		m.boundRow(row, analyze.UpperBound, append(budget, stampOf(closing.track)...))
	} else {
		m.row(row, append(budget, m.stamps(closing.track)...))
	}
	if y := m.lastRow(); y.Value < 0 && !(y.Value+y.Expanded >= 0) {
		r.doubtClosedBefore(y, name)
	}
}

// doubtClosedBefore doubts the time of a contact that closed before the output crossed its mid
// level: that was not when the relay was told.
func (r *relayMeter) doubtClosedBefore(y *analyze.Measurement, name string) {
	before := analyze.Doubt{Code: analyze.ClosedBefore, Value: math.NaN(), Signal: name, Other: r.output.signal}
	if y.Bound() == analyze.NoBound {
		y.Doubts = nil
	}
	y.Doubts = append(y.Doubts, before)
	if y.Verdict == analyze.Pass {
		y.LeaveUndecided()
	}
}

// notClosed says why a contact that should have closed has no time of closing.
func notClosed(name string, x contacts, c change) (analyze.Verdict, analyze.Doubt) {
	switch {
	case c.start:
		return analyze.Fail, about(analyze.AlreadyClosed, name)
	case x.brief():
		return analyze.Undecided, about(analyze.NotClosedInTime, name)
	}
	return analyze.Fail, about(analyze.DidNotClose, name)
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

func (r *relayMeter) noCrossing() analyze.Doubt {
	if r.output == nil {
		return about(analyze.NoOutputKnown, r.plan.Signal)
	}
	return about(analyze.OutputNotPlaced, r.output.signal)
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
	return []gum.Component{{Source: analyze.ContactTimeStamp, Distribution: "normal",
		Standard: sum, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}}
}

// reportTransfer reports the time from the opening contact's last opening to the
// closing contact's first closing. It is negative where both were closed at once. A lost
// opening would have been later, a lost closing sooner: the time seen is then an upper bound.
func (r *relayMeter) reportTransfer(m *Meter, e capture.Event, x contacts) {
	if !x.operates && !x.releases || r.make < 0 || r.brk < 0 {
		return
	}
	opening, closing := x.brk, x.make
	if x.releases {
		opening, closing = x.make, x.brk
	}
	limit := r.plan.Limits.Of(analyze.TransferTime)
	opened, ok := opening.last(false)
	if !ok || !opening.opens() {
		v, doubts := doubtMissing(x.stillness(), about(analyze.DidNotOpen, opening.track.Signal), opening, closing)
		m.missing(e.Name, r.plan.Signal, analyze.TransferTime, limit, v, doubts...)
		return
	}
	closed, ok := closing.first(true)
	if !ok || closing.start {
		_, why := notClosed(closing.track.Signal, x, closing)
		v, doubts := doubtMissing(x.stillness(), why, opening, closing)
		m.missing(e.Name, r.plan.Signal, analyze.TransferTime, limit, v, doubts...)
		return
	}
	row := analyze.Measurement{Event: e.Name, Signal: r.plan.Signal, Quantity: analyze.TransferTime, Value: closed.Sub(opened).Seconds(), Limit: limit}
	if opening.earlyAt(opened) || closing.lateAt(closed) {
		row.Doubts = []analyze.Doubt{missingEdges(opening, closing)}
		m.boundRow(row, analyze.UpperBound, stampOf(opening.track, closing.track))
		return
	}
	m.row(row, m.stamps(opening.track, closing.track))
}

// stillness is the verdict on a contact that did not change.
func (x contacts) stillness() analyze.Verdict {
	if x.brief() {
		return analyze.Undecided
	}
	return analyze.Fail
}

// reportBounce reports the bounce of a contact that closed, and of one that opened
// where it bounced or may have. What was seen is a lower bound where there may have been more.
func (r *relayMeter) reportBounce(m *Meter, e capture.Event, x change, name string) {
	if len(x.edges) == 0 || !x.lossy() && (!x.moved() && len(x.edges) < 2 || x.opens() && x.bounceCount() == 0) {
		return
	}
	limit, counts := r.plan.Limits.Of(analyze.BounceTime), r.plan.Limits.Of(analyze.BounceCount)
	row := analyze.Measurement{Event: e.Name, Signal: name, Quantity: analyze.BounceTime, Value: x.bounceTime().Seconds(), Limit: limit}
	count := analyze.Measurement{Event: e.Name, Signal: name, Quantity: analyze.BounceCount, Value: float64(x.bounceCount()), Limit: counts}
	row.Doubts = x.more()
	if count.Doubts = slices.Clone(row.Doubts); len(row.Doubts) > 0 {
		m.boundRow(row, analyze.LowerBound, stampOf(x.track, x.track))
		m.boundRow(count, analyze.LowerBound, nil)
		return
	}
	m.row(row, m.stamps(x.track, x.track))
	if count.Doubts = m.hidden(); len(count.Doubts) > 0 {
		m.boundRow(count, analyze.LowerBound, nil)
		return
	}
	m.row(count, nil)
}

// more says why a change may have been longer than what was seen of it, or nothing.
func (c change) more() []analyze.Doubt {
	if c.lossy() {
		return append([]analyze.Doubt{missingEdges(c)}, c.openEnd()...)
	}
	return c.openEnd()
}

// openEnd says what is not known of a change's end, or nothing.
func (c change) openEnd() []analyze.Doubt {
	switch {
	case c.later > 0:
		return figure(analyze.ChangedAgain, float64(c.later))
	case !c.rests:
		return figure(analyze.StillBouncing, c.watched.Seconds())
	}
	return nil
}

// doubtPass takes back a pass that edges after the state's end may have spoilt.
func (c change) doubtPass(x *analyze.Measurement) {
	if !c.rests && x.Verdict == analyze.Pass {
		x.LeaveUndecided()
	}
}

// reportMargins reports how far the output's levels are from what the relay needs.
func (r *relayMeter) reportMargins(m *Meter, c *capture.Capture, e capture.Event) {
	if r.output == nil || !r.output.now.state.known() || r.output.now.brief {
		return
	}
	s := &r.output.now
	budget := levelBudget(c.Traces[r.output.index], s.state)
	if r.output.namesHigh() {
		if must := float64(r.plan.MustOperate); !math.IsNaN(must) {
			m.row(analyze.Measurement{Event: e.Name, Signal: r.plan.Signal, Quantity: analyze.PullInMargin,
				Value: s.state.volts - must, Limit: r.plan.Limits.Of(analyze.PullInMargin)}, budget)
		}
		return
	}
	if must := float64(r.plan.MustRelease); !math.IsNaN(must) {
		m.row(analyze.Measurement{Event: e.Name, Signal: r.plan.Signal, Quantity: analyze.DropOutMargin,
			Value: must - s.state.volts, Limit: r.plan.Limits.Of(analyze.DropOutMargin)}, budget)
	}
}
