package journal

import (
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"makebreak/rig/capture"
)

// captured stores a run of cycles with captures that can be unpacked.
func captured(t *testing.T, db *DB, cycles int) RunSummary {
	t.Helper()
	packed, err := (&capture.Capture{}).MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	r := beginSoak(t, db, Retention{First: cycles})
	for n := 1; n <= cycles; n++ {
		c := exampleCycle(n)
		c.Capture, c.Kept = packed, KeptFirst
		if err := r.Append(c); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.Interrupted(Interruption{After: cycles, Resumed: time.Unix(1_800_000_000, 0)}); err != nil {
		t.Fatal(err)
	}
	runs, err := db.Runs()
	if err != nil {
		t.Fatal(err)
	}
	return runs[0]
}

// Whatever a run lacks or cannot be read of it is said, each by its words, and of another
// run nothing.
func TestReadRun(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct{ damage, says string }{
		{"DELETE FROM cycle WHERE run = 1 AND n = 3; DELETE FROM measurement WHERE run = 1 AND cycle = 3; DELETE FROM symptom WHERE run = 1 AND cycle = 3", "cycles are missing: of 8 there are 7"},
		{"DELETE FROM measurement WHERE run = 1 AND cycle = 5 AND seq = 1", "figures are missing: of cycle 5"},
		{"UPDATE symptom SET seq = 4 WHERE run = 1 AND cycle = 5", "symptoms are missing: of cycle 5"},
		{"UPDATE interruption SET seq = 1 WHERE run = 1", "interruptions are missing: of 2 there are 1"},
		{"DELETE FROM name WHERE series = (SELECT series FROM run WHERE id = 1) AND count = 1", "its name is not kept"},
		{"UPDATE cycle SET capture = (SELECT capture FROM cycle WHERE run = 2 AND n = 1) WHERE run = 1 AND n = 2", "captures are another's, too: of cycle 2"},
		{"UPDATE capture SET bytes = x'00' WHERE id = (SELECT capture FROM cycle WHERE run = 1 AND n = 7)", "the capture of cycle 7"},
		{"UPDATE cycle SET verdict = 9 WHERE run = 1 AND n = 4", "verdict 9"},
		{"UPDATE measurement SET verdict = -1 WHERE run = 1 AND cycle = 4 AND seq = 0", "verdict -1"},
		{"UPDATE measurement SET numbers = x'07' WHERE run = 1 AND cycle = 2 AND seq = 0", "the log is damaged"},
		{"UPDATE point SET sources = '[' WHERE run = 1 AND id = 0", "the budget's sources of point 0"},
	} {
		db := newLog(t)
		one, two := captured(t, db, 8), captured(t, db, 8)
		if c, err := db.ReadRun(t.Context(), one); err != nil || c.Err != nil || c.Cycles != 8 || c.Figures != 24 || c.Captures != 8 {
			t.Fatalf("before the damage: %+v, %v", c, err)
		}
		for _, text := range strings.Split(tc.damage, ";") {
			if _, err := db.write.ExecContext(t.Context(), "PRAGMA foreign_keys = OFF; "+text); err != nil {
				t.Fatalf("%s: %v", text, err)
			}
		}
		c, err := db.ReadRun(t.Context(), one)
		if err != nil || !errors.Is(c.Err, ErrCorrupt) || !strings.Contains(c.Err.Error(), tc.says) {
			t.Errorf("%s: %v, %v", tc.damage, c.Err, err)
		}
		if c, err = db.ReadRun(t.Context(), two); err != nil || c.Err != nil && !strings.Contains(tc.says, "another's") {
			t.Errorf("%s: the other run: %v, %v", tc.damage, c.Err, err)
		}
	}
}

// A run that was removed since it was listed is not mixed up with the next one, which has
// its row.
func TestReadRun_Removed(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	one := captured(t, db, 2)
	if _, err := db.dropRun(one.row, nil); err != nil {
		t.Fatal(err)
	}
	two := captured(t, db, 3)
	if one.row != two.row {
		t.Fatalf("rows %d and %d", one.row, two.row)
	}
	if c, err := db.ReadRun(t.Context(), one); !errors.Is(err, ErrNoRun) {
		t.Errorf("%+v, %v", c, err)
	}
}

// A row that refers to one that is not there is found, where the pages are sound.
func TestCheckReferences(t *testing.T) {
	t.Parallel()
	db, err := Open(filepath.Join(t.TempDir(), "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	captured(t, db, 3)
	if _, err := db.write.ExecContext(t.Context(), "PRAGMA foreign_keys = OFF; DELETE FROM point WHERE id = 1"); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(db.CheckFile(t.Context()), db.CheckPages(t.Context())); err != nil {
		t.Error(err)
	}
	if err := db.CheckReferences(t.Context()); !errors.Is(err, ErrCorrupt) || !strings.Contains(err.Error(), "rows of measurement refer to a point that is not there") {
		t.Errorf("error %v", err)
	}
}
