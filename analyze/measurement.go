package analyze

import (
	"math"

	"makebreak/analyze/gum"
)

// Measurement is one figure: one quantity of one signal at one event of one
// cycle. Values are in the quantity's base unit.
type Measurement struct {
	Cycle    int    // from 1
	Event    string // empty for the state before the first event
	Signal   string
	Quantity Quantity
	// Value is in the quantity's base unit; NaN where it could not be measured, and Doubts say why.
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
	Budget []gum.Component
}

// LeaveUndecided leaves a figure undecided for something that its budget knows nothing of: the
// probability that it conforms is not known then, either. The doubts given replace those
// there are; none keeps them.
func (m *Measurement) LeaveUndecided(doubts ...Doubt) {
	m.Verdict, m.Conformance = Undecided, math.NaN()
	if len(doubts) > 0 {
		m.Doubts = doubts
	}
}

// Finding is what is wrong in plain words, and where to look first.
type Finding struct {
	Signal  string  `json:"signal"`
	Verdict Verdict `json:"verdict"`
	Text    string  `json:"text"`
}
