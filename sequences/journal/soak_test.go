package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/analyze"
)

// beginSoak begins a soak with a policy of keeping captures.
func beginSoak(t *testing.T, db *DB, keep Retention) *Run {
	t.Helper()
	r, err := db.Begin(RunInfo{Unit: "RB-1", Started: time.Unix(1_800_000_000, 0), Planned: 100, Soak: &keep})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// kept is a cycle with a capture.
func kept(n int, why Kept) *Cycle {
	c := exampleCycle(n)
	c.Capture, c.Kept = fmt.Appendf(nil, "capture %d", n), why
	return c
}

// Captures kept as the last ones make room for later ones; all others stay. What
// was freed is used again: the file does not grow by captures that come and go.
func TestAppend_Retention(t *testing.T) {
	t.Parallel()
	db := openLog(t, filepath.Join(t.TempDir(), "log.db"))
	r := beginSoak(t, db, Retention{First: 2, Last: 3, Every: 4, Bad: 1})
	for n := 1; n <= 12; n++ {
		why := KeptLast
		switch {
		case n <= 2:
			why = KeptFirst
		case n%4 == 0:
			why = KeptEvery
		case n == 7:
			why = KeptBad
		}
		if err := r.Append(kept(n, why)); err != nil {
			t.Fatal(err)
		}
	}
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	if want := (Retention{First: 2, Last: 3, Every: 4, Bad: 1}); rec.Soak == nil || *rec.Soak != want {
		t.Errorf("the policy came back as %v, want %v", rec.Soak, want)
	}
	var have []int
	for c, err := range rec.CycleInfos() {
		if err != nil {
			t.Fatal(err)
		}
		if c.HasCapture {
			have = append(have, c.N)
		}
	}
	if diff := cmp.Diff([]int{1, 2, 4, 7, 8, 10, 11, 12}, have); diff != "" {
		t.Errorf("captures kept (-want +got):\n%s", diff)
	}
	counts, bytes, err := rec.CaptureCounts()
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(map[Kept]int{KeptFirst: 2, KeptEvery: 3, KeptBad: 1, KeptLast: 2}, counts); diff != "" || bytes < 8*9 {
		t.Errorf("%d bytes of captures, counts (-want +got):\n%s", bytes, diff)
	}
	if last, err := rec.Last(); last != 12 || err != nil {
		t.Errorf("the last cycle is %d: %v", last, err)
	}
	if err := db.Check(); err != nil {
		t.Error(err)
	}
}

// Cycles appended together are stored together or not at all, and what the failed
// ones added to the run's dictionary is forgotten.
func TestAppend_Together(t *testing.T) {
	t.Parallel()
	db := openLog(t, filepath.Join(t.TempDir(), "log.db"))
	r := beginSoak(t, db, Retention{})
	if err := r.Append(exampleCycle(3)); err != nil {
		t.Fatal(err)
	}
	two := exampleCycle(2)
	two.Measurements[0].Event, two.Measurements[0].Doubts = "new event", analyze.InWords("new reason")
	if err := r.Append(exampleCycle(1), two, exampleCycle(3)); !errors.Is(err, ErrHaveCycle) {
		t.Fatalf("error %v, want ErrHaveCycle", err)
	}
	if n := len(readCycles(t, db)); n != 1 {
		t.Errorf("%d cycles are stored, want 1", n)
	}
	if err := r.Append(exampleCycle(1), two); err != nil {
		t.Fatal(err)
	}
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	for m, err := range rec.MeasurementsIn(analyze.Cycles{First: 2, Last: 2}) {
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(two.Measurements[i], m, sameBits); diff != "" {
			t.Errorf("measurement %d (-want +got):\n%s", i, diff)
		}
		i++
	}
	if i != len(two.Measurements) {
		t.Errorf("%d measurements, want %d", i, len(two.Measurements))
	}
}

func TestInterruptions(t *testing.T) {
	t.Parallel()
	db := openLog(t, filepath.Join(t.TempDir(), "log.db"))
	r := beginSoak(t, db, Retention{})
	at := func(s int64) time.Time { return time.Unix(1_800_000_000+s, 0).UTC() }
	if err := r.Append(exampleCycle(1)); err != nil {
		t.Fatal(err)
	}
	own := Interruption{After: 1, Stopped: at(5), Resumed: at(9), Reason: "the rig is lost"}
	if err := r.Interrupted(own); err != nil {
		t.Fatal(err)
	}
	r, err := db.Resume(r.ID(), at(20), "") // without an end: cut off
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Append(exampleCycle(2)); err != nil {
		t.Fatal(err)
	}
	if err := r.Finish(RunEnd{Ended: at(30), Reason: "interrupted"}); err != nil {
		t.Fatal(err)
	}
	if r, err = db.Resume(r.ID(), at(40), "v2"); err != nil {
		t.Fatal(err)
	}
	again := Interruption{After: 2, Stopped: at(50), Resumed: at(60), Reason: "the rig is lost"}
	if err := r.Interrupted(again); err != nil {
		t.Fatal(err)
	}
	if err := r.Append(exampleCycle(3)); err != nil {
		t.Fatal(err)
	}
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	got, err := rec.Interruptions()
	if err != nil {
		t.Fatal(err)
	}
	want := []Interruption{own, {After: 1, Resumed: at(20), Reason: cutOff}, {After: 2, Stopped: at(30), Resumed: at(40), Reason: "interrupted", Program: "v2"}, again}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("interruptions (-want +got):\n%s", diff)
	}
}

