package analyze

import (
	"math"
	"strings"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/unit"
)

// AssumedNominal is the nominal voltage in volts of an output of which nothing
// else is known (common practice, no source: alarm panels run on 12 V).
const AssumedNominal unit.Volts = 12

// Demand is what an output must do at an event.
type Demand int

// The demands.
const (
	Any     Demand = iota // anything goes
	High                  // it is high and stays so
	Low                   // it is low and stays so
	Unmoved               // it keeps the state that it had
	Pulse                 // it goes high and comes back after Expectation.After
	Train                 // it goes high and low again and again: some pulses, or flashing
)

// String returns the word that a sequence uses.
func (d Demand) String() string {
	return [...]string{"any", "high", "low", "unmoved", "pulse", "train"}[d]
}

// State returns the state that the demand names, if it names one: a pulse goes high, and so does
// a train of them.
func (d Demand) State() (high, named bool) {
	switch d {
	case High, Pulse, Train:
		return true, true
	case Low:
		return false, true
	}
	return false, false
}

// Expectation is what one output must do at one event.
type Expectation struct {
	Demand Demand
	// After is how long an exit delay runs before the output changes
	// (High, Low, Train), or how long a pulse lasts (Pulse). Zero: it changes at once.
	After time.Duration
	// Within is how far the real times may be off, as a share of each.
	Within float64
	// Pulses is how many pulses a train has, after which the output stays low; 0: it flashes
	// until the next event, or for For.
	Pulses int
	// On and Off are how long an output is high and low within a train.
	On, Off time.Duration
	// For is how long an output flashes, after which it stays low; 0: until the next event.
	For time.Duration
}

// Span is the time, in seconds, that the expectation allows its delay or its pulse.
func (x Expectation) Span() Limit { return x.within(x.After) }

// OnSpan is the time, in seconds, that each pulse of a train may last.
func (x Expectation) OnSpan() Limit { return x.within(x.On) }

// OffSpan is the time, in seconds, that may lie between two pulses of a train.
func (x Expectation) OffSpan() Limit { return x.within(x.Off) }

// FlashingSpan is the time, in seconds, that may lie between the first rise and the last fall of
// an output that flashes for a set time: that may end while it is low.
func (x Expectation) FlashingSpan() Limit {
	if x.For == 0 {
		return NoLimit()
	}
	all := x.within(x.For)
	return Limit{tidy(all.Lower - x.OffSpan().Upper), all.Upper}
}

// Flashes reports whether the output is to flash until the next event: in which state that
// finds it is left open.
func (x Expectation) Flashes() bool { return x.Demand == Train && x.Pulses == 0 && x.For == 0 }

// Longest is how long, at most, an output may take for what is expected of it by the times that
// are stated; of one that flashes until the next event, to two pulses with the time after each.
func (x Expectation) Longest() time.Duration {
	all := x.After
	switch {
	case x.Demand != Train:
	case x.Pulses > 0:
		all += time.Duration(x.Pulses) * (x.On + x.Off)
	case x.For > 0:
		all += x.For + x.Off
	default:
		all += 2 * (x.On + x.Off)
	}
	return time.Duration(all.Seconds() * (1 + x.Within) * 1e9)
}

// within is the span in which a time of the expectation may lie, in seconds.
func (x Expectation) within(t time.Duration) Limit {
	return Limit{tidy(t.Seconds() * (1 - x.Within)), tidy(t.Seconds() * (1 + x.Within))}
}

// tidy takes off a time in seconds what arithmetic adds to it: far less than a nanosecond.
func tidy(seconds float64) float64 { return math.Round(seconds*1e12) / 1e12 }

// Limit bounds a quantity, in base units. A NaN bound is no bound.
type Limit struct{ Lower, Upper float64 } // in the quantity's base unit

// NoLimit bounds nothing.
func NoLimit() Limit { return Limit{math.NaN(), math.NaN()} }

// None reports whether the limit bounds nothing.
func (l Limit) None() bool { return math.IsNaN(l.Lower) && math.IsNaN(l.Upper) }

// Limits holds a limit for each quantity that has one.
type Limits map[Quantity]Limit

// Of returns the quantity's limit, NoLimit where there is none.
func (l Limits) Of(q Quantity) Limit {
	if x, ok := l[q]; ok {
		return x
	}
	return NoLimit()
}

// OutputPlan is what one output must do.
type OutputPlan struct {
	Signal string
	Expect map[string]Expectation // by event; an event not named expects Unmoved
	Limits Limits
	Relay  string // the relay behind the output, or empty
}

