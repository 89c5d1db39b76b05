package journal

import (
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/problem"
)

func fieldsIn(t *testing.T, db *DB, id string) []Field {
	t.Helper()
	rec, err := db.Find(id)
	if err != nil {
		t.Fatal(err)
	}
	return rec.Fields
}

// Fields come back in their order from a run, from the list and from a resume; a change is kept
// with when and by whom, and all of it goes with a copy.
func TestFields(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	at := time.Date(2026, 11, 25, 8, 0, 0, 7, time.UTC)
	began := []Field{{"job", "1234"}, {"Kunde", "Größe & Söhne"}}
	run, err := db.Begin(RunInfo{Started: at, Unit: "A", Fields: began})
	if err != nil {
		t.Fatal(err)
	}
	if err := run.Append(&Cycle{N: 1}); err != nil {
		t.Fatal(err)
	}
	for _, f := range []Field{{"JOB", "1235"}, {"remarks", "scratched"}, {"kunde", ""}, {"job", "1235"}, {"remarks", "scratched, left"}} {
		if err := db.SetField(run.ID(), f, at.Add(time.Hour), "A. Fitter"); err != nil {
			t.Fatal(err)
		}
	}
	want := []Field{{"job", "1235"}, {"remarks", "scratched, left"}}
	if d := cmp.Diff(want, fieldsIn(t, db, run.ID())); d != "" {
		t.Error(d)
	}
	runs, err := db.Runs()
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, runs[0].Fields); d != "" {
		t.Error(d)
	}
	rec, err := db.Find(run.ID())
	if err != nil {
		t.Fatal(err)
	}
	changes, err := rec.FieldChanges()
	if err != nil {
		t.Fatal(err)
	}
	by, later := "A. Fitter", at.Add(time.Hour)
	if d := cmp.Diff([]FieldChange{{later, by, "JOB", "1234"}, {later, by, "remarks", ""}, {later, by, "kunde", "Größe & Söhne"}, {later, by, "remarks", "scratched"}}, changes); d != "" {
		t.Error(d)
	}
	if err := run.Finish(RunEnd{Ended: at}); err != nil {
		t.Fatal(err)
	}
	again, err := db.Resume(run.ID(), at, "v9")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, again.Info().Fields); d != "" {
		t.Errorf("resumed: %s", d)
	}
	var view string
	if err := db.read.QueryRow("SELECT fields FROM runs").Scan(&view); err != nil || view != `{"job":"1235","remarks":"scratched, left"}` {
		t.Errorf("the view has %q, %v", view, err)
	}
}

// A copy has the fields, their changes and the mark, and is renewed when a field is changed.
func TestFields_Copied(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	at := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	run, err := db.Begin(RunInfo{Started: at, Fields: []Field{{"job", "1234"}}})
	if err != nil {
		t.Fatal(err)
	}
	if err := run.Finish(RunEnd{Ended: at, Complete: true}); err != nil {
		t.Fatal(err)
	}
	if _, err := db.MarkReference(run.ID(), at, "B"); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "other.db")
	for _, value := range []string{"1234", "1235", ""} {
		if err := db.SetField(run.ID(), Field{"job", value}, at, ""); err != nil {
			t.Fatal(err)
		}
		if _, err := db.CopyRun(run.ID(), path); err != nil {
			t.Fatal(err)
		}
		other := openLog(t, path)
		if d := cmp.Diff(contents(t, db, run.ID()), contents(t, other, run.ID())); d != "" {
			t.Errorf("%q: %s", value, d)
		}
		if err := other.Check(); err != nil {
			t.Error(err)
		}
	}
}

// Fields that could not be told apart again are refused, and missing rows are found.
func TestFields_Refused(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	for _, bad := range [][]Field{{{"", "x"}}, {{"job", ""}}, {{"job", "1"}, {"Job", "2"}}} {
		if _, err := db.Begin(RunInfo{Started: time.Now(), Fields: bad}); problem.KindOf(err) != problem.Internal {
			t.Errorf("%v: %v", bad, err)
		}
	}
	if err := db.SetField("2026-01-01.1", Field{"job", "1"}, time.Now(), ""); !errors.Is(err, ErrNoRun) {
		t.Error(err)
	}
	for _, table := range []string{"field", "field_change"} {
		run, err := db.Begin(RunInfo{Started: time.Now(), Fields: []Field{{"job", "1"}, {"place", "2"}}})
		if err != nil {
			t.Fatal(err)
		}
		for _, value := range []string{"3", "4"} {
			if err := db.SetField(run.ID(), Field{"job", value}, time.Now(), ""); err != nil {
				t.Fatal(err)
			}
		}
		if err := db.transact(func() error { return db.exec("DELETE FROM " + table + " WHERE seq = 0") }); err != nil {
			t.Fatal(err)
		}
		runs, err := db.Runs()
		if err != nil {
			t.Fatal(err)
		}
		if c, err := db.ReadRun(t.Context(), runs[0]); err != nil || c.Err == nil || !strings.Contains(c.Err.Error(), "are missing: of 2 there are 1") {
			t.Errorf("%s: %v, %v", table, c.Err, err)
		}
	}
}
