package sequences

import (
	"slices"
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
	// Panel says which events need the panel in which state; zero: nothing is said.
	Panel Panel
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
	// Event is the name under which results stand.
	Event string
	// Cause is the event that the rig brings about; empty where Supply is set.
	Cause string
	// Supply is what the step does to the supply; nil: nothing.
	Supply *analyze.Move
	Hold   time.Duration
}

// Duration returns how long one cycle takes, the baseline not included.
func (s *Sequence) Duration() time.Duration {
	var sum time.Duration
	for _, step := range s.Steps {
		sum += step.Hold
	}
	return sum
}

// Events returns the names of the sequence's events, each once, in the order of
// their first step.
func (s *Sequence) Events() []string {
	return s.each(func(step Step) string { return step.Event })
}

// Causes returns the events that the rig must be able to bring about, each once.
func (s *Sequence) Causes() []string {
	return s.each(func(step Step) string { return step.Cause })
}

// Referenced reports whether a line of the rig reports the instant of any of its events.
func (s *Sequence) Referenced(r *wiring.Rig) bool {
	return slices.ContainsFunc(s.Causes(), func(event string) bool {
		c := r.Cause(event)
		return c != nil && c.Reference != ""
	})
}

// MovesSupply reports whether the sequence has steps that set the supply.
func (s *Sequence) MovesSupply() bool { return len(s.Plan.Moves) > 0 }

// each returns the names that the steps have, each once.
func (s *Sequence) each(name func(Step) string) []string {
	var all []string
	for _, step := range s.Steps {
		if n := name(step); n != "" && !slices.Contains(all, n) {
			all = append(all, n)
		}
	}
	return all
}
