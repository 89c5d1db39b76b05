package journal

import (
	"errors"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"makebreak/rig/problem"
)

// The kind of an error says who can do something about it: a wrong word, a file that was
// read, the disk, or the program itself.
func TestErrors_Kinds(t *testing.T) {
	t.Parallel()
	text := filepath.Join(t.TempDir(), "notes.txt")
	if err := os.WriteFile(text, []byte("bought two relays, and a fuse\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	db := newLog(t)
	r := fill(t, db, 1)
	if err := r.Finish(RunEnd{Ended: time.Unix(1_900_000_000, 0), Complete: true}); err != nil {
		t.Fatal(err)
	}
	_, written := Open(text)
	_, read := OpenRead(text)
	_, unknown := db.Find("2020-01-01.1")
	_, ownLog := db.CopyRun(r.ID(), db.Path())
	_, complete := db.Resume(r.ID(), time.Unix(1_900_000_001, 0), "")
	_, undated := db.Begin(RunInfo{})
	r2, err := db.Begin(RunInfo{Started: time.Unix(1_800_000_000, 0)})
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name string
		err  error
		want problem.Kind
	}{
		{"a file that is no log, to be written", written, problem.Storage},
		{"a file that is no log, to be read", read, problem.Input},
		{"a run that is not there", unknown, problem.Usage},
		{"a run that is complete", complete, problem.Usage},
		{"a run copied into its own log", ownLog, problem.Usage},
		{"a run without a time", undated, problem.Internal},
		{"a finished run", r.Append(exampleCycle(2)), problem.Internal},
		{"cycle 0", r2.Append(exampleCycle(0)), problem.Internal},
		{"a cycle that is there", errors.Join(r2.Append(exampleCycle(1)), r2.Append(exampleCycle(1))), problem.Storage},
		{"no time of its end", r2.Finish(RunEnd{}), problem.Internal},
		{"a path below a file", fileAsFolder(text), problem.Storage},
		{"SQLite's own error", db.fail("do nothing", db.exec("INSERT INTO nowhere VALUES (1)")), problem.Storage},
	} {
		if got := problem.KindOf(tc.err); tc.err == nil || got != tc.want {
			t.Errorf("%s: %v, of the kind %v, want %v", tc.name, tc.err, got, tc.want)
		}
	}
}

func fileAsFolder(path string) error {
	_, err := Open(filepath.Join(path, "log.db"))
	return err
}

// A value that no program of ours has written is damage, and the message says where it is.
func TestRead_ForeignValues(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		change, says string
		read         func(*DB, *RunRecord) error
	}{
		{"UPDATE run SET complete = 2", "complete", func(db *DB, _ *RunRecord) error { return second(db.Runs()) }},
		{"UPDATE run SET verdict = 4, ended = 1", "verdict 4", func(db *DB, _ *RunRecord) error { return second(db.Find("last")) }},
		{"UPDATE run SET verdict = -1, ended = 1", "verdict -1", func(db *DB, _ *RunRecord) error { return second(db.Holdings()) }},
		{"UPDATE cycle SET complete = 7", "complete", func(_ *DB, rec *RunRecord) error { return lastError(rec.CycleInfos()) }},
		{"UPDATE cycle SET verdict = 9", "verdict 9", func(_ *DB, rec *RunRecord) error { return lastError(rec.CycleInfos()) }},
		{"UPDATE measurement SET verdict = 9", "verdict 9", func(_ *DB, rec *RunRecord) error { return lastError(rec.Measurements()) }},
		{"UPDATE measurement SET numbers = x'01'", "end too soon", func(_ *DB, rec *RunRecord) error { return lastError(rec.Measurements()) }},
		{"UPDATE measurement SET numbers = zeroblob(40)", "bytes of numbers too many", func(_ *DB, rec *RunRecord) error { return lastError(rec.Measurements()) }},
		{"UPDATE point SET sources = 'noise'", "sources of point 0", func(_ *DB, rec *RunRecord) error { return lastError(rec.Measurements()) }},
		{"UPDATE point SET numbers = x''", "point 0", func(_ *DB, rec *RunRecord) error { return lastError(rec.Measurements()) }},
		{"UPDATE sign SET id = id + 1", "sign 1", func(db *DB, rec *RunRecord) error { return second(db.Resume(rec.ID, time.Unix(1, 0), "")) }},
	} {
		db, err := Open(filepath.Join(t.TempDir(), "log.db"))
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		fill(t, db, 1)
		rec, err := db.Find("last")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.write.ExecContext(t.Context(), "PRAGMA foreign_keys = OFF; "+tc.change); err != nil {
			t.Fatal(err)
		}
		if err := tc.read(db, rec); !errors.Is(err, ErrCorrupt) || !strings.Contains(err.Error(), tc.says) {
			t.Errorf("%s: %v", tc.change, err)
		}
	}
}

func lastError[T any](all iter.Seq2[T, error]) (err error) {
	for _, err = range all {
	}
	return err
}

func second[T any](_ T, err error) error { return err }
