package analyze

import (
	"math"
	"strings"

	"makebreak/analyze/gum"
)

// Verdict is the outcome of judging.
type Verdict string

// The verdicts. An empty verdict means that nothing was demanded.
const (
	NoVerdict Verdict = ""
	Pass      Verdict = "pass"
	Fail      Verdict = "fail"
	Undecided Verdict = "undecided"
)

// Worse returns the graver of both: fail before undecided before pass before none.
func (v Verdict) Worse(w Verdict) Verdict {
	if rank(w) > rank(v) {
		return w
	}
	return v
}

func rank(v Verdict) int {
	switch v {
	case Fail:
		return 3
	case Undecided:
		return 2
	case Pass:
		return 1
	}
	return 0
}

// Measurement is one figure: one quantity of one signal at one event of one
// cycle. Values are in the quantity's base unit.
type Measurement struct {
	Cycle    int    // from 1
	Event    string // empty for the state before the first event
	Signal   string
	Quantity Quantity
	// Value is NaN where the quantity could not be measured; Reason says why.
	Value float64
	// Expanded is the expanded uncertainty at 95 %, NaN where none applies (a count).
	Expanded float64
	// Standard is the combined standard uncertainty, Coverage the factor between
	// both, DegreesOfFreedom the effective ones (may be infinite).
	Standard, Coverage, DegreesOfFreedom float64
	Limit                                Limit
	Verdict                              Verdict
	// Conformance is the probability that the true value meets the limit (JCGM 106,
	// 7), NaN where there is no limit or no uncertainty.
	Conformance float64
	// Doubts are what else there is to say of the figure, in the order in which it was found.
	Doubts []Doubt
	Reason string
	Budget []gum.Component
}

// Bound reports whether the value is only an upper bound of the quantity.
func (m *Measurement) Bound() bool { return strings.HasPrefix(m.Reason, upperBound) }

// doubt leaves a figure undecided for a reason that its budget knows nothing of: the
// probability that it conforms is not known then, either. No reason keeps the one there is.
func (m *Measurement) doubt(reason string) {
	m.Verdict, m.Conformance = Undecided, math.NaN()
	if reason != "" {
		m.Reason = reason
	}
}

// Symptom is one thing seen wrong (or doubtful) in one cycle. Findings are made
// of symptoms, so a log that holds them can be reported again at any time.
type Symptom struct {
	Cycle  int
	Event  string
	Signal string // the output, relay or contact that it is about
	Kind   Kind
	Other  string  // another signal involved: the output that moved instead
	Value  float64 // a figure for the text; NaN: none
	Limit  float64 // the limit that it broke; NaN: none
}

// Kind is a kind of symptom.
type Kind string

// Finding is what is wrong in plain words, and where to look first.
type Finding struct {
	Signal  string  `json:"signal"`
	Verdict Verdict `json:"verdict"`
	Text    string  `json:"text"`
}
