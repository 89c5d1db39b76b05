package analyze

import (
	"math"
	"strings"

	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// contacts is what a relay's two contacts did from an event to the next.
type contacts struct {
	make, brk change
	// operates and releases say which way the contacts changed over.
	operates, releases bool
}

// lost reports whether edges of either contact are known to be missing.
func (x contacts) lost() bool { return x.make.lost > 0 || x.brk.lost > 0 }

// measure looks at a relay's contacts from an event to the next and reports them.
func (r *relayMeter) measure(m *Meter, c *capture.Capture, e capture.Event, to capture.Instant) contacts {
	x := contacts{
		make: changeOf(trackAt(c, r.make), e.At, to),
		brk:  changeOf(trackAt(c, r.brk), e.At, to),
	}
	x.operates = x.make.closes() || x.brk.opens()
	x.releases = x.make.opens() || x.brk.closes()
	first := len(m.out.Measurements)
	r.reportTime(m, c, e, x)
	r.reportTransfer(m, e, x)
	r.reportBounce(m, e, x.make, r.plan.Make)
	r.reportBounce(m, e, x.brk, r.plan.Break)
	if x.lost() {
		doubtFailures(m.out.Measurements[first:])
	}
	r.reportMargins(m, c, e)
	return x
}

const edgesWereLost = "edges were lost"

// doubtFailures takes back what lost edges may have made look wrong.
func doubtFailures(rows []Measurement) {
	for i := range rows {
		if x := &rows[i]; x.Verdict == Fail {
			x.Verdict = Undecided
			x.Reason = strings.TrimPrefix(x.Reason+"; "+edgesWereLost, "; ")
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
func (r *relayMeter) reportTime(m *Meter, c *capture.Capture, e capture.Event, x contacts) {
	q, closing, name := OperateTime, x.make, r.plan.Make
	rising, due := r.commanded(x)
	if !due {
		return
	}
	if !rising {
		q, closing, name = ReleaseTime, x.brk, r.plan.Break
	}
	limit := r.plan.Limits.Of(q)
	if name == "" {
		m.missing(e.Name, r.plan.Signal, q, limit, Undecided, "no such contact is wired")
		return
	}
	if r.output == nil || !r.output.now.placed {
		m.missing(e.Name, r.plan.Signal, q, limit, Undecided, r.noCrossing())
		return
	}
	at, ok := closing.first(true)
	if !ok || closing.start {
		m.missing(e.Name, r.plan.Signal, q, limit, Fail, name+" did not close")
		return
	}
	cross := r.output.now.cross
	budget := withoutEvent(cross.budget)
	budget = append(budget, stampOf(closing.track, 1)...)
	m.row(Measurement{Event: e.Name, Signal: r.plan.Signal, Quantity: q,
		Value: at.Sub(e.At).Seconds() - cross.at, Limit: limit}, budget)
}

// commanded says whether the relay was told to change at this event, and which
// way: by its output where one is known, else by what its contacts did.
func (r *relayMeter) commanded(x contacts) (rising, due bool) {
	if r.output == nil {
		return x.operates, x.operates || x.releases
	}
	s := &r.output.now
	if !s.moved {
		return false, false
	}
	if s.expect.Demand == Pulse {
		return true, true
	}
	return s.high, s.placed || x.operates || x.releases
}

func (r *relayMeter) noCrossing() string {
	if r.output == nil {
		return "no output is known to drive " + r.plan.Signal
	}
	return "the crossing of " + r.output.signal + " could not be placed"
}

// stampOf is the uncertainty of n edges' time stamps on a track.
func stampOf(t *capture.Track, n float64) []gum.Component {
	if t == nil || t.Stamp == 0 {
		return nil
	}
	return []gum.Component{{Source: "time stamp of the contact's edge", Distribution: "normal",
		Standard: t.Stamp.Seconds() * math.Sqrt(n), Sensitivity: 1, DegreesOfFreedom: math.Inf(1)}}
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
		m.missing(e.Name, r.plan.Signal, TransferTime, limit, Fail, opening.track.Signal+" did not open")
		return
	}
	closed, ok := closing.first(true)
	if !ok {
		m.missing(e.Name, r.plan.Signal, TransferTime, limit, Fail, closing.track.Signal+" did not close")
		return
	}
	m.row(Measurement{Event: e.Name, Signal: r.plan.Signal, Quantity: TransferTime,
		Value: closed.Sub(opened).Seconds(), Limit: limit}, stampOf(opening.track, 2))
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
	switch {
	case !x.rests:
		row.Reason = "still bouncing when the state ended: at least this long"
	case x.lost > 0 && x.bounceCount() > 0:
		row.Reason = "edges were lost: there may be more bounce than was seen"
		count.Reason = row.Reason
	}
	m.row(row, stampOf(x.track, 2))
	m.row(count, nil)
}

// reportMargins reports how far the output's levels are from what the relay needs.
func (r *relayMeter) reportMargins(m *Meter, c *capture.Capture, e capture.Event) {
	if r.output == nil || !r.output.now.state.known() {
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
