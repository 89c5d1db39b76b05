package journal

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/capture"
)

// seen are facts with the time and the cycle at which they were seen.
func seen(after int, at time.Time, facts ...capture.MachineFact) []capture.MachineFact {
	for i := range facts {
		facts[i].After, facts[i].At = after, at
	}
	return facts
}

// What is known of the computer comes back with the cycle after which it was seen. What stays
// the same is stored once, also where the run goes on, and is copied with the run.
func TestRun_Machine(t *testing.T) {
	t.Parallel()
	db := newLog(t)
	at := func(s int) time.Time { return time.Unix(1_800_000_000+int64(s), 7).UTC() }
	begin := seen(0, at(0), capture.Said(capture.Model, "Raspberry Pi 4 Model B Rev 1.4"), capture.Yes(capture.UnderVoltage, false), capture.Is(capture.BusHz, 250_000))
	run, err := db.Begin(RunInfo{Started: at(0), Machine: begin})
	if err != nil {
		t.Fatal(err)
	}
	store := func(n int, facts []capture.MachineFact) {
		t.Helper()
		c := exampleCycle(n)
		c.Machine = facts
		if err := run.Append(c); err != nil {
			t.Fatal(err)
		}
	}
	store(1, nil)
	sagged := seen(1, at(20), capture.Yes(capture.UnderVoltage, true))
	store(2, append(seen(0, at(15), capture.Is(capture.BusHz, 250_000)), sagged...))
	store(3, sagged) // it has been said
	if err := run.Append(exampleCycle(3)); err == nil {
		t.Fatal("cycle 3 is stored twice")
	}
	end := seen(3, at(40), capture.Yes(capture.UnderVoltage, false), capture.Said(capture.Model, "Raspberry Pi 4 Model B Rev 1.4"))
	if err := run.Finish(RunEnd{Ended: at(40), Machine: end}); err != nil {
		t.Fatal(err)
	}
	if run, err = db.Resume(run.ID(), at(50), ""); err != nil {
		t.Fatal(err)
	}
	again := seen(3, at(55), capture.Is(capture.BusHz, 400_000), capture.Yes(capture.UnderVoltage, false))
	store(4, again)

	want := slices.Concat(begin, sagged, end[:1], again[:1])
	machineIn := func(db *DB, id string) []capture.MachineFact {
		rec, err := db.Find(id)
		if err != nil {
			t.Fatal(err)
		}
		all, err := rec.Machine()
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	if diff := cmp.Diff(want, machineIn(db, run.ID())); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if err := run.Finish(RunEnd{Ended: at(60)}); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "other.db")
	if _, err := db.CopyRun(run.ID(), path); err != nil {
		t.Fatal(err)
	}
	other := openLog(t, path)
	if diff := cmp.Diff(want, machineIn(other, run.ID())); diff != "" {
		t.Errorf("copied (-want +got):\n%s", diff)
	}
	if err := other.Check(); err != nil {
		t.Error(err)
	}
	if err := db.transact(func() error { return db.exec("DELETE FROM machine WHERE seq = 1") }); err != nil {
		t.Fatal(err)
	}
	runs, err := db.Runs()
	if err != nil {
		t.Fatal(err)
	}
	if c, err := db.ReadRun(t.Context(), runs[0]); err != nil || c.Err == nil || !strings.Contains(c.Err.Error(), "facts of the computer are missing") {
		t.Errorf("a fact is missing: %v, %v", c.Err, err)
	}
}
