package analyze

// Symptom is one thing seen wrong (or doubtful) in one cycle. Findings are made
// of symptoms, so a log that holds them can be reported again at any time.
type Symptom struct {
	Cycle  int
	Event  string
	Signal string // the output, relay or contact that it is about
	Kind   Kind
	Other  string  // another signal involved: the output that moved instead
	Value  float64 // a figure, in the base unit of what the kind is about; NaN: none
	Limit  float64 // the limit that it broke, in the same unit; NaN: none
}

// Kind is a kind of symptom.
type Kind string

// The kinds of symptoms.
const (
	NotSampled     Kind = "not-sampled"
	SamplesMissing Kind = "samples-missing"
	WatchedShort   Kind = "watched-short"
	Reversed       Kind = "reversed"
	DidNotMove     Kind = "did-not-move"
	MovedInstead   Kind = "moved-instead"
	MovedUnasked   Kind = "moved-unasked"
	MovedTogether  Kind = "moved-together"
	Inverted       Kind = "inverted"
	FellBack       Kind = "fell-back"
	NoPulse        Kind = "no-pulse"
	MorePulses     Kind = "more-pulses"
	PulseLength    Kind = "pulse-length"
	FewerPulses    Kind = "fewer-pulses"
	LongOn         Kind = "long-on"
	ShortOn        Kind = "short-on"
	LongOff        Kind = "long-off"
	ShortOff       Kind = "short-off"
	FlashesOn      Kind = "flashes-on"      // longer than the time set, or beyond its event
	FlashesBriefly Kind = "flashes-briefly" // less than the time set
	DoesNotFlash   Kind = "does-not-flash"  // it goes high and stays there
	StopsEarly     Kind = "stops-early"     // it flashes no longer before the next event
	LowWhenOn      Kind = "low-when-on"
	HighWhenOn     Kind = "high-when-on"
	HighWhenOff    Kind = "high-when-off"
	OffMayHold     Kind = "off-may-hold"
	WeakPullIn     Kind = "weak-pull-in"
	Rippling       Kind = "rippling"
	Drooping       Kind = "drooping"
	LeftState      Kind = "left-state"
	LooseWire      Kind = "loose-wire"
	SlowSwitching  Kind = "slow-switching"
	EarlySwitching Kind = "early-switching"
	SlowTransition Kind = "slow-transition"
	RelayStill     Kind = "relay-still"
	RelayAlone     Kind = "relay-alone"
	HeldIn         Kind = "held-in"
	ContactsSwap   Kind = "contacts-swapped"
	Welded         Kind = "welded"
	UnsteadyMake   Kind = "unsteady-contact"
	Chattering     Kind = "chattering"
	LongBounce     Kind = "long-bounce"
	SlowOperate    Kind = "slow-operate"
	SlowRelease    Kind = "slow-release"
	Overlap        Kind = "overlap"
	OffLimit       Kind = "off-limit"
	NearLimit      Kind = "near-limit"
	Doubtful       Kind = "doubtful"
	NotVolts       Kind = "not-volts"
	EdgesLost      Kind = "edges-lost"
	EdgesSuspect   Kind = "edges-in-doubt"
	PullsInHigh    Kind = "pulls-in-high"
	LetsGoLow      Kind = "lets-go-low"
	SupplyLost     Kind = "supply-lost"
	Overshoots     Kind = "overshoots"
	Undershoots    Kind = "undershoots"
	CommonOpen     Kind = "common-open"
	PulledDown     Kind = "pulled-down"
	SagsOnLoad     Kind = "sags-on-load"
	HeavyLoad      Kind = "heavy-load"
	NoDiode        Kind = "no-diode"
	ZeroNotJoined  Kind = "zero-not-joined"
	RefInverted    Kind = "reference-inverted"
	CoilCarries    Kind = "coil-carries-current"

	OverdueCalibration Kind = "calibration-overdue"
	FutureCalibration  Kind = "calibration-in-future"
)

// Verdict is what a symptom of the kind means for the unit.
func (k Kind) Verdict() Verdict {
	switch k {
	case NotSampled, SamplesMissing, WatchedShort, NearLimit, Doubtful, NotVolts, EdgesLost, EdgesSuspect, SupplyLost, ZeroNotJoined, RefInverted, OverdueCalibration, FutureCalibration:
		return Undecided
	case Overshoots, Undershoots, NoDiode, CoilCarries:
		return NoVerdict // no limit says how far a transition may go beyond its level
	}
	return Fail
}