func TestCheckpoint(t *testing.T) {
	t.Parallel()
	db := openLog(t, filepath.Join(t.TempDir(), "log.db"))
	r := beginSoak(t, db, Retention{})
	read := func() (int, string) {
		rec, err := db.Find("last")
		if err != nil {
			t.Fatal(err)
		}
		n, state, err := rec.Checkpoint()
		if err != nil {
			t.Fatal(err)
		}
		return n, string(state)
	}
	if n, state := read(); n != 0 || state != "" {
		t.Errorf("before any: cycle %d, state %q", n, state)
	}
	for _, state := range []string{"one", "another"} {
		if err := r.Checkpoint(len(state), []byte(state)); err != nil {
			t.Fatal(err)
		}
		if n, got := read(); n != len(state) || got != state {
			t.Errorf("cycle %d, state %q; want %d, %q", n, got, len(state), state)
		}
	}
}

// A log written before there were soaks gets what it lacks and keeps its captures; what
// was not kept then is not known.
func TestMigrate_Soak(t *testing.T) {
	t.Parallel()
	first, err := migrations.ReadFile("migration/0001_log.sql")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "log.db")
	oldLog(t, path, fstest.MapFS{"migration/0001_log.sql": {Data: first}})
	db := openLog(t, path)
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	if b, err := rec.Capture(1); string(b) != "\x01\x02" || err != nil {
		t.Errorf("the capture is %x: %v", b, err)
	}
	if counts, _, err := rec.CaptureCounts(); counts[KeptAll] != 1 || err != nil || rec.Soak != nil {
		t.Errorf("captures %v, soak %v: %v", counts, rec.Soak, err)
	}
	if r, err := db.Begin(RunInfo{Started: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}); err != nil || r.ID() != "2026-01-01-"+wordIn(t, db)+".1" {
		t.Errorf("the next run of that day: %v", err)
	}
	if rec.Faults != nil {
		t.Errorf("faults %q are known of a run that kept none", rec.Faults)
	}
}

// oldLog writes a log of the first schema, with a run of one cycle.
func oldLog(t *testing.T, path string, schema fs.FS) {
	t.Helper()
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	old := &DB{path: path}
	if err := old.connect(path, schema); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"INSERT INTO run VALUES (1,'2026-01-01',1,'U','','s','','r','',0,1,NULL,'','',NULL,0,0,'')",
		"INSERT INTO capture VALUES (7, x'0102')", "INSERT INTO cycle VALUES (1,1,0,1,1,0,0,0,0,0,7)"} {
		if _, err := old.write.ExecContext(t.Context(), text); err != nil {
			t.Fatal(err)
		}
	}
	old.stmts = map[string]*sql.Stmt{}
	if err := old.Close(); err != nil {
		t.Fatal(err)
	}
}

// The write-ahead file, which cannot be brought into the log while somebody reads what was
// there before, becomes small again when the reading is done.
func TestAppend_LongReading(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	r := fill(t, db, 3)
	rows, err := db.read.Query("SELECT n FROM cycle")
	if err != nil || !rows.Next() {
		t.Fatal(err)
	}
	const step = 500
	n := 3
	for range 5 {
		var all []*Cycle
		for range step {
			n++
			all = append(all, exampleCycle(n))
		}
		if err := r.Append(all...); err != nil {
			t.Fatal(err)
		}
	}
	if size := fileSize(db.full + "-wal"); size <= reserveBytes {
		t.Fatalf("the write-ahead file has only %d bytes", size)
	}
	if err := rows.Close(); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		n++
		if err := r.Append(exampleCycle(n)); err != nil {
			t.Fatal(err)
		}
	}
	if size := fileSize(db.full + "-wal"); size > reserveBytes {
		t.Errorf("the write-ahead file has %d bytes still", size)
	}
}
