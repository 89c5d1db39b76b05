package journal

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A backup that is made while the log is written holds the log as it was at an instant: all
// cycles up to one, and what was stored before it began.
func TestBackup(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	db := openLog(t, filepath.Join(dir, "log.db"))
	first := fillRun(t, db, 200, time.Unix(1_800_000_000, 0).UTC())
	writer := openLog(t, db.Path())
	stop, done := make(chan struct{}), make(chan error)
	run := fill(t, writer, 1)
	go func() {
		for n := 2; ; n++ {
			select {
			case <-stop:
				done <- nil
				return
			default:
			}
			if err := run.Append(exampleCycle(n)); err != nil {
				done <- err
				return
			}
		}
	}()
	var cycles []int
	for _, name := range []string{"a.db", "b.db", "c.db"} {
		before, err := db.Find(run.ID())
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, name)
		if err := db.Backup(t.Context(), path); err != nil {
			t.Fatal(err)
		}
		if beside, _ := filepath.Glob(path + "-*"); len(beside) > 0 {
			t.Errorf("beside the backup there are %v", beside)
		}
		copied := openLog(t, path)
		if err := copied.Check(); err != nil {
			t.Error(err)
		}
		rec, err := copied.Find(run.ID())
		if err != nil {
			t.Fatal(err)
		}
		if rec.Cycles < before.Cycles {
			t.Errorf("%d cycles in the backup, %d were stored before it", rec.Cycles, before.Cycles)
		}
		cycles = append(cycles, rec.Cycles)
		if got, want := len(contents(t, copied, first)), len(contents(t, db, first)); got != want {
			t.Errorf("%d rows of the first run, want %d", got, want)
		}
	}
	close(stop)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	t.Logf("cycles of the run in the backups: %v", cycles)
}

func TestBackup_Refused(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	db := openLog(t, filepath.Join(dir, "log.db"))
	fillRun(t, db, 5, time.Unix(1_800_000_000, 0).UTC())
	if err := db.Backup(t.Context(), db.Path()); !errors.Is(err, ErrIsThere) {
		t.Errorf("the log itself: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	other := filepath.Join(dir, "other.db")
	if err := db.Backup(ctx, other); !errors.Is(err, context.Canceled) || exists(other) {
		t.Errorf("interrupted: %v", err)
	}
	if err := db.Backup(t.Context(), filepath.Join(dir, "none", "other.db")); !errors.Is(err, ErrAccess) {
		t.Errorf("no such folder: %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".makebreak*")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
}

// What a killed program has left goes with the next file beside it; what another one is making
// stays.
func TestBackup_Left(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	db := openLog(t, filepath.Join(dir, "log.db"))
	fillRun(t, db, 5, time.Unix(1_800_000_000, 0).UTC())
	left := filepath.Join(dir, newFolders+"left")
	if err := os.Mkdir(left, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(left, "other.db"), []byte("half a log"), 0o600); err != nil {
		t.Fatal(err)
	}
	making, lock, err := newFolder(dir, newFolders)
	if err != nil {
		t.Fatal(err)
	}
	defer lock.Close()
	if err := db.Backup(t.Context(), filepath.Join(dir, "other.db")); err != nil {
		t.Fatal(err)
	}
	if !exists(making) || exists(left) {
		t.Errorf("being made: %v, left: %v", exists(making), exists(left))
	}
}
