package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// A run can be marked as the reference of its kind: units of that kind are compared with it.
// Runs are of one kind that are of the same sequence on a rig of the same name, both real or
// both simulated, and that have the same field "model", or none.

// modelField is the field that says of what model a unit is.
const modelField = "model"

// sameKind is a condition: the runs a and b are of one kind. %[1]s is the log's name in SQL.
const sameKind = `a.sequence = b.sequence AND a.rig = b.rig AND (a.seed IS NULL) = (b.seed IS NULL)
	AND coalesce((SELECT value FROM %[1]s.field WHERE run = a.id AND name = '` + modelField + `' COLLATE NOCASE), '')
	  = coalesce((SELECT value FROM %[1]s.field WHERE run = b.id AND name = '` + modelField + `' COLLATE NOCASE), '')`

// fewerReferences is a statement that leaves one mark of each kind in a log, that which was
// made last: a run that is copied brings its mark, and a change of its model another kind.
func fewerReferences(log string) string {
	return fmt.Sprintf(`DELETE FROM %[1]s.reference WHERE EXISTS (SELECT 1 FROM %[1]s.reference o JOIN %[1]s.run a ON a.id = o.run
		JOIN %[1]s.run b ON b.id = reference.run WHERE (o.at, o.run) > (reference.at, reference.run) AND `+sameKind+`)`, log)
}

// MarkReference marks a run as the reference of its kind, in place of any other. It returns
// the name of the run that was it before; empty: none was.
func (db *DB) MarkReference(id string, at time.Time, by string) (before string, err error) {
	rec, err := db.Find(id)
	if err != nil {
		return "", err
	}
	doing := "mark run " + rec.ID + " as a reference"
	if rec.State.Partial() {
		return "", db.fail(doing, ErrPart)
	}
	stamp, err := stampOf(at)
	if err == nil && stamp == nil {
		err = misuse("it has no time")
	}
	if err != nil {
		return "", db.fail(doing, err)
	}
	err = db.transact(func() error {
		before, err = db.referenceOf(rec.row)
		if err != nil || before == rec.ID {
			return err
		}
		if err := db.exec("DELETE FROM reference WHERE run IN (SELECT b.id FROM run a, run b WHERE a.id = ? AND "+fmt.Sprintf(sameKind, "main")+")", rec.row); err != nil {
			return err
		}
		return db.exec("INSERT INTO reference VALUES (?,?,?)", rec.row, stamp, by)
	})
	return before, db.fail(doing, err)
}

// UnmarkReference takes the mark from a run. It reports whether the run had one.
func (db *DB) UnmarkReference(id string) (had bool, err error) {
	rec, err := db.Find(id)
	if err != nil {
		return false, err
	}
	err = db.transact(func() error {
		if err := db.queryRow("SELECT EXISTS (SELECT 1 FROM reference WHERE run = ?)", []any{rec.row}, &had); err != nil {
			return err
		}
		return db.exec("DELETE FROM reference WHERE run = ?", rec.row)
	})
	return had, db.fail("unmark run "+rec.ID, err)
}

const findReference = "SELECT a.series || '.' || a.count FROM reference f JOIN run a ON a.id = f.run, run b WHERE b.id = ? AND "

// referenceOf returns the name of the reference of a run's kind inside a transaction; empty:
// there is none.
func (db *DB) referenceOf(run int64) (name string, err error) {
	err = db.queryRow(findReference+fmt.Sprintf(sameKind, "main"), []any{run}, &name)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return name, err
}

// Relation says which other run one is compared with.
type Relation int

// The relations. First and Previous are of the same unit and sequence, Reference is the one
// of its kind.
const (
	First Relation = iota
	Previous
	Reference
)

// Related finds the run that stands in a relation to this one; nil: there is none, or the run
// is of no unit, or it is that one itself. Runs that are not whole in the log are passed over,
// and so are those of which no whole cycle was stored.
func (rec *RunRecord) Related(r Relation) (*RunRecord, error) {
	var name string
	var err error
	const others = "SELECT " + itsName + " FROM run WHERE unit = ? AND sequence = ? AND (seed IS NULL) = ? AND id < ? AND state = 0 AND EXISTS (SELECT 1 FROM cycle WHERE cycle.run = run.id AND cycle.complete) ORDER BY id "
	args := []any{rec.Unit, rec.Sequence, rec.Seed == nil, rec.row}
	switch {
	case r == Reference:
		err = rec.db.row(findReference+"a.id <> b.id AND "+fmt.Sprintf(sameKind, "main"), rec.row).scan("run", &name)
	case rec.Unit == "":
		return nil, nil
	case r == First:
		err = rec.db.row(others+"LIMIT 1", args...).scan("run", &name)
	default:
		err = rec.db.row(others+"DESC LIMIT 1", args...).scan("run", &name)
	}
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil, nil
	case err != nil:
		return nil, rec.fail("find what to compare with", err)
	}
	return rec.db.Find(name)
}
