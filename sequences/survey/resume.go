package survey

import (
	"context"
	"errors"
	"fmt"

	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/soak"
)

// Resumed takes a survey in the log to go on with, and returns it with its sequence. It is
// locked before anything else is done. Planned cycles less those done are left.
func Resumed(ctx context.Context, db *journal.DB, id string) (*journal.RunRecord, *sequences.Sequence, error) {
	rec, err := db.Lock(id)
	if err != nil {
		return nil, nil, err
	}
	fault := func(err error) error {
		return problem.Of(problem.Usage, fmt.Errorf("run %s: %w", words.Safe(rec.ID), err))
	}
	switch {
	case rec.Sequence != Name:
		return nil, nil, fault(fmt.Errorf("it is of the sequence %s; only a survey can go on so", words.Safe(rec.Sequence)))
	case rec.State.Partial():
		return nil, nil, fault(journal.ErrPart)
	case rec.Complete:
		return nil, nil, fault(fmt.Errorf("it is complete; makebreak survey --of %s makes its table again", words.Safe(rec.ID)))
	case rec.Cycles >= rec.Planned:
		return nil, nil, fault(errors.New("all its cycles are done"))
	}
	if err := soak.SoundAfterCut(ctx, db, rec); err != nil {
		return nil, nil, err
	}
	seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource))
	if err != nil {
		return nil, nil, problem.Of(problem.Storage, fmt.Errorf("run %s: its sequence in the log cannot be read: %w", words.Safe(rec.ID), err))
	}
	return rec, seq, nil
}
