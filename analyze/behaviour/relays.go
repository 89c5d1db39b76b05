package behaviour

import (
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/tally"
)

// Relay is the row of a relay, with as many cells as there are events.
type Relay struct {
	Signal, Make, Break string // a contact's name is empty where it is not wired
	Output              string // the output before it; empty: none is known
	Cells               []RelayCell
}

// RelayDemand is what a relay had to do at an event: what its output had to do says so.
type RelayDemand int

// The demands.
const (
	AnyChange         RelayDemand = iota // nothing was demanded
	Operate                              // the make contact is closed then, the break contact open
	Release                              // the other way round
	OperateAndRelease                    // with a pulse of its output
	KeepStill                            // neither contact changes
	FollowSupply                         // the event moves the supply
)

// RelayCell is what one relay had to do at one event, and the figures of it and of its contacts
// there over all cycles.
type RelayCell struct {
	Expect RelayDemand
	// Times are the figures that say that it changed, and when or at which voltage: operate
	// and release time, and on a ramp of the supply pull-in and drop-out voltage.
	Times []*tally.Row
	// Transfer and Bounce are the transfer time and the contacts' bounce times. Without any
	// of them the contacts did not change.
	Transfer *tally.Row
	Bounce   []*tally.Row
	// Rows are all figures there, those among them.
	Rows []*tally.Row
}

// Verdict is the gravest of the cell's figures. That a contact changed which must keep still is
// told by a finding: what was measured of that change passes nothing.
func (c *RelayCell) Verdict() analyze.Verdict {
	v := gravest(c.Rows)
	if v == analyze.Pass && c.Expect == KeepStill && c.Changed() {
		return analyze.NoVerdict
	}
	return v
}

// Changed reports whether a contact changed.
func (c *RelayCell) Changed() bool {
	return len(c.Bounce) > 0 || slices.ContainsFunc(append(c.Times, c.Transfer), func(x *tally.Row) bool { return x != nil && x.Values > 0 })
}

// NotDone are what there is to say of figures that are missing, each once, with the number of
// figures that the row has.
func (c *RelayCell) NotDone() (remarks []*tally.Remark, of []int) {
	for _, x := range append(slices.Clone(c.Times), c.Transfer) {
		for i := range remarksOf(x) {
			r := &x.Remarks[i]
			said := slices.ContainsFunc(remarks, func(o *tally.Remark) bool { return sameReason(o, r) })
			if r.Missing() && len(r.Example.Doubts) > 0 && !said {
				remarks, of = append(remarks, r), append(of, x.Figures)
			}
		}
	}
	return remarks, of
}

func remarksOf(x *tally.Row) []tally.Remark {
	if x == nil {
		return nil
	}
	return x.Remarks
}

func sameReason(a, b *tally.Remark) bool {
	x, y := a.Example.Doubts[0], b.Example.Doubts[0]
	return x.Code == y.Code && x.Signal == y.Signal
}

// Beyond are the figures that have a value and the cell's verdict, where that is fail or
// undecided.
func (c *RelayCell) Beyond() []*tally.Row { return beyondOf(c.Rows, c.Verdict()) }

// add puts a row of figures into the cell.
func (c *RelayCell) add(x *tally.Row) {
	c.Rows = append(c.Rows, x)
	switch x.Quantity {
	case analyze.OperateTime, analyze.ReleaseTime, analyze.PullInVoltage, analyze.DropOutVoltage:
		c.Times = append(c.Times, x)
	case analyze.TransferTime:
		c.Transfer = x
	case analyze.BounceTime:
		c.Bounce = append(c.Bounce, x)
	}
}

// relay is the row of one relay.
func (b *Builder) relay(p *analyze.RelayPlan) Relay {
	r := Relay{Signal: p.Signal, Make: p.Make, Break: p.Break, Cells: make([]RelayCell, len(b.events))}
	var output *analyze.OutputPlan
	for i := range b.plan.Outputs {
		if o := &b.plan.Outputs[i]; o.Relay == p.Signal {
			output, r.Output = o, o.Signal
		}
	}
	for i, e := range b.events {
		r.Cells[i].Expect = relayDemand(output, &e)
	}
	for _, k := range b.order {
		if b.relayOf(k.Signal) == p {
			r.Cells[k.column].add(b.rows[k])
		}
	}
	return r
}

// relayDemand is what a relay had to do at an event, by what the output before it had to.
func relayDemand(o *analyze.OutputPlan, e *Event) RelayDemand {
	switch {
	case e.Move != nil:
		return FollowSupply
	case o == nil:
		return AnyChange
	}
	return map[analyze.Demand]RelayDemand{analyze.High: Operate, analyze.Low: Release, analyze.Pulse: OperateAndRelease, analyze.Train: OperateAndRelease, analyze.Unmoved: KeepStill}[o.At(e.Name).Demand]
}

// relayOf is the relay that a signal is, or is a contact of; nil: none.
func (b *Builder) relayOf(signal string) *analyze.RelayPlan {
	for i := range b.plan.Relays {
		if p := &b.plan.Relays[i]; signal != "" && (signal == p.Signal || signal == p.Make || signal == p.Break) {
			return p
		}
	}
	return nil
}
