package analyze

import "strings"

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
	// PulseCount, OnTime, OffTime and FlashingDuration are of an output that goes high and low
	// again and again: how often, for how long each (IEEE Std 181: pulse duration and pulse
	// separation), and from the first rise to the last fall.
	PulseCount       Quantity = "pulse_count"
	OnTime           Quantity = "on_time"
	OffTime          Quantity = "off_time"
	FlashingDuration Quantity = "flashing_duration"
	// PullInVoltage and DropOutVoltage are the coil voltages at which a rising supply
	// makes a relay operate and a falling one makes it release (the operate and the
	// release voltage of IEC 61810-1, from memory). They are measured on ramps.
	PullInVoltage  Quantity = "pull_in_voltage"
	DropOutVoltage Quantity = "drop_out_voltage"
)

// Subject is what a quantity is measured of.
type Subject int

// The subjects. A result's signal names one.
const (
	OfOutput Subject = iota
	OfRelay
	OfContact
)

// String returns the trade's word.
func (s Subject) String() string { return [...]string{"output", "relay", "contact"}[s] }

// Definition is all that there is to know of a quantity. What lists, judges, names or
// explains quantities follows from these.
type Definition struct {
	Quantity Quantity
	Unit     string // base unit: "V", "s", or "1" for a count
	Of       Subject
	// Above and Below are the symptoms of a value over its upper and under its lower limit.
	Above, Below Kind
	Means        string // what it is, in the words of a reader's table
	Source       string // the standard or practice that the definition follows
}

// definitions in the order in which quantities are shown.
var definitions = []Definition{
	{LowLevel, "V", OfOutput, HighWhenOff, OffLimit,
		"level of the output when off: mode of the histogram of the settled samples", "IEEE Std 181"},
	{HighLevel, "V", OfOutput, HighWhenOn, LowWhenOn,
		"level of the output when on, likewise", "IEEE Std 181"},
	{Ripple, "V", OfOutput, Rippling, Rippling,
		"peak to peak within a settled state, up to 120 Hz, without the samples' noise", "common practice, no source"},
	{SwitchingDelay, "s", OfOutput, SlowSwitching, EarlySwitching,
		"event to the output's crossing of its mid (50 %) level", "IEEE Std 181"},
	{TransitionDuration, "s", OfOutput, SlowTransition, SlowTransition,
		"10 % to 90 % of the output's step; an upper bound where the samples cannot resolve it", "IEEE Std 181"},
	{PulseDuration, "s", OfOutput, PulseLength, PulseLength,
		"50 % to 50 % of an expected pulse", "IEEE Std 181"},
	{PulseCount, "1", OfOutput, MorePulses, FewerPulses,
		"how many times an output that pulses or flashes goes high", "common practice, no source"},
	{OnTime, "s", OfOutput, LongOn, ShortOn,
		"50 % to 50 % of a pulse of several: the one farthest from what is expected, else their mean", "IEEE Std 181"},
	{OffTime, "s", OfOutput, LongOff, ShortOff,
		"time between two pulses of several, likewise", "IEEE Std 181"},
	{FlashingDuration, "s", OfOutput, FlashesOn, FlashesBriefly,
		"first rise to last fall of an output that is to flash for a set time", "common practice, no source"},
	{Hold, "s", OfOutput, LeftState, LeftState,
		"longest time out of the state before the next event", "common practice, no source"},
	{OperateTime, "s", OfRelay, SlowOperate, SlowOperate,
		"output's crossing to the make contact's first closing, bounce not counted", "IEC 61810-7, from memory"},
	{ReleaseTime, "s", OfRelay, SlowRelease, SlowRelease,
		"output's crossing to the break contact's first closing, bounce not counted", "IEC 61810-7, from memory"},
	{TransferTime, "s", OfRelay, OffLimit, Overlap,
		"one contact's last opening to the other's first closing; negative: both were closed at once", "IEC 60050-444, from memory"},
	{BounceTime, "s", OfContact, LongBounce, LongBounce,
		"first to last edge of one change of a contact", "IEC 61810-7, from memory"},
	{BounceCount, "1", OfContact, LongBounce, LongBounce,
		"extra closings or openings in one change of a contact", "IEC 61810-7, from memory"},
	{PullInMargin, "V", OfRelay, WeakPullIn, WeakPullIn,
		"high level less the relay's must-operate voltage", "common practice, no source"},
	{DropOutMargin, "V", OfRelay, OffMayHold, OffMayHold,
		"the relay's must-release voltage less the low level", "common practice, no source"},
	{PullInVoltage, "V", OfRelay, PullsInHigh, OffLimit,
		"coil voltage at which a rising supply makes the relay operate", "IEC 61810-1, from memory"},
	{DropOutVoltage, "V", OfRelay, OffLimit, LetsGoLow,
		"coil voltage at which a falling supply makes the relay release", "IEC 61810-1, from memory"},
}

// Definitions returns the quantities' definitions in the order in which they are shown.
func Definitions() []Definition { return append([]Definition(nil), definitions...) }

// Quantities returns all quantities in the order in which they are shown.
func Quantities() []Quantity {
	all := make([]Quantity, len(definitions))
	for i := range definitions {
		all[i] = definitions[i].Quantity
	}
	return all
}

// Definition returns the quantity's definition, and whether it has one.
func (q Quantity) Definition() (Definition, bool) {
	for i := range definitions {
		if definitions[i].Quantity == q {
			return definitions[i], true
		}
	}
	return Definition{}, false
}

// Words returns the quantity's name for people, as in "high level".
func (q Quantity) Words() string {
	if q == Hold {
		return "time out of state" // hold alone reads as if the state had been held for so long
	}
	return strings.ReplaceAll(string(q), "_", " ")
}

// Unit returns the quantity's unit of measure: "V", "s" or "1" for a count. An
// unknown quantity has none.
func (q Quantity) Unit() string {
	d, _ := q.Definition()
	return d.Unit
}

// Known reports whether q is a quantity.
func (q Quantity) Known() bool { return q.Unit() != "" }

// SymptomOf returns what a value out of its limit is a symptom of: above its upper one,
// or below its lower one.
func (q Quantity) SymptomOf(above bool) Kind {
	d, known := q.Definition()
	switch {
	case !known:
		return OffLimit
	case above:
		return d.Above
	}
	return d.Below
}
