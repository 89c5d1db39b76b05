package analyze

import "math"

// Doubt is one fact that makes a figure less than a plain value with its uncertainty: why
// it is missing, what it leaves open, or of what it is only a bound. Package diagnose
// makes sentences of doubts when they are told; nothing asks what a sentence says.
type Doubt struct {
	Code DoubtCode
	// Value is the doubt's figure, in the unit that its code states; NaN where it has none.
	Value float64
	// Signal is the contact or output that it is about, where that is not the figure's own
	// signal; Other is a second one. Empty: none.
	Signal, Other string
	// Text holds the words of a log that was written before doubts had codes, where nothing
	// but the words is known. Only Worded has it.
	Text string
}

// DoubtCode names a kind of doubt. Logs hold the codes: none is ever changed or given
// another meaning.
type DoubtCode string

// Doubts of samples.
const (
	NoSamples           DoubtCode = "no-samples"             // none in the state
	NoSettledSamples    DoubtCode = "no-settled-samples"     // none in the settled part of the state
	NoSamplesAtLevel    DoubtCode = "no-samples-at-level"    // none near the state's level
	NoSamplesAround     DoubtCode = "no-samples-around"      // none of the output Signal around the change-over
	FewSamples          DoubtCode = "few-samples"            // Value: how many the state has
	PlainMean           DoubtCode = "plain-mean"             // Value: of how many samples; too few for a histogram
	SamplesAbsent       DoubtCode = "samples-missing"        // Value: seconds without samples
	SamplesLeftOut      DoubtCode = "samples-left-out"       // Value: seconds of which samples were left out on purpose
	AtMost              DoubtCode = "upper-bound"            // the value is an upper bound; with no other doubt, for want of closer samples
	AtLeast             DoubtCode = "lower-bound"            // the value is a lower bound, for what the doubt beside it says
	RippleBrief         DoubtCode = "ripple-brief"           // Value: seconds of settled samples, less than a period
	RippleSmoothed      DoubtCode = "ripple-smoothed"        // Value: seconds over which each sample is a mean, which hides ripple
	CrossingNotShown    DoubtCode = "crossing-not-shown"     // the samples do not show where the output crossed
	ReferencesNotShown  DoubtCode = "references-not-shown"   // the 10 % or 90 % instant is not in the samples
	StateBeforeUnknown  DoubtCode = "state-before-unknown"   // nothing is known of the state before the event
	WatchedBriefly      DoubtCode = "watched-briefly"        // Value: seconds that the output was watched
	SupplySettingLost   DoubtCode = "supply-setting-lost"    // the supply's converter had lost its setting
	NotJoined           DoubtCode = "not-joined"             // the 0 V of rig and unit are not joined
	ReferenceOpposite   DoubtCode = "reference-opposite"     // a reference line reads the opposite, so that no event has its instant
	OutputNotPlaced     DoubtCode = "output-not-placed"      // when the output Signal switched is not known
	NoOutputKnown       DoubtCode = "no-output-known"        // no output is known to drive the relay Signal
	PulseEdgesNotPlaced DoubtCode = "pulse-edges-not-placed" // when the pulse began or ended is not known
)

// Doubts of what an output did.
const (
	DidNotGoHigh DoubtCode = "did-not-go-high"
	DidNotGoLow  DoubtCode = "did-not-go-low"
	AlreadyHigh  DoubtCode = "already-high"
	AlreadyLow   DoubtCode = "already-low"
	DidNotPulse  DoubtCode = "did-not-pulse"
	OnePulseOnly DoubtCode = "one-pulse-only" // of several that were to come
)

// Doubts of contacts. Signal is the contact.
const (
	NoContactWired   DoubtCode = "no-contact-wired"
	AlreadyClosed    DoubtCode = "already-closed"
	AlreadyOpen      DoubtCode = "already-open"
	DidNotClose      DoubtCode = "did-not-close"
	DidNotOpen       DoubtCode = "did-not-open"
	NotClosedInTime  DoubtCode = "not-closed-in-time" // the state ended soon after it was told to
	DidNotCloseTill  DoubtCode = "did-not-close-till" // Value: volts that the supply's ramp ended at
	DidNotOpenTill   DoubtCode = "did-not-open-till"  // likewise
	CoilReachedOnly  DoubtCode = "coil-reached-only"  // Value: volts that a ramp brought the coil to
	CoilReachedWith  DoubtCode = "coil-reached-with"  // Value: expanded uncertainty of that, volts
	ClosedBefore     DoubtCode = "closed-before"      // before the output Other crossed its mid level
	ChangedAgain     DoubtCode = "changed-again"      // Value: how many times after it had come to rest
	StillBouncing    DoubtCode = "still-bouncing"     // Value: seconds from the last edge to the state's end
	EdgesMissing     DoubtCode = "edges-lost"         // of the figure's contacts, where it may rest on them
	EdgesInDoubt     DoubtCode = "edges-in-doubt"     // other lines of the contacts' GPIO chip lost edges, so many that theirs may be missing, too
	EdgesMayHide     DoubtCode = "edges-may-hide"     // Value: seconds that the kernel's handler was late; edges closer together may have been taken for one
	BounceIncomplete DoubtCode = "bounce-incomplete"  // edges were lost and it was judged by what was seen; in older logs only
)

// Doubts of what a figure rests on. Signal is the output.
const (
	CalibrationOverdue  DoubtCode = "calibration-overdue"
	CalibrationInFuture DoubtCode = "calibration-in-future" // it is dated after the cycle
)

// Worded is a doubt of which only the words are known.
const Worded DoubtCode = "worded"

// Has reports whether the measurement has a doubt of the code.
func (m *Measurement) Has(code DoubtCode) bool {
	for i := range m.Doubts {
		if m.Doubts[i].Code == code {
			return true
		}
	}
	return false
}

// InWords is a doubt of which only the words are known; none for no words.
func InWords(text string) []Doubt {
	if text == "" {
		return nil
	}
	return []Doubt{{Code: Worded, Value: math.NaN(), Text: text}}
}
