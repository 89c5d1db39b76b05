package archive

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"makebreak/sequences/journal"
)

// What is fetched is what was pushed: the views say the same, and each run's manifest is as in
// the rig's log. It cannot be written, and goes when it is closed.
func TestFetch(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	fill(t, log, 9, 6)
	archive := opened(t, connection)
	push(t, &Pusher{Log: log, Archive: archive, part: 4})
	runs, err := log.Runs()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range runs {
		fetched, err := archive.Fetch(t.Context(), Wanted{Names: []string{r.Run}})
		if err != nil {
			t.Fatal(err)
		}
		there, err := fetched.Runs()
		if err != nil || len(there) < 1 || len(there) > 2 {
			t.Errorf("%d runs were fetched, the unit has two at most: %v", len(there), err)
		}
		if want, got := manifest(t, log, r.Run), manifest(t, fetched, r.Run); want != got {
			t.Errorf("run %s: %s", r.Run, cmp.Diff(want, got))
		}
		if err := fetched.SetField(r.Run, journal.Field{Name: "job", Value: "3"}, r.Started, ""); !errors.Is(err, journal.ErrReadOnly) {
			t.Errorf("a field was set in what was fetched: %v", err)
		}
		if err := fetched.Close(); err != nil {
			t.Error(err)
		}
	}
	fetched, err := archive.Fetch(t.Context(), Wanted{})
	if err != nil {
		t.Fatal(err)
	}
	defer fetched.Close()
	listed, err := fetched.Runs()
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(texts(runs), texts(listed)); d != "" {
		t.Error(d)
	}
	if _, err := archive.Fetch(t.Context(), Wanted{Names: []string{"none"}}); !errors.Is(err, ErrNoRun) {
		t.Errorf("a run that is not there: %v", err)
	}
}

// texts are what a list tells of runs.
func texts(runs []journal.RunSummary) map[string]string {
	all := map[string]string{}
	for _, r := range runs {
		all[r.UUID] = fmt.Sprint(r.Run, r.Unit, r.Sequence, r.Started, r.Cycles, r.Planned, r.Verdict, r.Complete, r.Simulated, r.Soak, r.Fields, r.Reference)
	}
	return all
}

func manifest(t *testing.T, db *journal.DB, run string) string {
	t.Helper()
	rec, err := db.Find(run)
	if err != nil {
		t.Fatal(err)
	}
	m, err := rec.Manifest(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return m.String()
}

// Nothing is left of what was fetched.
func TestFetch_Closed(t *testing.T) {
	connection, log := database(t), newLog(t)
	t.Setenv("TMPDIR", t.TempDir())
	fill(t, log, 1, 1)
	archive := opened(t, connection)
	push(t, &Pusher{Log: log, Archive: archive})
	fetched, err := archive.Fetch(t.Context(), Wanted{Names: []string{"last"}})
	if err != nil {
		t.Fatal(err)
	}
	if err := fetched.Close(); err != nil {
		t.Error(err)
	}
	if left, err := filepath.Glob(filepath.Join(os.Getenv("TMPDIR"), "makebreak-log-*")); err != nil || len(left) > 0 {
		t.Errorf("%v is left: %v", left, err)
	}
}
