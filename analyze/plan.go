package analyze

import "math"

// Quantity is one thing measured. The names are the contract of the results.
type Quantity string

// The quantities.
const (
	LowLevel           Quantity = "low_level"
	HighLevel          Quantity = "high_level"
	Ripple             Quantity = "ripple"
	SwitchingDelay     Quantity = "switching_delay"
	TransitionDuration Quantity = "transition_duration"
	OperateTime        Quantity = "operate_time"
	ReleaseTime        Quantity = "release_time"
	BounceTime         Quantity = "bounce_time"
	BounceCount        Quantity = "bounce_count"
	TransferTime       Quantity = "transfer_time"
	PullInMargin       Quantity = "pull_in_margin"
	DropOutMargin      Quantity = "drop_out_margin"
	Hold               Quantity = "hold"
	// PulseDuration is how long an output that pulses stays high (IEEE Std 181, 50 %
	// to 50 %). It is measured where a pulse is expected.
	PulseDuration Quantity = "pulse_duration"
	// PullInVoltage and DropOutVoltage are the coil voltages at which a rising supply
	// makes a relay operate and a falling one makes it release (the operate and the
	// release voltage of IEC 61810-1, from memory). They are measured on ramps.
	PullInVoltage  Quantity = "pull_in_voltage"
	DropOutVoltage Quantity = "drop_out_voltage"
)

// quantities in the order in which they are shown, with their base units.
var quantities = []struct {
	q    Quantity
	unit string
}{
	{LowLevel, "V"}, {HighLevel, "V"}, {Ripple, "V"},
	{SwitchingDelay, "s"}, {TransitionDuration, "s"}, {PulseDuration, "s"}, {Hold, "s"},
	{OperateTime, "s"}, {ReleaseTime, "s"}, {TransferTime, "s"},
	{BounceTime, "s"}, {BounceCount, "1"},
	{PullInMargin, "V"}, {DropOutMargin, "V"},
	{PullInVoltage, "V"}, {DropOutVoltage, "V"},
}

// Quantities returns all quantities in the order in which they are shown.
func Quantities() []Quantity {
	all := make([]Quantity, len(quantities))
	for i, x := range quantities {
		all[i] = x.q
	}
	return all
}

// Unit returns the quantity's unit of measure: "V", "s" or "1" for a count. An
// unknown quantity has none.
func (q Quantity) Unit() string {
	for _, x := range quantities {
		if x.q == q {
			return x.unit
		}
	}
	return ""
}

// Known reports whether q is a quantity.
func (q Quantity) Known() bool { return q.Unit() != "" }

// Demand is what an output must do at an event.
type Demand int

// The demands.
const (
	Any     Demand = iota // anything goes
	High                  // it is high and stays so
	Low                   // it is low and stays so
	Unmoved               // it keeps the state that it had
	Pulse                 // it goes high and comes back after Expectation.After
)

// String returns the word that a sequence uses.
func (d Demand) String() string {
	return [...]string{"any", "high", "low", "unmoved", "pulse"}[d]
}

// Expectation is what one output must do at one event.
type Expectation struct {
	Demand Demand
	// After is, in seconds, how long an exit delay runs before the output changes
	// (High, Low), or how long a pulse lasts (Pulse). Zero: it changes at once.
	After float64
	// Within is how far the real time may be off, a share of After.
	Within float64
}

// Limit bounds a quantity, in base units. A NaN bound is no bound.
type Limit struct{ Lower, Upper float64 }

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

// RelayPlan is one change-over relay behind an output.
type RelayPlan struct {
	Signal      string
	Make, Break string  // contacts' signals; either may be empty
	MustOperate float64 // volts; NaN: not stated
	MustRelease float64 // volts; NaN: not stated
	Limits      Limits
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

// Relay returns the plan of the relay named, or nil.
func (p *Plan) Relay(signal string) *RelayPlan {
	for i := range p.Relays {
		if p.Relays[i].Signal == signal {
			return &p.Relays[i]
		}
	}
	return nil
}
