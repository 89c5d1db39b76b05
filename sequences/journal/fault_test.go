package journal

import (
	"errors"
	"path/filepath"
	"testing"
	"time"

	sqlite3 "modernc.org/sqlite/lib"

	"makebreak/rig/problem"
)

// A fault in the memory that shares SQLite's index is an error of storage wherever it comes,
// and ends no program. Nothing of the cycle is stored then, and the log can be used again.
// It runs beside no other test: a fault that is planted meets whoever comes next.
func TestAppend_Fault(t *testing.T) {
	db, err := Open(filepath.Join(t.TempDir(), "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	r := fill(t, db, 1)
	stored, faults := 1, 0
	for site := int32(1); ; site++ {
		sqlite3.SehInject(site)
		err := r.Append(exampleCycle(stored + 1))
		reached := sqlite3.SehPending() == 0
		sqlite3.SehInject(0)
		if err == nil {
			stored++
		}
		if !reached {
			break
		}
		faults++
		if err != nil && (problem.KindOf(err) != problem.Storage || errors.Is(err, ErrFull)) {
			t.Errorf("site %d: %v, of the kind %v", site, err, problem.KindOf(err))
		}
	}
	if faults < 3 {
		t.Errorf("only %d faults were planted", faults)
	}
	if err := r.Finish(RunEnd{Ended: time.Unix(1_800_000_100, 0), Complete: true}); err != nil {
		t.Fatal(err)
	}
	checkStored(t, db, stored)
	if err := db.Check(); err != nil {
		t.Error(err)
	}
}