// At returns what the output must do at an event.
func (o *OutputPlan) At(event string) Expectation {
	if x, named := o.Expect[event]; named {
		return x
	}
	return Expectation{Demand: Unmoved}
}

// RelayPlan is one change-over relay behind an output.
type RelayPlan struct {
	Signal      string
	Make, Break string // contacts' signals; either may be empty
	// MustOperate and MustRelease are the relay's own voltages; NaN: not stated.
	MustOperate, MustRelease unit.Volts
	Limits                   Limits
}

// RelaysOf returns the change-over relays that a capture's contacts are named for: K1_NO and K1_NC
// are the make and the break contact of K1.
func RelaysOf(c *capture.Capture) []RelayPlan {
	var relays []RelayPlan
	at := map[string]int{}
	for _, t := range c.Tracks {
		name, isMake := strings.CutSuffix(t.Signal, "_NO")
		name, isBreak := strings.CutSuffix(name, "_NC")
		if !isMake && !isBreak {
			continue
		}
		i, ok := at[name]
		if !ok {
			i = len(relays)
			at[name] = i
			relays = append(relays, RelayPlan{Signal: name, MustOperate: unit.Volts(math.NaN()), MustRelease: unit.Volts(math.NaN())})
		}
		if isMake {
			relays[i].Make = t.Signal
		} else {
			relays[i].Break = t.Signal
		}
	}
	return relays
}

// Rule is how a figure near its limit is judged.
type Rule string

// The rules (JCGM 106:2012, 8).
const (
	Guarded Rule = "guarded" // closer to the limit than the expanded uncertainty is undecided
	Simple  Rule = "simple"  // the value alone decides
)

// Plan is what a unit must do, as a sequence states it. The zero plan demands
// nothing: everything is measured and nothing judged.
type Plan struct {
	Steps []string // events of one cycle, in order
	// Moves says which events move the supply.
	Moves   map[string]Move
	Outputs []OutputPlan
	// OthersUnmoved demands that every output not named keeps its state.
	OthersUnmoved bool
	Relays        []RelayPlan
	Decide        Rule // empty: Guarded
	// Coils says that the outputs are relays' coils, which the rig itself switches. No sequence
	// states that: whoever knows the rig sets it.
	Coils bool
	// Overdue says what becomes of figures that rest on an overdue calibration; empty: as
	// the rig file says.
	Overdue capture.OverdueRule
}

// Output returns the plan of the output named, or nil.
func (p *Plan) Output(signal string) *OutputPlan {
	for i := range p.Outputs {
		if p.Outputs[i].Signal == signal {
			return &p.Outputs[i]
		}
	}
	return nil
}

// Demands reports whether anything at all is demanded of an output, so that it has to be
// watched: one that may do anything, has no limits and no relay behind it need not be.
func (p *Plan) Demands(o *OutputPlan) bool {
	if len(o.Limits) > 0 || o.Relay != "" {
		return true
	}
	for _, event := range p.Steps {
		_, moves := p.Moves[event]
		if !moves && o.At(event).Demand != Any {
			return true
		}
	}
	return false
}

// Relay returns the plan of the relay named, or nil.
func (p *Plan) Relay(signal string) *RelayPlan {
	for i := range p.Relays {
		if p.Relays[i].Signal == signal {
			return &p.Relays[i]
		}
	}
	return nil
}

// Move is what a step does to the supply of what is tested: it is set to a voltage
// at once, or taken there slowly.
type Move struct {
	From, To unit.Volts    // From only of a ramp
	Over     time.Duration // that a ramp takes; 0: at once
}

// Ramp reports whether the supply is taken from one voltage to the other slowly, to
// find where the relays change over.
func (m Move) Ramp() bool { return m.Over > 0 }

// MovesAt reports whether all of the events move the supply.
func (p *Plan) MovesAt(events []string) bool {
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

// OnRamp returns which of the relay's voltages a ramp shows, and its limit: where none
// is set to it, what the relay must operate or release at.
func (p *RelayPlan) OnRamp(m Move) (Quantity, Limit) {
	q, limit := PullInVoltage, Limit{math.NaN(), float64(p.MustOperate)}
	if m.To < m.From {
		q, limit = DropOutVoltage, Limit{float64(p.MustRelease), math.NaN()}
	}
	if set := p.Limits.Of(q); !set.None() {
		limit = set
	}
	return q, limit
}
