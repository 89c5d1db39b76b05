package journal

import (
	"errors"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/capture"
)

// exampleCalibrations are of a simulated rig's two outputs, the first one in a state.
func exampleCalibrations(state capture.CalibrationState) []capture.Calibration {
	seed := uint64(1<<63 + 7) // beyond what a signed number holds
	return []capture.Calibration{
		{Output: "OUT3", State: state, Judged: true, Meter: "4711", By: "Zoë", Made: "2026-03-31", Due: "2027-03-31", Rig: "shelf", Seed: &seed, Gain: 1.0125, Offset: -0.0123},
		{Output: "OUT1", State: capture.NotCalibrated, Gain: 1},
	}
}

// from says from which cycle calibrations hold.
func from(cycle int, all []capture.Calibration) []capture.Calibration {
	all = slices.Clone(all)
	for i := range all {
		all[i].Since = cycle
	}
	return all
}

func calibrationsIn(t *testing.T, db *DB, id string) []capture.Calibration {
	t.Helper()
	rec, err := db.Find(id)
	if err != nil {
		t.Fatal(err)
	}
	all, err := rec.Calibrations()
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// What is known of the calibrations comes back, from the run's beginning and from each cycle
// at which it changed. What stays the same is stored once, also where the run goes on.
func TestRun_Calibrations(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	fresh, old := exampleCalibrations(capture.InDate), exampleCalibrations(capture.Overdue)
	run, err := db.Begin(RunInfo{Started: time.Unix(1_800_000_000, 0), Calibrations: fresh})
	if err != nil {
		t.Fatal(err)
	}
	want := from(1, fresh)
	store := func(n int, calibrations []capture.Calibration) {
		t.Helper()
		c := exampleCycle(n)
		c.Calibrations = calibrations
		if err := run.Append(c); err != nil {
			t.Fatal(err)
		}
	}
	check := func(when string) {
		t.Helper()
		if d := cmp.Diff(want, calibrationsIn(t, db, run.ID())); d != "" {
			t.Errorf("%s: %s", when, d)
		}
	}
	check("at the beginning")
	store(1, exampleCalibrations(capture.InDate))
	store(2, nil)
	check("unchanged")
	store(3, old)
	want = append(want, from(3, old)...)
	store(4, exampleCalibrations(capture.Overdue))
	check("overdue")
	again := exampleCycle(5)
	again.Calibrations = fresh
	if err := run.Append(again, exampleCycle(4)); !errors.Is(err, ErrHaveCycle) {
		t.Fatal(err)
	}
	check("after a failure")
	store(5, exampleCalibrations(capture.Overdue))
	check("unchanged since before the failure")
	if run, err = db.Resume(run.ID(), time.Unix(1_900_000_000, 0), ""); err != nil {
		t.Fatal(err)
	}
	store(6, exampleCalibrations(capture.Overdue))
	check("gone on")
	store(7, fresh)
	want = append(want, from(7, fresh)...)
	check("calibrated again")
	seedless := exampleCalibrations(capture.InDate)
	seedless[0].Seed = nil
	store(8, seedless)
	want = append(want, from(8, seedless)...)
	check("another bench")
}

// Runs from before this was kept, and runs of which nothing is known, have none.
func TestRun_NoCalibrations(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	if got := calibrationsIn(t, db, fill(t, db, 2).ID()); got != nil {
		t.Errorf("%+v", got)
	}
}

// Calibrations are copied with their run, removed with it, and missed where a row is gone.
func TestCalibrations_Upkeep(t *testing.T) {
	t.Parallel()
	db, path := newLog(t), filepath.Join(t.TempDir(), "kept.db")
	run, err := db.Begin(RunInfo{Started: time.Unix(1_800_000_000, 0), Calibrations: exampleCalibrations(capture.InDate)})
	if err != nil {
		t.Fatal(err)
	}
	if err := run.Finish(RunEnd{Ended: time.Unix(1_800_000_001, 0)}); err != nil {
		t.Fatal(err)
	}
	if _, err := db.CopyRun(run.ID(), path); err != nil {
		t.Fatal(err)
	}
	kept := openLog(t, path)
	if d := cmp.Diff(from(1, exampleCalibrations(capture.InDate)), calibrationsIn(t, kept, run.ID())); d != "" {
		t.Errorf("copied: %s", d)
	}
	if _, err := db.DropRun(holding(t, db, run.ID())); err != nil {
		t.Fatal(err)
	}
	var left int
	if err := db.read.QueryRow("SELECT count(*) FROM calibration").Scan(&left); err != nil || left != 0 {
		t.Errorf("%d rows are left, %v", left, err)
	}
	if _, err := kept.write.ExecContext(t.Context(), "DELETE FROM calibration WHERE seq = 0"); err != nil {
		t.Fatal(err)
	}
	runs, err := kept.Runs()
	if err != nil {
		t.Fatal(err)
	}
	if c, err := kept.ReadRun(t.Context(), runs[0]); err != nil || !errors.Is(c.Err, ErrCorrupt) {
		t.Errorf("a row is gone: %+v, %v", c, err)
	}
}
