package journal

import (
	"math"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"makebreak/rig/capture"
)

// Why a run stopped, each time, and what its converters counted are read back as they were stored,
// and go along with a copy. A stop that no program recorded has no reason.
func TestEnding(t *testing.T) {
	t.Parallel()
	db := reopened(t, filepath.Join(t.TempDir(), "log.db"))
	r := beginSoak(t, db, Retention{})
	at := func(s int64) time.Time { return time.Unix(1_800_000_000+s, 0).UTC() }
	cycle := func(n int, own ...capture.ConverterCounts) {
		t.Helper()
		c := exampleCycle(n)
		c.Converters = own
		if err := r.Append(c); err != nil {
			t.Fatal(err)
		}
	}
	counted := func(name string, errors, resets uint64) capture.ConverterCounts {
		return capture.ConverterCounts{Converter: name, Counts: capture.Counts{BusErrors: errors, ChipResets: resets}}
	}
	lost := capture.Ending{Code: capture.ConverterSilent, Place: "B", Value: math.NaN()}
	silent := capture.Ending{Code: capture.ReferenceSilent, Place: "REF", Other: "KEY", Value: 1}
	cycle(1, counted("B", 3, 0), counted("A", 0, 1))
	if err := r.Interrupted(Interruption{After: 1, Stopped: at(1), Resumed: at(2), Reason: "lost", Ending: lost}); err != nil {
		t.Fatal(err)
	}
	cycle(2, counted("B", 4, 0))
	db, r = resumeAgain(t, db, at(3)) // nobody recorded that stop
	cycle(3)
	if err := r.Finish(RunEnd{Ended: at(4), Reason: "silent", Ending: silent}); err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), "other.db")
	if _, err := db.CopyRun(r.ID(), other); err != nil {
		t.Fatal(err)
	}
	for _, log := range []*DB{db, reopened(t, other)} {
		rec, err := log.Find("last")
		if err != nil {
			t.Fatal(err)
		}
		gaps, err := rec.Interruptions()
		if err != nil || len(gaps) != 2 {
			t.Fatalf("%+v, %v", gaps, err)
		}
		got := []capture.Ending{gaps[0].Ending, gaps[1].Ending, rec.Ending}
		if d := cmp.Diff([]capture.Ending{lost, {}, silent}, got, cmpopts.EquateNaNs()); d != "" {
			t.Errorf("%s (-stored +read):\n%s", log.Path(), d)
		}
		if d := cmp.Diff([]capture.ConverterCounts{counted("A", 0, 1), counted("B", 7, 0)}, rec.Converters); d != "" {
			t.Errorf("%s (-stored +read):\n%s", log.Path(), d)
		}
	}
}
