package soak

import (
	"iter"

	"makebreak/analyze"
	"makebreak/analyze/tally"
	"makebreak/sequences/journal"
)

const (
	// checkpointEvery is how many cycles at most must be read again after a cut.
	checkpointEvery = 10_000
	// checkpointAgain is from how many cycles read at a start they are summed for good.
	checkpointAgain = 500
)

// sums are what a soak's figures come to while it runs. Where they cannot be kept, the
// soak goes on without: a report makes them again from the figures.
type sums struct {
	run    *journal.Run
	tally  *tally.Tally
	stored int   // cycle of the last checkpoint
	err    error // why they are no longer kept
}

// add adds a cycle and stores the sums now and then.
func (s *sums) add(c *journal.Cycle) {
	if s.err != nil {
		return
	}
	if s.err = addCycle(s.tally, c); s.err == nil && c.N-s.stored >= checkpointEvery {
		s.err = s.checkpoint()
	}
}

// end stores the sums for good, and says why they could not be.
func (s *sums) end() error {
	if s.err == nil && s.tally.Last > s.stored {
		s.err = s.checkpoint()
	}
	return s.err
}

func (s *sums) checkpoint() error {
	state, err := s.tally.MarshalBinary()
	if err != nil {
		return err
	}
	if err := s.run.Checkpoint(s.tally.Last, state); err != nil {
		return err
	}
	s.stored = s.tally.Last
	return nil
}

// addCycle adds a cycle with its figures to a sum.
func addCycle(t *tally.Tally, c *journal.Cycle) error {
	for i := range c.Measurements {
		if err := t.Add(&c.Measurements[i]); err != nil {
			return err
		}
	}
	return t.AddCycle(c.N, c.Verdict, c.Complete)
}

// Tally returns what a soak's figures come to: what was stored of it, and the cycles since
// from the log. Sums that cannot be read are made again from the figures, which are what
// counts.
func Tally(rec *journal.RunRecord) (*tally.Tally, error) {
	t, err := tally.New()
	if err != nil {
		return nil, err
	}
	at, state, err := rec.Checkpoint()
	if err != nil {
		return nil, err
	}
	if state == nil || t.UnmarshalBinary(state) != nil || t.Last != at {
		if t, err = tally.New(); err != nil {
			return nil, err
		}
	}
	return t, addSince(t, rec)
}

// addSince adds the cycles after the last one in a sum. Figures and cycles come as two
// streams, both by rising cycle.
func addSince(t *tally.Tally, rec *journal.RunRecord) error {
	since := analyze.Cycles{First: t.Last + 1, Last: MaxCycle}
	next, stop := iter.Pull2(rec.MeasurementsIn(since))
	defer stop()
	m, err, more := next()
	for c, cycleErr := range rec.CycleInfosIn(since) {
		if cycleErr != nil {
			return cycleErr
		}
		for ; more && err == nil && m.Cycle <= c.N; m, err, more = next() {
			if err := t.Add(&m); err != nil {
				return err
			}
		}
		if err != nil {
			return err
		}
		if err := t.AddCycle(c.N, c.Verdict, c.Complete); err != nil {
			return err
		}
	}
	return nil
}
