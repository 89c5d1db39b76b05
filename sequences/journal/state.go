package journal

import "fmt"

// State says whether the log holds all of a run. The log stores the numbers.
type State int

// The states of a run.
const (
	Entire   State = iota // all that was stored of it
	Copying               // copying it into this log was begun and is not done; no program since schema 5 leaves one
	Removing              // its removal was begun and is not done
)

// Partial reports whether only a part of the run is in the log.
func (s State) Partial() bool { return s != Entire }

// words are what a person is told of a run in the state; empty for an entire one.
func (s State) words() string {
	switch s {
	case Copying:
		return "being copied into this log"
	case Removing:
		return "being removed from the log"
	}
	return ""
}

func (s State) check() error {
	if s < Entire || s > Removing {
		return fmt.Errorf("%w: a run is in the state %d", ErrCorrupt, int(s))
	}
	return nil
}

// WhyIncomplete says in words why a run is not complete: its state, and what the program
// that wrote it gave as the reason. It is empty where neither is known.
func (rec *RunRecord) WhyIncomplete() string {
	switch {
	case rec.State == Removing && rec.Reason != "":
		return rec.State.words() + "; before that: " + rec.Reason
	case rec.State.Partial():
		return rec.State.words()
	}
	return rec.Reason
}
