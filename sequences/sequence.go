package sequences

import (
	"time"

	"makebreak/analyze"
	"makebreak/rig/wiring"
)

// Sequence is a sequence as its file describes it.
type Sequence struct {
	Name, About string
	Cycles      int
	Steps       []Step
	Plan        analyze.Plan
	// Sample is how the rig is asked to sample; empty: as the rig file says.
	Sample wiring.Mode
	// Baseline is how long the unit is watched before the first event.
	Baseline time.Duration
	// Cautions are doubts about the file that do not keep it from being run.
	Cautions []string

	Source []byte // the file's text, as read
	File   string // where it was read from
}

// Step is one event and how long the state after it is watched.
type Step struct {
	Event string
	Hold  time.Duration
}

// Duration returns how long one cycle takes, the baseline not included.
func (s *Sequence) Duration() time.Duration {
	var sum time.Duration
	for _, step := range s.Steps {
		sum += step.Hold
	}
	return sum
}

// Events returns the sequence's events, each once, in the order of their first
// step.
func (s *Sequence) Events() []string {
	var events []string
	seen := map[string]bool{}
	for _, step := range s.Steps {
		if !seen[step.Event] {
			seen[step.Event] = true
			events = append(events, step.Event)
		}
	}
	return events
}
