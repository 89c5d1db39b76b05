package upkeep

import (
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"makebreak/rig/problem"
	"makebreak/sequences/journal"
)

// What is told is what was removed, and nothing where nothing was.
func TestDone_Told(t *testing.T) {
	t.Parallel()
	run := journal.Holding{RunSummary: journal.RunSummary{Run: "r1"}}
	for _, c := range []struct {
		gone                journal.Removed
		kept, shrunk, given bool
		want                string
	}{
		{want: "Nothing was removed"},
		{kept: true, want: "Nothing was removed"},
		{shrunk: true, want: "Nothing was removed; the log had no room to give back to the disk"},
		{shrunk: true, given: true, want: "Nothing was removed; 2.0 MB given back to the disk"},
		{gone: journal.Removed{Runs: 1, Cycles: 3}, kept: true, want: "Removed: 1 run and 3 cycles. Later runs use the room; --shrink gives it back to the disk"},
		{gone: journal.Removed{Runs: 1, Cycles: 3, Captures: 2, CaptureBytes: 9e6}, shrunk: true, given: true, want: "Removed: 1 run, 3 cycles and 2 captures of 9.0 MB; 2.0 MB given back to the disk"},
		{gone: journal.Removed{Captures: 2, CaptureBytes: 9e6}, want: "Removed: 2 captures of 9.0 MB from 1 run. Later runs use the room"},
		{gone: journal.Removed{Cycles: 3}, want: "Removed: 3 cycles. Later runs use the room\nOnly a part is left of these; --whole-runs removes the rest: r1"},
	} {
		d := done{kept: c.kept, shrunk: c.shrunk}
		if c.given {
			d.given = 2e6
		}
		d.of(run, c.gone)
		if got := d.told(); got != c.want {
			t.Errorf("%+v: %q, want %q", c, got, c.want)
		}
	}
}

// log is one of a complete run and a cut-off soak; each has so many cycles with a capture.
func log(t *testing.T, cycles int) (path string, going *journal.DB) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "log.db")
	db, err := journal.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	begun := time.Unix(1_800_000_000, 0)
	for n := range 2 {
		run, err := db.Begin(journal.RunInfo{Started: begun, Planned: 2 * cycles, Soak: &journal.Retention{First: cycles}})
		if err != nil {
			t.Fatal(err)
		}
		for c := range cycles {
			if err := run.Append(&journal.Cycle{N: c + 1, Started: begun, Complete: true, Capture: make([]byte, 1000), Kept: journal.KeptFirst}); err != nil {
				t.Fatal(err)
			}
		}
		if n == 0 {
			if err := run.Finish(journal.RunEnd{Ended: begun, Complete: true}); err != nil {
				t.Fatal(err)
			}
		}
	}
	return path, db
}

// Runs that another opening of the log has locked stay, and nothing is said to have been
// removed; once it is closed they go at once, however young, and what has gone is counted.
func TestRemove_Busy(t *testing.T) {
	t.Parallel()
	const cycles = 7
	path, going := log(t, cycles)
	db, err := journal.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	prune := func() (Choice, string, error) {
		all, err := db.Holdings()
		if err != nil {
			t.Fatal(err)
		}
		c := Prune{WholeRuns: true}.Choose(all, time.Unix(1_800_000_001, 0))
		told, err := c.Remove(db)
		return c, told, err
	}
	c, told, err := prune()
	if len(c.Runs) != 0 || len(c.Busy) != 2 || !errors.Is(err, journal.ErrTaken) || problem.KindOf(err) != problem.Storage || told != "Nothing was removed" {
		t.Errorf("while they are written: %d chosen, %d kept; %q, %v", len(c.Runs), len(c.Busy), told, err)
	}
	if err := going.Close(); err != nil {
		t.Fatal(err)
	}
	c, told, err = prune()
	if len(c.Runs) != 2 || len(c.Busy) != 0 || err != nil || !strings.HasPrefix(told, "Removed: 2 runs, 14 cycles and 14 captures of 14 kB. Later") {
		t.Errorf("once they are not: %d chosen, %d kept; %q, %v", len(c.Runs), len(c.Busy), told, err)
	}
	if c, told, err = prune(); len(c.Runs) != 0 || err != nil || told != "Nothing was removed" {
		t.Errorf("where nothing is left: %q, %v", told, err)
	}
}
