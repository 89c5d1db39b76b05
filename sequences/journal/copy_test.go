package journal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// contents are all rows of a run, without the numbers that each log gives by itself.
func contents(t *testing.T, db *DB, id string) []string {
	t.Helper()
	rec, err := db.Find(id)
	if err != nil {
		t.Fatal(err)
	}
	queries := []string{"SELECT series, count, uuid, unit, done_by, sequence, started, planned, ended, verdict, complete, reason FROM run WHERE id = ?",
		"SELECT c.n, c.started, c.verdict, c.complete, c.bus_errors, k.bytes, k.why FROM cycle c LEFT JOIN capture k ON k.id = c.capture WHERE c.run = ? ORDER BY c.n",
		"SELECT cycle, seq, point, value, expanded, verdict, doubts, numbers FROM measurement WHERE run = ? ORDER BY cycle, seq",
		"SELECT cycle, seq, sign, value, bound FROM symptom WHERE run = ? ORDER BY cycle, seq",
		"SELECT id, event, signal, quantity, lower, upper, sources, numbers FROM point WHERE run = ? ORDER BY id",
		"SELECT l.id, d.seq, d.code, d.value, d.signal, d.other, d.text FROM doubts l LEFT JOIN doubt d ON d.run = l.run AND d.doubts = l.id WHERE l.run = ? ORDER BY l.id, d.seq", "SELECT id, event, signal, kind, other FROM sign WHERE run = ? ORDER BY id",
		"SELECT keep_first, keep_last, keep_every, keep_bad FROM soak WHERE run = ?",
		"SELECT seq, after_cycle, stopped, resumed, reason, program FROM interruption WHERE run = ? ORDER BY seq",
		"SELECT cycle, state FROM checkpoint WHERE run = ?",
		"SELECT since, seq, output, state, judged, meter, done_by, made, due, rig, seed, gain, offset FROM calibration WHERE run = ? ORDER BY since, seq",
		"SELECT seq, after_cycle, at, fact, number, text FROM machine WHERE run = ? ORDER BY seq",
		"SELECT seq, name, value FROM field WHERE run = ? ORDER BY seq", "SELECT seq, at, done_by, name, was FROM field_change WHERE run = ? ORDER BY seq",
		"SELECT at, done_by FROM reference WHERE run = ?",
		"SELECT seq, at, done_by, hex(key), manifest, hex(signature) FROM signature WHERE run = ? ORDER BY seq"}
	var all []string
	for _, q := range queries {
		rows, err := db.read.Query(q, rec.row)
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			line, err := textRow(rows)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, line)
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			t.Fatal(err)
		}
	}
	return all
}

// Every table that has rows of a run is copied; a trigger fills the one of the names, what
// makes the log's word stays its own, and exercises stay where they were begun.
func TestCopyRun_Tables(t *testing.T) {
	t.Parallel()
	db := openLog(t, filepath.Join(t.TempDir(), "log.db"))
	known := append([]string{"run", "name", "capture", "log", "exercise", "exercise_step"}, runTables...)
	rows, err := db.read.Query("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		name, err := textRow(rows)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Contains(known, name) {
			t.Errorf("table %s is in no list of copy.go", name)
		}
	}
}

// A copied run has all that it had, beside what the other log holds already, and can
// be copied twice; copying the other way round gives it back.
func TestCopyRun(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	db, path := openLog(t, filepath.Join(dir, "log.db")), filepath.Join(dir, "older", "archive.db")
	day := time.Unix(1_800_000_000, 0).UTC()
	first, second := fillRun(t, db, 300, day), fillRun(t, db, 200, day.AddDate(0, 0, 30))
	for _, id := range []string{second, first, first} {
		if _, err := db.CopyRun(id, path); err != nil {
			t.Fatal(err)
		}
	}
	other := openLog(t, path)
	for _, id := range []string{first, second} {
		a, b := contents(t, db, id), contents(t, other, id)
		if !slices.Equal(a, b) {
			t.Errorf("run %s: %d rows are not the %d copied", id, len(b), len(a))
		}
	}
	if err := other.Check(); err != nil {
		t.Error(err)
	}
	before := contents(t, db, first)
	if _, err := db.DropRun(holding(t, db, first)); err != nil {
		t.Fatal(err)
	}
	if _, err := other.CopyRun(first, db.Path()); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(before, contents(t, db, first)) {
		t.Error("the run came back another")
	}
	if err := db.Check(); err != nil {
		t.Error(err)
	}
}

// names are the runs in a log.
func names(t *testing.T, db *DB) (all []string) {
	t.Helper()
	runs, err := db.Runs()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range runs {
		all = append(all, r.Run)
	}
	return all
}

