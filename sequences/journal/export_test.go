package journal

import (
	"context"
	"database/sql"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/rig/problem"
)

// exported is a log with two runs, and a file that both were exported into.
func exported(t *testing.T) (db *DB, file string, ids []string) {
	t.Helper()
	dir := t.TempDir()
	db, file = openLog(t, filepath.Join(dir, "log.db")), filepath.Join(dir, "runs.db")
	day := time.Unix(1_800_000_000, 0).UTC()
	ids = []string{fillRun(t, db, 30, day), fillRun(t, db, 20, day.AddDate(0, 0, 30))}
	if err := db.Export(t.Context(), ids, file); err != nil {
		t.Fatal(err)
	}
	return db, file, ids
}

// Runs that were exported come whole into another log, under their names, once and again. The
// file has nothing beside it and stays as it is.
func TestImport(t *testing.T) {
	t.Parallel()
	db, file, ids := exported(t)
	if beside, _ := filepath.Glob(file + "?*"); len(beside) > 0 {
		t.Errorf("beside the file there are %v", beside)
	}
	if new, _ := filepath.Glob(filepath.Join(filepath.Dir(file), ".makebreak*")); len(new) > 0 {
		t.Errorf("%v is left", new)
	}
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(file, 0o400); err != nil {
		t.Fatal(err)
	}
	log := filepath.Join(t.TempDir(), "other", "log.db")
	for range 2 {
		taken, err := Import(t.Context(), file, log)
		if err != nil {
			t.Fatal(err)
		}
		if len(taken) != 2 || taken[0].Run != ids[0] || taken[1].Run != ids[1] {
			t.Errorf("taken %+v, want %v", taken, ids)
		}
	}
	other := openLog(t, log)
	for _, id := range ids {
		if !slices.Equal(contents(t, db, id), contents(t, other, id)) {
			t.Errorf("run %s is not as it was", id)
		}
	}
	if got := names(t, other); len(got) != 2 {
		t.Errorf("the log has %v", got)
	}
	if err := other.Check(); err != nil {
		t.Error(err)
	}
	after, err := os.ReadFile(file)
	if err != nil || !slices.Equal(before, after) {
		t.Errorf("the file has changed: %v", err)
	}
}

// A file that was cut, or of which a byte is another, is refused, or what comes of it is what
// was exported: the byte was of no meaning. Nothing of one that is refused is taken.
func TestImport_NotWhole(t *testing.T) {
	t.Parallel()
	db, file, ids := exported(t)
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{contents(t, db, ids[0]), contents(t, db, ids[1])}
	random := rand.New(rand.NewPCG(1, 2))
	tries := 60
	if testing.Short() {
		tries = 10
	}
	refused := 0
	for i := range tries {
		changed := slices.Clone(whole)
		if i%5 == 0 {
			changed = changed[:random.IntN(len(changed))]
		} else {
			changed[random.IntN(len(changed))] ^= 1 << random.IntN(8)
		}
		damaged, log := filepath.Join(t.TempDir(), "runs.db"), filepath.Join(t.TempDir(), "log.db")
		if err := os.WriteFile(damaged, changed, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Import(t.Context(), damaged, log); err != nil {
			refused++
			if exists(log) {
				t.Fatalf("try %d: refused (%v), and there is a log", i, err)
			}
			if k := problem.KindOf(err); k != problem.Input {
				t.Errorf("try %d: %v is of kind %v", i, err, k)
			}
			continue
		}
		other := openLog(t, log)
		for k, id := range ids {
			if !slices.Equal(want[k], contents(t, other, id)) {
				t.Fatalf("try %d: a changed file was taken, and run %s is another", i, id)
			}
		}
	}
	if refused < tries/2 {
		t.Errorf("%d of %d were refused, which shows little", refused, tries)
	}
	t.Logf("%d of %d changed files refused", refused, tries)
}

// What no manifest has, as budgets' numbers, must be as it was exported, too. A file of an earlier
// program, which has no sum of its rows, is taken.
func TestImport_RowsChanged(t *testing.T) {
	t.Parallel()
	_, file, _ := exported(t)
	for statement, refused := range map[string]bool{
		"UPDATE point SET numbers = zeroblob(length(numbers))":                true,
		"UPDATE measurement SET numbers = zeroblob(96) WHERE numbers IS NULL": true,
		"UPDATE exported_rows SET sum = zeroblob(32)":                         true,
		"DROP TABLE exported_rows":                                            false,
	} {
		dir := t.TempDir()
		changed := filepath.Join(dir, "runs.db")
		b, err := os.ReadFile(file)
		if err == nil {
			err = os.WriteFile(changed, b, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
		pool, err := sql.Open("sqlite", changed)
		if err != nil {
			t.Fatal(err)
		}
		_, err = pool.Exec(statement)
		if err = errors.Join(err, pool.Close()); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
		if _, err := Import(t.Context(), changed, filepath.Join(dir, "log.db")); errors.Is(err, ErrNotWhole) != refused || (err == nil) == refused {
			t.Errorf("%s: %v", statement, err)
		}
	}
}

// What is not a file of exported runs, what is there already, and an end in between.
func TestExport_Refused(t *testing.T) {
	t.Parallel()
	db, file, ids := exported(t)
	if err := db.Export(t.Context(), ids, file); !errors.Is(err, ErrIsThere) {
		t.Errorf("a file that is there: %v", err)
	}
	other := filepath.Join(t.TempDir(), "x.db")
	if err := db.Export(t.Context(), []string{ids[0], "2020-01-01.1"}, other); !errors.Is(err, ErrNoRun) || exists(other) {
		t.Errorf("an unknown run: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := db.Export(ctx, ids, other); !errors.Is(err, context.Canceled) || exists(other) {
		t.Errorf("interrupted: %v", err)
	}
	if left, _ := os.ReadDir(filepath.Dir(other)); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
	if _, err := Import(t.Context(), db.Path(), other); problem.KindOf(err) != problem.Input || exists(other) {
		t.Errorf("an ordinary log: %v", err)
	}
	if _, err := Import(t.Context(), file, file); err == nil {
		t.Error("a file was taken into itself")
	}
}

// A run of which only a part is here is refused by the name of the file that was asked for, and
// nothing is written.
func TestExport_Part(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	db := openLog(t, filepath.Join(dir, "log.db"))
	id := fillRun(t, db, 3000, time.Unix(1_800_000_000, 0))
	removeHalf(t, db, 1)
	file := filepath.Join(dir, "runs.db")
	err := db.Export(t.Context(), []string{id}, file)
	if !errors.Is(err, ErrPart) || exists(file) || strings.Contains(err.Error(), "--into") || strings.Contains(err.Error(), newFolders) {
		t.Errorf("%v", err)
	}
	err = newFile(file, func(made string) error { return failAt(made, "copy", ErrFull) })
	if !errors.Is(err, ErrFull) || strings.Contains(err.Error(), newFolders) || !strings.Contains(err.Error(), file) {
		t.Errorf("%v", err)
	}
}
