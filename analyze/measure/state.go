package measure

import (
	"math"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// State is what was seen of a unit from one event to the next, beside the figures: what
// package diagnose needs to name what is wrong.
type State struct {
	Cycle   int // from 1
	Event   string
	Outputs []OutputState
	Relays  []RelayState
	// Rows are the state's figures.
	Rows []analyze.Measurement
	// SupplyLost says that the unit was not supplied as it was told. Nothing else counts then.
	SupplyLost bool
	// Floating are the volts at which outputs read that are off, below zero, where the 0 V of
	// the rig and the unit are not joined; 0: they are. No figure counts then.
	Floating float64
	// Inverted is the reference line that reads the opposite of what it should; empty: none.
	// No event has its instant then, and nothing counts.
	Inverted string
}

// OutputState is what one output did in a state. Voltages are in volts and 0 where nothing
// is known, times are in seconds.
type OutputState struct {
	Signal  string
	Named   bool // by the plan
	Demand  analyze.Demand
	Nominal float64 // volts of an output that is on
	Samples int
	Lasted  float64 // seconds from the event to the next

	WasHigh, WasKnown bool // before the event
	High              bool // the state that is judged
	HighAtEnd         bool
	Moved             bool // it crossed its mid reference level
	Crossings         int
	Pulses            int
	Entered           float64 // seconds from the event to its first sample in the state that it ended in; 0: it did not move
	Interval          float64 // seconds between samples
	WentHigh, WentLow bool    // it came into that state, whether it stayed or not
	// Expect is what was expected of it.
	Expect analyze.Expectation
	// Turned is how many times it changed its state, bounce not counted, where it is followed from
	// edge to edge; Quiet the seconds from the last time to the end of what was watched.
	Turned int
	Quiet  float64
	// FlashesOn says that it was to flash until this event, and does so still.
	FlashesOn bool

	Before, Level, Rest float64 // volts: before the event, of the state judged, at the end
	LevelKnown          bool
	Drifts              bool    // Level is the middle of a steady drift
	Lowest, Highest     float64 // volts of all samples
	Held                float64 // volts that it had to keep
	OffLevel            float64 // volts that it last had when low; NaN: not known

	Watched  float64 // seconds from the event to the last sample
	Allowed  float64 // seconds that it may take to go where it should
	LastEnd  float64 // seconds by which a pulse must have ended
	TooBrief bool    // Watched is less than Allowed

	Away        float64 // seconds of its longest excursion out of the state
	AwaySamples int
	AwayVolts   float64 // the farthest sample of all excursions
	HoldLimited bool    // a limit says how long one may last

	Placed    bool    // when it crossed is known
	Transient float64 // volts that the transition reached before it settled
	Missing   float64 // seconds without samples, where they are too many
}

// RelayState is what one relay did in a state.
type RelayState struct {
	Plan              *analyze.RelayPlan
	Output            *OutputState // nil: none is known to drive it
	HasMake, HasBreak bool         // the contact is wired
	Changes           []RelayChange
}

// RelayChange is what a relay's contacts did after it was told something, or nothing.
type RelayChange struct {
	Make, Break  ContactChange
	Told         bool    // to change
	Rising       bool    // to operate
	Watched      float64 // seconds from what it was told to the end of the state
	TooBrief     bool    // Watched is too short to say that it stands still
	Late         bool    // it may answer what it was told in the state before
	EdgesLost    bool    // or may be, and nothing shows it
	EdgesSuspect bool    // none of them is known to be lost
}

// ContactChange is what one contact did.
type ContactChange struct {
	Known         bool // its state is known at all
	Closed        bool // at the end
	Opens, Closes bool // it changed over
	Edges         int
	Restless      bool // it did not come to rest as bounce does
	// ClosedShare is the share of the time from its first edge on for which it was closed, and
	// LongestClosed, in seconds, the longest time closed between two edges; 0: it has no edge.
	ClosedShare, LongestClosed float64
}

// state is what was seen in the present state, before it is left behind; nil where
// nothing is demanded.
func (m *Meter) state(e capture.Event, to capture.Instant, changes [][]contacts, lost bool) *State {
	if m.undemanded {
		return nil
	}
	s := &State{Cycle: m.cycle, Event: e.Name, Outputs: make([]OutputState, len(m.outputs)), Relays: make([]RelayState, len(m.relays)),
		Rows: m.out[m.firstRow:], SupplyLost: lost}
	for i, o := range m.outputs {
		s.Outputs[i] = o.state(e.At, to.Sub(e.At))
	}
	for i, r := range m.relays {
		s.Relays[i] = RelayState{Plan: &r.plan, HasMake: r.make >= 0, HasBreak: r.brk >= 0}
		for k, o := range m.outputs {
			if o == r.output {
				s.Relays[i].Output = &s.Outputs[k]
			}
		}
		for _, x := range changes[i] {
			s.Relays[i].Changes = append(s.Relays[i].Changes, x.state())
		}
	}
	return s
}

func (o *outputMeter) state(from capture.Instant, lasted time.Duration) OutputState {
	s := &o.now
	x := OutputState{Signal: o.signal, Named: o.plan != nil, Demand: s.expect.Demand, Nominal: o.nominal,
		Samples: s.o.n, Lasted: lasted.Seconds(), WasHigh: s.wasHigh, WasKnown: s.wasKnown}
	if s.o.n == 0 {
		return x
	}
	x.High, x.HighAtEnd, x.Moved = s.high, s.o.final().high, s.moved
	x.Crossings, x.Pulses = s.o.crossings(), s.o.pulses()
	x.Interval, x.Expect = s.o.interval, s.expect
	if t := s.train; t != nil && len(t.turns) > 0 {
		last := t.turns[len(t.turns)-1]
		x.Turned, x.Quiet, x.Pulses = len(t.turns), math.Max(0, t.end-last.from.Sub(t.zero).Seconds()), t.pulses()
		x.FlashesOn = s.expect.Demand != analyze.Train && o.flashesOn()
	}
	if into, moved := s.o.entry(x.HighAtEnd); moved {
		x.Entered = into.from.Sub(from).Seconds()
	}
	_, x.WentHigh = s.o.entry(true)
	_, x.WentLow = s.o.entry(false)
	x.Before, x.Level, x.Rest = s.before.volts, s.state.volts, s.endLevel.volts
	x.LevelKnown, x.Drifts = s.state.known(), s.state.drifts()
	x.Lowest, x.Highest, x.Held, x.OffLevel = s.o.lo, s.o.hi, o.heldLevel(), o.lowLevel
	x.Watched, x.Allowed, x.LastEnd, x.TooBrief = s.watched, o.allowed(), s.expect.Span().Upper, o.watchedTooBriefly()
	x.Away, x.AwaySamples, x.AwayVolts = s.absent.seconds, s.absent.samples, s.absent.far
	x.HoldLimited = !o.limitOf(analyze.Hold).None()
	x.Placed, x.Transient, x.Missing = s.placed, s.aberration, math.Max(s.gap, s.crossGap)
	return x
}

func (x contacts) state() RelayChange {
	return RelayChange{Make: x.make.state(), Break: x.brk.state(), Told: x.command.due, Rising: x.command.rising,
		Watched: x.watched.Seconds(), TooBrief: x.brief(), Late: x.late, EdgesLost: x.lost(), EdgesSuspect: x.lost() && missingEdges(x.make, x.brk).Code == analyze.EdgesInDoubt}
}

func (c change) state() ContactChange {
	x := ContactChange{Known: c.known, Closed: c.end, Opens: c.opens(), Closes: c.closes(), Edges: len(c.edges) + c.thinned, Restless: c.restless(), LongestClosed: c.longest.Seconds()}
	if c.seen > 0 {
		x.ClosedShare = c.closedFor.Seconds() / c.seen.Seconds()
	}
	return x
}
