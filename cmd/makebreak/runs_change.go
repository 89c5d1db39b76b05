package main

import (
	"makebreak/analyze"
	"makebreak/rig/words"
	"makebreak/sequences/fields"
	"makebreak/sequences/journal"
)

// setFields changes fields of a run in the log.
func (a *app) setFields(run string, texts []string) error {
	if len(texts) == 0 {
		return badUsage("runs --set-field takes the run and then fields, as in runs --set-field last job=1234; job= takes one away")
	}
	set, err := fields.ParseAll(texts, true)
	if err != nil {
		return err
	}
	return a.changeRun(run, func(db *journal.DB, rec *journal.RunRecord) error {
		for _, f := range set {
			if err := db.SetField(rec.ID, f, a.now(), a.by); err != nil {
				return err
			}
			if f.Value == "" {
				a.note("Run %s has no field %s now", rec.ID, f.Name)
				continue
			}
			a.note("Run %s: %s is %s", rec.ID, f.Name, f.Value)
		}
		return nil
	})
}

// changeRun finds a run in the log and lets f change it.
func (a *app) changeRun(run string, f func(*journal.DB, *journal.RunRecord) error) error {
	db, err := a.openLogWith(journal.Open)
	if err != nil {
		return err
	}
	defer db.Close()
	rec, err := a.findRun(db, run)
	if err != nil {
		return err
	}
	return readFailed(f(db, rec))
}

// markReference marks a run as the reference of its kind.
func (a *app) markReference(run string) error {
	return a.changeRun(run, func(db *journal.DB, rec *journal.RunRecord) error {
		if err := canBeReference(rec); err != nil {
			return err
		}
		before, err := db.MarkReference(rec.ID, a.now(), a.by)
		switch {
		case err != nil:
			return err
		case before == rec.ID:
			a.note("Run %s is the reference already", rec.ID)
		case before != "":
			a.note("Run %s is the reference now, in place of %s", rec.ID, before)
		default:
			a.note("Run %s is the reference now", rec.ID)
		}
		if rec.Verdict != analyze.Pass {
			a.note("Its verdict is %s: mark a run that passed, unless this one is meant", rec.Verdict.Name())
		}
		return nil
	})
}

// canBeReference refuses a run whose sums are of a part of what was planned.
func canBeReference(rec *journal.RunRecord) error {
	if rec.Complete {
		return nil
	}
	return badUsage("run %s is incomplete, %d of %d cycles done: a reference must be a complete run", words.Safe(rec.ID), rec.Cycles, rec.Planned)
}

// unmarkReference takes the mark from a run.
func (a *app) unmarkReference(run string) error {
	return a.changeRun(run, func(db *journal.DB, rec *journal.RunRecord) error {
		had, err := db.UnmarkReference(rec.ID)
		switch {
		case err != nil:
			return err
		case !had:
			a.note("Run %s was no reference", rec.ID)
		default:
			a.note("Run %s is no reference any more", rec.ID)
		}
		return nil
	})
}
