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
	for _, what := range []Copied{CopyMade, CopyThere} {
		taken, err := Import(t.Context(), file, log)
		if err != nil {
			t.Fatal(err)
		}
		if len(taken) != 2 || taken[0].Run != ids[0] || taken[1].Run != ids[1] || taken[0].What != what || taken[1].What != what {
			t.Errorf("taken %+v, want %v and %v", taken, ids, what)
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

// A file that was cut, has something after its end, or of which any byte is another, is refused,
// and nothing of it is taken.
func TestImport_NotWhole(t *testing.T) {
	t.Parallel()
	_, file, _ := exported(t)
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 2))
	tries := 200
	if testing.Short() {
		tries = 10
	}
	for i := range tries {
		changed := slices.Clone(whole)
		switch at := random.IntN(len(changed)); {
		case i%10 == 0:
			changed = changed[:at]
		case i%10 == 1:
			changed = append(changed, make([]byte, 1+at)...)
		default:
			changed[at] ^= 1 << random.IntN(8)
		}
		damaged, log := filepath.Join(t.TempDir(), "runs.db"), filepath.Join(t.TempDir(), "log.db")
		if err := os.WriteFile(damaged, changed, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Import(t.Context(), damaged, log); problem.KindOf(err) != problem.Input || exists(log) {
			t.Errorf("try %d: %v is of kind %v, and there is a log: %v", i, err, problem.KindOf(err), exists(log))
		}
	}
}

// Whoever looks into a file of exported runs leaves it as it is, and nobody can write into it.
func TestExport_LookedInto(t *testing.T) {
	t.Parallel()
	_, file, ids := exported(t)
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Open(file); !errors.Is(err, ErrExported) {
		t.Errorf("opened to write: %v", err)
	}
	db, err := OpenRead(file)
	if err != nil {
		t.Fatal(err)
	}
	if got := names(t, db); len(got) != len(ids) {
		t.Errorf("it holds %v, not %v", got, ids)
	}
	if err := db.SetField(ids[0], Field{Name: "job", Value: "1"}, time.Now(), "me"); !errors.Is(err, ErrReadOnly) {
		t.Errorf("a field was set: %v", err)
	}
	if err := db.Close(); err != nil {
		t.Error(err)
	}
	after, err := os.ReadFile(file)
	if err != nil || !slices.Equal(before, after) {
		t.Errorf("the file has changed: %v", err)
	}
	if all, _ := filepath.Glob(file + "?*"); len(all) > 0 {
		t.Errorf("beside it there are %v", all)
	}
}

// What no manifest has, as budgets' numbers, must be as it was exported, too, also in a file of an
// earlier program, which has a sum of its rows only. One that has none at all is taken.
func TestImport_RowsChanged(t *testing.T) {
	t.Parallel()
	_, file, _ := exported(t)
	const (
		earlier = "ALTER TABLE exported DROP COLUMN summed; DROP TABLE exported_rows;"
		point   = "UPDATE point SET numbers = zeroblob(length(numbers));"
	)
	for _, c := range []struct {
		name, before string
		summed       bool // as an earlier program did
		after        string
		refused      bool
	}{
		{name: "a point", after: point, refused: true},
		{name: "a figure", after: "UPDATE measurement SET numbers = zeroblob(96) WHERE numbers IS NULL", refused: true},
		{name: "the sum of rows", after: "UPDATE exported_rows SET sum = zeroblob(32)", refused: true},
		{name: "the sum of bytes", after: "UPDATE exported_rows SET file = zeroblob(32)", refused: true},
		{name: "no sums", after: "DROP TABLE exported_rows", refused: true},
		{name: "no mark of a sum", after: "ALTER TABLE exported DROP COLUMN summed", refused: true},
		{name: "earlier, whole", before: earlier, summed: true},
		{name: "earlier, a point", before: earlier, summed: true, after: point, refused: true},
		{name: "earlier still", before: earlier},
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
		_, err = pool.Exec(c.before)
		if err == nil && c.summed {
			var sum []byte
			if sum, err = rowSum(t.Context(), pool); err == nil {
				_, err = pool.Exec("CREATE TABLE exported_rows (sum BLOB NOT NULL) STRICT; INSERT INTO exported_rows VALUES (?)", sum)
			}
		}
		if err == nil {
			_, err = pool.Exec(c.after)
		}
		if err = errors.Join(err, pool.Close()); err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if _, err := Import(t.Context(), changed, filepath.Join(dir, "log.db")); errors.Is(err, ErrNotWhole) != c.refused || (err == nil) == c.refused {
			t.Errorf("%s: %v", c.name, err)
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

// The copy that a killed import has read from goes with the next one; one in use stays.
func TestImport_CopyLeft(t *testing.T) {
	_, file, _ := exported(t)
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	left := filepath.Join(temp, copyFolders+"left")
	if err := os.Mkdir(left, 0o700); err != nil {
		t.Fatal(err)
	}
	db, err := OpenRead(file) // by a copy
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Import(t.Context(), file, filepath.Join(t.TempDir(), "log.db")); err != nil {
		t.Fatal(err)
	}
	if all, _ := os.ReadDir(temp); len(all) != 1 || exists(left) {
		t.Errorf("there are %v, the copy that is read must be alone", all)
	}
	if _, err := db.Runs(); err != nil {
		t.Error(err)
	}
	if err := db.Close(); err != nil {
		t.Error(err)
	}
	if all, _ := os.ReadDir(temp); len(all) > 0 {
		t.Errorf("left: %v", all)
	}
}
