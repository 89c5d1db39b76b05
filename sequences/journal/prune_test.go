package journal

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// fillRun stores a run of some cycles with captures and ends it.
func fillRun(t *testing.T, db *DB, cycles int, started time.Time) string {
	t.Helper()
	r, err := db.Begin(RunInfo{Unit: "U", Started: started, Soak: &Retention{First: cycles}, Calibrations: exampleCalibrations(capture.InDate)})
	if err != nil {
		t.Fatal(err)
	}
	var all []*Cycle
	for n := 1; n <= cycles; n++ {
		c := kept(n, KeptFirst)
		c.Capture = make([]byte, 2000)
		all = append(all, c)
	}
	if err := r.Append(all...); err != nil {
		t.Fatal(err)
	}
	if err := r.Checkpoint(cycles, []byte("sums")); err != nil {
		t.Fatal(err)
	}
	if err := r.Finish(RunEnd{Ended: started.Add(time.Hour), Gravest: analyze.Pass, Complete: true}); err != nil {
		t.Fatal(err)
	}
	return r.ID()
}

func count(t *testing.T, db *DB, from string) (n int) {
	t.Helper()
	if err := db.read.QueryRow("SELECT count(*) FROM " + from).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// Captures go first and leave the figures; a whole run goes without a trace, and other
// runs keep all that they have. Shrinking gives the room back.
func TestPrune(t *testing.T) {
	t.Parallel()
	db := openLog(t, filepath.Join(t.TempDir(), "log.db"))
	day := time.Unix(1_800_000_000, 0).UTC()
	old := fillRun(t, db, 300, day)
	young := fillRun(t, db, 200, day.AddDate(0, 0, 30))

	all, err := db.Holdings()
	if err != nil || len(all) != 2 {
		t.Fatalf("%d holdings: %v", len(all), err)
	}
	h := all[0]
	if h.Run != old || h.Captures != 300 || h.CaptureBytes != 600_000 || !h.Touched.Equal(day.Add(time.Hour)) || !h.Ended {
		t.Errorf("the old run: %+v", h)
	}
	size, err := db.Size()
	if err != nil {
		t.Fatal(err)
	}
	if sum := all[0].Bytes + all[1].Bytes; sum < size*8/10 || sum > size {
		t.Errorf("the runs hold %d bytes, the log %d", sum, size)
	}
	figures := count(t, db, "measurement WHERE run = 1")

	if gone, err := db.DropCaptures(holding(t, db, old)); err != nil || gone != (Removed{Captures: 300, CaptureBytes: 600_000}) {
		t.Fatalf("%+v, %v", gone, err)
	}
	if n := count(t, db, "capture"); n != 200 {
		t.Errorf("%d captures are left, want 200", n)
	}
	if n := count(t, db, "measurement WHERE run = 1"); n != figures {
		t.Errorf("%d figures are left, want %d", n, figures)
	}
	if gone, err := db.DropRun(holding(t, db, old)); err != nil || gone != (Removed{Runs: 1, Cycles: 300}) {
		t.Fatalf("%+v, %v", gone, err)
	}
	for _, table := range []string{"cycle", "measurement", "symptom", "point", "sign", "doubts", "doubt", "soak", "interruption", "checkpoint"} {
		if n := count(t, db, table+" WHERE run = 1"); n != 0 {
			t.Errorf("%d rows of the run are left in %s", n, table)
		}
	}
	if n := count(t, db, "capture"); n != 200 {
		t.Errorf("%d captures are left of the other run, want 200", n)
	}
	if _, err := db.Find(old); !errors.Is(err, ErrNoRun) || !strings.Contains(err.Error(), "it was removed from this log") {
		t.Errorf("the removed run: %v", err)
	}
	before := db.onDisk()
	if given, err := db.Shrink(); err != nil || given < 600_000 || given != before-db.onDisk() {
		t.Fatalf("%d bytes of %d given back: %v", given, before, err)
	}
	if given, err := db.Shrink(); err != nil || given != 0 {
		t.Fatalf("%d bytes given back by a log that has none: %v", given, err)
	}
	if err := db.Check(); err != nil {
		t.Error(err)
	}
	if n := count(t, db, "pragma_freelist_count WHERE freelist_count > 0"); n != 0 {
		t.Error("free pages are left")
	}
	if rec, err := db.Find(young); err != nil || rec.Cycles != 200 || !rec.Complete {
		t.Errorf("the other run: %+v, %v", rec, err)
	}
	if r, err := db.Begin(RunInfo{Started: day}); err != nil || r.ID() == old {
		t.Errorf("the next run of that day is %s: %v", r.ID(), err)
	}
}

// holding is what the log says a run takes up.
func holding(t *testing.T, db *DB, id string) Holding {
	t.Helper()
	all, err := db.Holdings()
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range all {
		if h.Run == id {
			return h
		}
	}
	t.Fatalf("run %s is not in the log", id)
	return Holding{}
}

// removeHalf removes a run up to where a removal is cut off.
func removeHalf(t *testing.T, db *DB, run int64) {
	t.Helper()
	for _, drop := range []func(int64, int) (Removed, bool, error){db.dropCaptures, db.dropCycles} {
		err := db.transact(func() error {
			_, _, err := drop(run, pruneBatch)
			return errors.Join(db.mark(run, nil), err)
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// A removal that was cut off half way leaves a run that says so and why it had ended,
// cannot go on, and can be removed.
func TestDropRun_CutOff(t *testing.T) {
	t.Parallel()
	db := openLog(t, filepath.Join(t.TempDir(), "log.db"))
	id := fillRun(t, db, 3000, time.Unix(1_800_000_000, 0))
	if err := db.exec("UPDATE run SET complete = 0, reason = 'the rig is lost'"); err != nil {
		t.Fatal(err)
	}
	removeHalf(t, db, 1)
	rec, err := db.Find(id)
	if err != nil || rec.Complete || rec.State != Removing || rec.Cycles != 1000 || rec.WhyIncomplete() != "being removed from the log; before that: the rig is lost" {
		t.Fatalf("half way: %+v, %v", rec, err)
	}
	if err := db.Check(); err != nil {
		t.Error(err)
	}
	if _, err := db.Resume(id, time.Now(), ""); !errors.Is(err, ErrPart) {
		t.Errorf("it can go on: %v", err)
	}
	if _, err := db.DropRun(holding(t, db, id)); err != nil {
		t.Fatal(err)
	}
	if n := count(t, db, "run"); n != 0 {
		t.Error("the run is still there")
	}
}

// A run that has gone on since it was looked at stays as it is.
func TestDropRun_WentOn(t *testing.T) {
	t.Parallel()
	db := openLog(t, filepath.Join(t.TempDir(), "log.db"))
	id := fillRun(t, db, 20, time.Unix(1_800_000_000, 0))
	if err := db.exec("UPDATE run SET complete = 0, reason = 'interrupted'"); err != nil {
		t.Fatal(err)
	}
	seen := holding(t, db, id)
	r, err := db.Resume(id, time.Unix(1_800_009_000, 0), "")
	if err != nil {
		t.Fatal(err)
	}
	for n := range 2 {
		if err := r.Append(exampleCycle(21 + n)); err != nil {
			t.Fatal(err)
		}
		was := contents(t, db, id)
		if _, err := db.DropRun(seen); !errors.Is(err, ErrWentOn) {
			t.Errorf("the run: %v", err)
		}
		if _, err := db.DropCaptures(seen); !errors.Is(err, ErrWentOn) {
			t.Errorf("its captures: %v", err)
		}
		if !slices.Equal(was, contents(t, db, id)) {
			t.Error("the run has changed")
		}
	}
}

// Nobody else may write while the log is written anew.
func TestShrink_Locked(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	db, other := openLog(t, path), openLog(t, path)
	if err := other.exec("BEGIN IMMEDIATE"); err != nil {
		t.Fatal(err)
	}
	if _, err := db.write.ExecContext(t.Context(), "PRAGMA busy_timeout = 20"); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Shrink(); !errors.Is(err, ErrLocked) {
		t.Errorf("error %v, want ErrLocked", err)
	}
	if err := other.exec("ROLLBACK"); err != nil {
		t.Fatal(err)
	}
}

// What a run takes up beside its captures is its share of the log by its figures.
func TestHoldings_Bytes(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	day := time.Unix(1_800_000_000, 0).UTC()
	fillRun(t, db, 300, day)
	fillRun(t, db, 100, day.AddDate(0, 0, 1))
	all, err := db.Holdings()
	if err != nil {
		t.Fatal(err)
	}
	large, small := all[0].Bytes-all[0].CaptureBytes, all[1].Bytes-all[1].CaptureBytes
	if small <= 0 || large < 3*small-4 || large > 3*small+4 {
		t.Errorf("300 cycles take %d bytes and 100 take %d", large, small)
	}
	for i, want := range []time.Time{day.Add(time.Hour), day.AddDate(0, 0, 1).Add(time.Hour)} {
		if h := all[i]; !h.Touched.Equal(want) || !h.Ended {
			t.Errorf("run %s: ended %v, %t", h.Run, h.Touched, h.Ended)
		}
	}
}

// A last step that finds the disk full is done again with the reserve released. What it said
// of more to do counts for nothing.
func TestInSteps_FullInTheLastStep(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	fill(t, db, 1) // makes the reserve
	tried, stored := 0, 0
	err := db.inSteps(func(int) (more bool, err error) {
		if tried++; tried == 1 {
			return false, ErrFull
		}
		return false, nil
	}, func() { stored++ })
	if err != nil || tried != 2 || stored != 1 {
		t.Errorf("tried %d times, stored %d times: %v", tried, stored, err)
	}
}