// What an earlier copy left half way is begun anew; the log itself and a file that is no log
// are refused; the run stays in all cases.
func TestCopyRun_Ways(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	db, path := openLog(t, filepath.Join(dir, "log.db")), filepath.Join(dir, "archive.db")
	day := time.Unix(1_800_000_000, 0).UTC()
	id := fillRun(t, db, 30, day)
	want := contents(t, db, id)
	if _, err := db.CopyRun(id, path); err != nil {
		t.Fatal(err)
	}
	other := openLog(t, path)
	half := fmt.Sprintf("UPDATE run SET complete = 0, state = %d", Copying)
	for _, text := range []string{half, "DELETE FROM measurement WHERE cycle > 5", "DELETE FROM symptom WHERE cycle > 5", "DELETE FROM cycle WHERE n > 5"} {
		if err := other.exec(text); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := db.CopyRun(id, path); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(want, contents(t, other, id)) {
		t.Error("a copy that was begun anew is not whole")
	}

	if _, err := db.CopyRun(id, db.Path()); err == nil || !strings.Contains(err.Error(), "this log itself") {
		t.Errorf("the log itself: %v", err)
	}
	none := filepath.Join(t.TempDir(), "none")
	if err := os.WriteFile(none, []byte("an ordinary text, which holds no log"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := db.CopyRun(id, none); !errors.Is(err, ErrNotLog) {
		t.Errorf("no log: %v", err)
	}
	if _, err := db.CopyRun("2020-01-01.1", path); !errors.Is(err, ErrNoRun) {
		t.Errorf("no such run: %v", err)
	}
	if !slices.Equal(want, contents(t, db, id)) {
		t.Error("the run has changed")
	}
}

// A copy that lacks something that the run has, because the run went on or for any other
// reason, is made anew; one that has all of it and more stays; where each has something
// that the other lacks, both stay and that is said.
func TestCopyRun_Differs(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	db, path := openLog(t, filepath.Join(dir, "log.db")), filepath.Join(dir, "archive.db")
	id := fillRun(t, db, 20, time.Unix(1_800_000_000, 0))
	copyAgain := func() error { _, err := db.CopyRun(id, path); return err }
	if err := copyAgain(); err != nil {
		t.Fatal(err)
	}
	other := openLog(t, path)
	same := func(what string) {
		t.Helper()
		if !slices.Equal(contents(t, db, id), contents(t, other, id)) {
			t.Errorf("%s: the copy is not as the run", what)
		}
	}
	if err := other.exec("DELETE FROM measurement WHERE cycle = 7"); err != nil {
		t.Fatal(err)
	}
	if err := copyAgain(); err != nil {
		t.Errorf("rows are missing: %v", err)
	}
	same("rows are missing")

	if err := db.exec("UPDATE run SET complete = 0, reason = 'interrupted'"); err != nil {
		t.Fatal(err)
	}
	r, err := db.Resume(id, time.Unix(1_800_009_000, 0), "")
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Append(kept(21, KeptFirst)); err != nil {
		t.Fatal(err)
	}
	if err := copyAgain(); err != nil {
		t.Errorf("the run went on: %v", err)
	}
	same("the run went on")

	if _, err := db.DropCaptures(holding(t, db, id)); err != nil {
		t.Fatal(err)
	}
	before := contents(t, other, id)
	if err := copyAgain(); err != nil {
		t.Errorf("the copy has more: %v", err)
	}
	if err := r.Append(exampleCycle(22)); err != nil {
		t.Fatal(err)
	}
	if err := copyAgain(); !errors.Is(err, ErrDiffers) || !strings.Contains(err.Error(), "21 captures there, 1 here") {
		t.Errorf("each has something: %v", err)
	}
	if !slices.Equal(before, contents(t, other, id)) {
		t.Error("the copy has changed")
	}
}

// What is left of a run whose removal was cut off is not taken for the run: a whole copy
// is left as it is, and without one nothing is copied.
func TestCopyRun_RemovalCutOff(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	db, path := openLog(t, filepath.Join(dir, "log.db")), filepath.Join(dir, "archive.db")
	id := fillRun(t, db, 3000, time.Unix(1_800_000_000, 0))
	whole := contents(t, db, id)
	if _, err := db.CopyRun(id, path); err != nil {
		t.Fatal(err)
	}
	removeHalf(t, db, 1)
	if _, err := db.CopyRun(id, path); err != nil {
		t.Errorf("with its copy: %v", err)
	}
	if _, err := db.CopyRun(id, filepath.Join(dir, "another.db")); !errors.Is(err, ErrPart) {
		t.Errorf("without one: %v", err)
	}
	if !slices.Equal(whole, contents(t, openLog(t, path), id)) {
		t.Error("the copy has changed")
	}
	if _, err := db.DropRun(holding(t, db, id)); err != nil {
		t.Error(err)
	}
}
