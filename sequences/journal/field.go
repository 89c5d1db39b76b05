package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Field is what the workshop notes with a run, as a job's number.
type Field struct{ Name, Value string }

// What is noted with a run on a rig with several units: the unit's name in the rig file, and a mark
// that runs share which were made at the same time.
const (
	PositionField = "position"
	TogetherField = "together"
)

// Noted is the value of the field of a name, empty where there is none.
func Noted(all []Field, name string) string {
	for _, f := range all {
		if strings.EqualFold(f.Name, name) {
			return f.Value
		}
	}
	return ""
}

// FieldChange says what a field was before somebody changed it after the run had begun.
type FieldChange struct {
	At   time.Time
	By   string // may be empty
	Name string
	Was  string // empty: there was none
}

// addFields stores the fields with which a run begins. It runs inside a transaction.
func (r *Run) addFields() error {
	for i, f := range r.info.Fields {
		if err := r.db.exec("INSERT INTO field VALUES (?,?,?,?)", r.row, i, f.Name, f.Value); err != nil {
			return err
		}
	}
	return nil
}

// SetField gives a run in the log a field, or changes it; an empty value takes it away. What
// it was before is kept with when and by whom it was changed. A field that has that value
// already stays as it is. Names differ in more than capitals.
func (db *DB) SetField(id string, f Field, at time.Time, by string) error {
	rec, err := db.Find(id)
	if err != nil {
		return err
	}
	doing := "set a field of run " + rec.ID
	stamp, err := stampOf(at)
	if err == nil && stamp == nil {
		err = misuse("it has no time of the change")
	}
	if err != nil {
		return db.fail(doing, err)
	}
	return db.fail(doing, db.transact(func() error { return db.setField(rec.row, f, stamp, by) }))
}

// setField runs inside a transaction, and reads the fields as they are in it.
func (db *DB) setField(run int64, f Field, at any, by string) error {
	seq, was := -1, ""
	var count int
	err := db.queryRow("SELECT seq, value FROM field WHERE run = ? AND name = ? COLLATE NOCASE", []any{run, f.Name}, &seq, &was)
	if errors.Is(err, sql.ErrNoRows) {
		seq, err = -1, db.queryRow("SELECT count(*) FROM field WHERE run = ?", []any{run}, &count)
	}
	switch {
	case err != nil:
		return err
	case was == f.Value:
		return nil
	case seq < 0:
		err = db.exec("INSERT INTO field VALUES (?,?,?,?)", run, count, f.Name, f.Value)
	default:
		err = db.exec("UPDATE field SET value = ? WHERE run = ? AND seq = ?", f.Value, run, seq)
	}
	if err != nil {
		return err
	}
	if err := db.exec("INSERT INTO field_change SELECT ?1, count(*), ?2, ?3, ?4, ?5 FROM field_change WHERE run = ?1", run, at, by, f.Name, was); err != nil {
		return err
	}
	return db.exec(fewerReferences("main"))
}

// fieldsOf returns the fields of one run, those that were taken away left out.
func (db *DB) fieldsOf(run int64) ([]Field, error) {
	all, err := db.fieldsWhere("run = ?", run)
	return all[run], err
}

// fieldsWhere returns the fields of the runs that a condition picks.
func (db *DB) fieldsWhere(condition string, args ...any) (map[int64][]Field, error) {
	rows, err := db.read.Query("SELECT run, name, value FROM field WHERE value <> '' AND "+condition+" ORDER BY run, seq", args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	all := map[int64][]Field{}
	for rows.Next() {
		var run int64
		var f Field
		if err := scanRow(rows, "field", &run, &f.Name, &f.Value); err != nil {
			return nil, err
		}
		all[run] = append(all[run], f)
	}
	return all, rows.Err()
}

// FieldChanges returns what was changed of the run's fields after it had begun, in order.
func (rec *RunRecord) FieldChanges() ([]FieldChange, error) {
	const doing = "read the changes of fields"
	rows, err := rec.db.read.Query("SELECT at, done_by, name, was FROM field_change WHERE run = ? ORDER BY seq", rec.row)
	if err != nil {
		return nil, rec.fail(doing, err)
	}
	defer rows.Close()
	var all []FieldChange
	for rows.Next() {
		var c FieldChange
		var at int64
		if err := scanRow(rows, "field_change", &at, &c.By, &c.Name, &c.Was); err != nil {
			return nil, rec.fail(doing, err)
		}
		c.At = time.Unix(0, at).UTC()
		all = append(all, c)
	}
	return all, rec.fail(doing, rows.Err())
}

// checkFields refuses fields that could not be told apart when they are read back.
func checkFields(all []Field) error {
	for i, f := range all {
		if f.Name == "" || f.Value == "" {
			return misuse("a field has no name or no value")
		}
		if slices.ContainsFunc(all[:i], func(o Field) bool { return strings.EqualFold(o.Name, f.Name) }) {
			return misuse("the field %s is given twice", fmt.Sprintf("%q", f.Name))
		}
	}
	return nil
}
