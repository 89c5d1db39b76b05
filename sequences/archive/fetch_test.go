package archive

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

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

// soaks stores soaks of several units by one sequence, which share a mark.
func soaks(t *testing.T, db *journal.DB, first, last int, mark string) {
	t.Helper()
	for i := first; i <= last; i++ {
		run := begin(t, db, i, true)
		add(t, run, 1, 2)
		finish(t, run, true)
		if err := db.SetField(run.ID(), journal.Field{Name: journal.TogetherField, Value: mark}, time.Unix(1_900_000_000, 0), ""); err != nil {
			t.Fatal(err)
		}
	}
}

// Soaks of several units at one rig are fetched by the mark that they share.
func TestFetch_Together(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	soaks(t, log, 1, 3, "both")
	soaks(t, log, 4, 4, "other")
	archive := opened(t, connection)
	push(t, &Pusher{Log: log, Archive: archive})
	fetched, err := archive.Fetch(t.Context(), Wanted{Names: []string{"both"}, Lives: true})
	if err != nil {
		t.Fatal(err)
	}
	defer fetched.Close()
	if runs, err := fetched.Runs(); err != nil || len(runs) != 3 {
		t.Errorf("%d soaks, 3 share the mark: %v", len(runs), err)
	}
}

// A soak's record that is served counts other units' soaks, also those that are pushed later.
func TestServed_Lives(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	soaks(t, log, 1, 1, "")
	p := &Pusher{Log: log, Archive: opened(t, connection)}
	push(t, p)
	s, err := Serve(t.Context(), connection)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	run := func() (there int) {
		t.Helper()
		runs, err := log.Runs()
		if err != nil {
			t.Fatal(err)
		}
		err = s.Run(t.Context(), runs[len(runs)-1].UUID, func(db *journal.DB, _ string) error {
			all, err := db.Runs()
			there = len(all)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return there
	}
	if n := run(); n != 1 {
		t.Errorf("%d soaks of 1", n)
	}
	soaks(t, log, 2, 3, "")
	push(t, p)
	for end := time.Now().Add(20 * time.Second); run() != 3; time.Sleep(100 * time.Millisecond) { // what is known is taken for true for some seconds
		if time.Now().After(end) {
			t.Fatalf("%d soaks of 3", run())
		}
	}
}

// Of other units' soaks a record is told how far they came, and their cycles stay there.
func TestFetch_Lives(t *testing.T) {
	t.Parallel()
	connection, log := database(t), newLog(t)
	var ids []string
	for i, cycles := range map[int]int{1: 3, 3: 1, 7: 2, 9: 9, 13: 6} {
		run := begin(t, log, i, true)
		add(t, run, 1, cycles)
		finish(t, run, true)
		ids = append(ids, run.ID())
	}
	archive := opened(t, connection)
	push(t, &Pusher{Log: log, Archive: archive, part: 4})
	lives := func(db *journal.DB, id string) (all []journal.BoardLife) {
		t.Helper()
		rec, err := db.Find(id)
		if err == nil {
			all, err = rec.LivesOfKind(100)
		}
		if err != nil {
			t.Fatal(err)
		}
		slices.SortFunc(all, func(a, b journal.BoardLife) int { return strings.Compare(a.Run, b.Run) })
		return all
	}
	failed := 0
	for _, id := range ids {
		fetched, err := archive.Fetch(t.Context(), Wanted{Names: []string{id}})
		if err != nil {
			t.Fatal(err)
		}
		want, got := lives(log, id), lives(fetched, id)
		if len(want) < 3 || !slices.Equal(want, got) {
			t.Errorf("run %s: %+v, must be %+v", id, got, want)
		}
		for _, l := range want {
			if l.Failed {
				failed++
			}
			rec, err := fetched.Find(l.Run)
			if err != nil {
				t.Fatal(err)
			}
			if rec.Unit != want[slices.IndexFunc(want, func(l journal.BoardLife) bool { return l.Run == id })].Unit && rec.Cycles != 0 {
				t.Errorf("run %s has come with %d cycles", l.Run, rec.Cycles)
			}
		}
		if err := fetched.Close(); err != nil {
			t.Error(err)
		}
	}
	if failed == 0 {
		t.Error("none has failed, which shows little")
	}
}
