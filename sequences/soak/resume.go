package soak

import (
	"context"
	"errors"
	"fmt"

	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

// Asked is what is said beside a run that is to go on; nil: nothing is said of it. What
// the run began with may be said again, as where a command is repeated.
type Asked struct {
	Unit     *string
	Sequence *sequences.Sequence
	Cycles   *int
	Seed     *uint64 // of the simulated bench
}

// fits says why a run cannot go on, or not as asked.
func (a *Asked) fits(rec *journal.RunRecord) error {
	switch {
	case rec.Soak == nil:
		return errors.New("it is not a soak; only a soak can go on")
	case rec.State.Partial():
		return journal.ErrPart
	case rec.Complete:
		return fmt.Errorf("it is complete: %d of %d cycles are done", rec.Planned, rec.Planned)
	case a.Unit != nil && *a.Unit != rec.Unit:
		return fmt.Errorf("it is of the unit %q, not %q", rec.Unit, *a.Unit)
	case a.Sequence != nil && a.Sequence.Name != rec.Sequence:
		return fmt.Errorf("it is of the sequence %s, not %s; leave the sequence out", words.Safe(rec.Sequence), words.Safe(a.Sequence.Name))
	case a.Sequence != nil && string(a.Sequence.Source) != rec.SequenceSource:
		return fmt.Errorf("its sequence stands in the log, and %s is no longer the same; leave it out, or begin a new run", a.Sequence.File)
	case a.Cycles != nil && *a.Cycles != rec.Planned:
		return fmt.Errorf("the number of its cycles stands in the log (%d), and --cycles says another; leave --cycles out", rec.Planned)
	case a.Seed != nil && rec.Seed != nil && *a.Seed != *rec.Seed:
		return fmt.Errorf("the seed of its simulated bench stands in the log (%d), and --seed says another; leave --seed out", *rec.Seed)
	}
	return nil
}

// Newest returns the unit's newest soak of a sequence in the log, which may also be
// complete; nil where there is none.
func Newest(db *journal.DB, unit, sequence string) (*journal.RunSummary, error) {
	runs, err := db.Runs()
	if err != nil {
		return nil, problem.Of(problem.Storage, err)
	}
	for i := range runs {
		if r := &runs[i]; r.Unit == unit && r.Sequence == sequence && r.Soak && !r.State.Partial() {
			return r, nil
		}
	}
	return nil, nil
}

// Take takes a soak in the log to go on with, and reads its sequence. It is locked before
// anything else is done: another program that goes on with it stays undisturbed.
func Take(ctx context.Context, db *journal.DB, id string, asked Asked) (*journal.RunRecord, *sequences.Sequence, error) {
	rec, err := db.Lock(id)
	if err != nil {
		return nil, nil, err
	}
	if err := asked.fits(rec); err != nil {
		return nil, nil, problem.Of(problem.Usage, fmt.Errorf("run %s: %w", words.Safe(rec.ID), err))
	}
	if err := SoundAfterCut(ctx, db, rec); err != nil {
		return nil, nil, err
	}
	seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource))
	if err != nil {
		return nil, nil, problem.Of(problem.Storage, fmt.Errorf("run %s: its sequence in the log cannot be read: %w", words.Safe(rec.ID), err))
	}
	return rec, seq, nil
}

// SoundAfterCut says why nothing may be added to the log of a run that was cut off. A
// power cut may have damaged it, and weeks of cycles written into a damaged log may be lost.
func SoundAfterCut(ctx context.Context, db *journal.DB, rec *journal.RunRecord) error {
	if !rec.Ended.IsZero() {
		return nil
	}
	err := db.CheckPages(ctx)
	if errors.Is(err, journal.ErrCorrupt) {
		return problem.Of(problem.Storage, errors.Join(err, fmt.Errorf("run %s does not go on in it; keep the file, and begin a new run in another log, named with --log", words.Safe(rec.ID))))
	}
	return err
}

// SameRig says why a run cannot go on with a rig: its name or its file is not as it was
// when the run began.
func SameRig(rec *journal.RunRecord, name, source string) error {
	if name == rec.Rig && source == rec.RigSource {
		return nil
	}
	return problem.Of(problem.Input, fmt.Errorf("run %s: the rig is not as it was when the run began (%s); name the same rig file with --rig, or begin a new run", words.Safe(rec.ID), words.Safe(rec.Rig)))
}
