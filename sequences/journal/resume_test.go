package journal

import (
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// reopened opens a log that a test closes and opens again.
func reopened(t *testing.T, path string) *DB {
	t.Helper()
	db, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// resumeAgain closes the log, as a program's end does, opens it and resumes its last run.
func resumeAgain(t *testing.T, db *DB, now time.Time) (*DB, *Run) {
	t.Helper()
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	db = reopened(t, db.Path())
	r, err := db.Resume("last", now, "v2")
	if err != nil {
		t.Fatal(err)
	}
	return db, r
}

// A run that is resumed and stores no cycle stays as it was, however often that happens: its
// end and the reason of it, and no interruption more.
func TestResume_NoCycle(t *testing.T) {
	t.Parallel()
	db := reopened(t, filepath.Join(t.TempDir(), "log.db"))
	r := beginSoak(t, db, Retention{})
	at := func(s int64) time.Time { return time.Unix(1_800_000_000+s, 0).UTC() }
	if err := r.Append(exampleCycle(1)); err != nil {
		t.Fatal(err)
	}
	if err := r.Finish(RunEnd{Ended: at(1), Reason: ErrFull.Error()}); err != nil {
		t.Fatal(err)
	}
	was := contents(t, db, r.ID())
	for n := range int64(10) {
		db, r = resumeAgain(t, db, at(10+n))
		if n%2 == 0 {
			if err := r.Interrupted(Interruption{After: 1, Stopped: at(20 + n), Resumed: at(30 + n), Reason: "the rig is lost"}); err != nil {
				t.Fatal(err)
			}
		}
		if n%3 > 0 { // else the program is killed
			if err := r.Finish(RunEnd{Ended: at(40 + n), Reason: "interrupted"}); err != nil {
				t.Fatal(err)
			}
		}
		if d := cmp.Diff(was, contents(t, db, r.ID())); d != "" {
			t.Fatalf("resumed %d times (-was +is):\n%s", n+1, d)
		}
	}
}

// The first cycle that is refused leaves the end as it was, and the next one takes it away.
func TestResume_CycleRefused(t *testing.T) {
	t.Parallel()
	db := reopened(t, filepath.Join(t.TempDir(), "log.db"))
	r := beginSoak(t, db, Retention{})
	if err := r.Append(exampleCycle(1)); err != nil {
		t.Fatal(err)
	}
	if err := r.Finish(RunEnd{Ended: time.Unix(1_800_000_001, 0), Reason: "interrupted"}); err != nil {
		t.Fatal(err)
	}
	was := contents(t, db, r.ID())
	db, r = resumeAgain(t, db, time.Unix(1_800_000_002, 0))
	if err := r.Append(exampleCycle(2), exampleCycle(1)); err == nil {
		t.Fatal("a cycle is stored twice")
	}
	if !slices.Equal(was, contents(t, db, r.ID())) {
		t.Error("the run is not as it was")
	}
	if err := r.Append(exampleCycle(2)); err != nil {
		t.Fatal(err)
	}
	rec, err := db.Find(r.ID())
	if err != nil || !rec.Ended.IsZero() || rec.Reason != "" {
		t.Errorf("it goes on, and has ended %v for %q: %v", rec.Ended, rec.Reason, err)
	}
	if gaps, err := rec.Interruptions(); err != nil || len(gaps) != 1 {
		t.Errorf("interruptions %+v: %v", gaps, err)
	}
}

// A run that was cut off has no end that could stay: how it ends is stored, also where no
// cycle was. So is the end of one that had only to be completed.
func TestResume_CutOff(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		ended bool
		end   RunEnd
	}{
		{"cut off", false, RunEnd{Ended: time.Unix(1_800_000_009, 0).UTC(), Reason: ErrFull.Error()}},
		{"all cycles are there", true, RunEnd{Ended: time.Unix(1_800_000_009, 0).UTC(), Complete: true}},
	} {
		db := reopened(t, filepath.Join(t.TempDir(), "log.db"))
		r := beginSoak(t, db, Retention{})
		if err := r.Append(exampleCycle(1)); err != nil {
			t.Fatal(err)
		}
		if c.ended {
			if err := r.Finish(RunEnd{Ended: time.Unix(1_800_000_001, 0), Reason: "interrupted"}); err != nil {
				t.Fatal(err)
			}
		}
		db, r = resumeAgain(t, db, time.Unix(1_800_000_002, 0))
		if err := r.Finish(c.end); err != nil {
			t.Fatal(err)
		}
		rec, err := db.Find(r.ID())
		if err != nil || !rec.Ended.Equal(c.end.Ended) || rec.Reason != c.end.Reason || rec.Complete != c.end.Complete {
			t.Errorf("%s: it has ended %v for %q, complete %t: %v", c.name, rec.Ended, rec.Reason, rec.Complete, err)
		}
		if gaps, err := rec.Interruptions(); err != nil || len(gaps) != 1 {
			t.Errorf("%s: interruptions %+v: %v", c.name, gaps, err)
		}
	}
}
