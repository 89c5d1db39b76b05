package main

import (
	"maps"
	"slices"

	"makebreak/rig/words"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
)

// relations are the words for other runs than by name, and why there may be none.
var relations = map[string]struct {
	relation journal.Relation
	missing  string
}{
	"first":     {journal.First, "the log holds no earlier run of its unit and sequence"},
	"previous":  {journal.Previous, "the log holds no earlier run of its unit and sequence"},
	"reference": {journal.Reference, "no other run is marked as the reference of its kind; makebreak runs --mark-reference RUN marks one"},
}

// compare writes which figures of a run moved since another one.
func (a *app) compare(db *journal.DB, rec *journal.RunRecord, against string) error {
	if err := a.choice("report --against", "text", "csv", "json", "html"); err != nil {
		return err
	}
	other, err := a.otherRun(db, rec, against)
	if err != nil {
		return err
	}
	c, err := record.Compare(rec, other, db.Path())
	if err != nil {
		return readFailed(err)
	}
	if _, related := relations[against]; related {
		c.Relation = against
	}
	return a.deliver(a.chosen(writers{"text": a.asText(c), "csv": c.CSV, "json": c.JSON, "html": c.HTML}))
}

// otherRun finds the run to compare with. One that is named may be of another unit.
func (a *app) otherRun(db *journal.DB, rec *journal.RunRecord, against string) (*journal.RunRecord, error) {
	r, related := relations[against]
	if !related {
		if guess := words.Guess(against, slices.Sorted(maps.Keys(relations))); guess != "" {
			return nil, badUsage("--against %q: did you mean %s? Else name a run", words.Short(against, words.MostName), guess)
		}
		return db.Find(against)
	}
	other, err := rec.Related(r.relation)
	if err == nil && other == nil {
		return nil, badUsage("--against %s: run %s: %s", against, words.Safe(rec.ID), r.missing)
	}
	return other, err
}
