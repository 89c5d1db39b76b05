package exercise

import (
	"time"

	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/sequences"
)

// Definition is an exercise as its file describes it.
type Definition struct {
	Name  string // as it is typed
	Title string // a few words
	Story string // what the trainee is told
	Grade int    // 1, the easiest, to 3
	// Sequence is what the unit has to do; Rig is the simulated bench.
	Sequence *sequences.Sequence
	Rig      *wiring.Rig
	Draw     Draw
	States   []State          // one of them is drawn
	Allowed  []Kind           // what may be done besides the answer
	Changes  []sim.ChangeKind // what may be changed; nil: all that can be
	// Answers are the answers to choose from. The first is that nothing is wrong.
	Answers []Answer
	Points  Points

	Source []byte // the file's text, as read
	File   string // where it was read from

	events []string              // of the sequence, each once
	layout *sim.Layout           // of the bench
	ranges map[string]FaultRange // by cause: how answers are simulated that no state has
}

// Draw says for whom a state is drawn.
type Draw string

// The ways to draw.
const (
	Same Draw = "same for the class"
	Each Draw = "each another of equal difficulty"
)

// A State is one hidden state of the bench, without its figures.
type State struct {
	Weight int // how often it is drawn against the others; 1 or more
	Faults []FaultRange
}

// FaultRange is a fault whose value is drawn.
type FaultRange struct {
	Cause string
	// Low and High are the ends of its value in base units; both 0: it has none, or its
	// usual one.
	Low, High float64
	// Choices are the words that its value is one of, where that is an output or an event.
	Choices []string
	// Places are the outputs or relays of which it has one; empty: it has none.
	Places []string
}

// Points are what an answer is worth.
type Points struct {
	Right  int // cause and place are right
	Half   int // one of both, or one fault of two
	Danger int // taken off for each dangerous thing done
}

// Drawn is the hidden state of one bench.
type Drawn struct {
	Seed   uint64
	Faults []sim.Fault
	Truth  []Answer // what is right, one answer for each fault
}

// Kind is what a trainee does.
type Kind string

// What can be done.
const (
	ReadCard Kind = "card"
	Try      Kind = "try"
	Look     Kind = "look"
	Probe    Kind = "probe"
	Change   Kind = "change"
	Give     Kind = "answer"
)

// Answer is a cause with its place.
type Answer struct {
	Cause string // as the fault is called; Nothing: nothing is wrong
	Place string // an output or a relay; empty: the whole bench
}

// Nothing is the answer that nothing is wrong.
const Nothing = "nothing"

// String writes an answer as it is typed: CAUSE@PLACE.
func (a Answer) String() string {
	if a.Place == "" {
		return a.Cause
	}
	return a.Cause + "@" + a.Place
}

// costs are the bench times of what can be done, besides the time that the unit's own steps
// take (common practice, no source).
var costs = map[Kind]time.Duration{
	ReadCard: time.Minute,
	Try:      2 * time.Minute, // the unit is armed, the rig is checked, the record is read
	Look:     30 * time.Second,
	Probe:    45 * time.Second, // two terminals are found, the leads are held, the figure is read
	Give:     0,
}

// changeCosts are those of changing something, and of looking after it that all is right
// (common practice, no source).
var changeCosts = map[sim.ChangeKind]time.Duration{
	sim.SwapWires:   3 * time.Minute,
	sim.SetAddress:  2 * time.Minute,
	sim.Programme:   2 * time.Minute,
	sim.SetSupply:   time.Minute,
	sim.AddResistor: 4 * time.Minute,
	sim.NewBoard:    10 * time.Minute,
	sim.JoinPoints:  2 * time.Minute,
	sim.PartPoints:  2 * time.Minute,
	sim.ReplaceWire: 5 * time.Minute,
	sim.SetPolarity: time.Minute,
}
