package main

import (
	"makebreak/analyze"
	"makebreak/sequences/journal"
)

// resumption is a run in the log that was not completed, with the log that has locked it.
type resumption struct {
	db  *journal.DB
	rec *journal.RunRecord
}

// openLog opens the log that the run goes into.
func (j *job) openLog(path string) (*journal.DB, error) {
	if j.goesOn != nil {
		return j.goesOn.db, nil
	}
	return journal.Open(path)
}

// begin begins the run in the log, or goes on with it, and returns the number of its next cycle.
func (j *job) begin(db *journal.DB, info journal.RunInfo) (*journal.Run, int, error) {
	if j.goesOn == nil {
		run, err := db.Begin(info)
		return run, 1, err
	}
	last, err := j.goesOn.rec.Last()
	if err != nil {
		return nil, 0, err
	}
	run, err := db.Resume(j.goesOn.rec.ID, info.Started, info.Program)
	return run, last + 1, err
}

// gravest is the gravest verdict of the run's cycles, those of earlier sittings included.
func (j *job) gravest(now analyze.Verdict) analyze.Verdict {
	if j.goesOn == nil {
		return now
	}
	return now.Worse(j.goesOn.rec.Gravest)
}
