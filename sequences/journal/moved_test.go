package journal

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A log whose files go while it is in use takes no further cycle, and those that it took
// can be found: in the file itself where that is there, else in one that is written for it.
func TestAppend_Gone(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, rescued string
		spoil         func(path string) error
	}{
		{"removed", "-rescued-1", os.Remove},
		{"moved", ".old", func(path string) error { return os.Rename(path, path+".old") }},
		{"its folder moved", "-rescued-1", func(path string) error {
			dir := filepath.Dir(path)
			return errors.Join(os.Rename(dir, dir+"2"), os.Mkdir(dir, 0o700))
		}},
		{"replaced", "-rescued-1", func(path string) error {
			return errors.Join(os.WriteFile(path+".new", []byte("another"), 0o600), os.Rename(path+".new", path))
		}},
		{"write-ahead file removed", "", func(path string) error { return os.Remove(path + "-wal") }},
		{"shared index removed", "", func(path string) error { return os.Remove(path + "-shm") }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "folder", "log.db")
			db, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			r := fill(t, db, 3)
			if err := tc.spoil(path); err != nil {
				t.Fatal(err)
			}
			before, _ := os.ReadFile(path)
			for n := 4; n <= 5; n++ {
				if err := r.Append(exampleCycle(n)); !errors.Is(err, ErrGone) || tc.rescued == "-rescued-1" && !strings.Contains(err.Error(), path+"-rescued-1, which is a log now") {
					t.Errorf("cycle %d: %v", n, err)
				}
			}
			if err := db.Close(); err != nil {
				t.Error(err)
			}
			if tc.rescued != "" {
				if after, _ := os.ReadFile(path); string(after) != string(before) {
					t.Error("what is in the log's place was changed")
				}
			}
			checkStored(t, openLog(t, path+tc.rescued), 4)
		})
	}
}

// Another log that has come into the place of one keeps all that is its own.
func TestAppend_GoneForAnother(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	one, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	r := fill(t, one, 3)
	for _, end := range fileEnds {
		if err := os.Remove(path + end); err != nil {
			t.Fatal(err)
		}
	}
	two := openLog(t, path)
	other := beginSoak(t, two, Retention{Last: 9})
	if err := other.Append(exampleCycle(1)); err != nil {
		t.Fatal(err)
	}
	if err := r.Append(exampleCycle(4)); !errors.Is(err, ErrGone) {
		t.Errorf("error %v", err)
	}
	if err := one.Close(); err != nil {
		t.Error(err)
	}
	for _, end := range fileEnds {
		if !exists(path + end) {
			t.Errorf("log.db%s is gone", end)
		}
	}
	if err := other.Append(exampleCycle(2)); err != nil {
		t.Error(err)
	}
	if rec, err := two.Find("last"); err != nil || rec.Cycles != 2 {
		t.Errorf("the other log: %v", err)
	}
	checkStored(t, openLog(t, path+"-rescued-1"), 4)
}

// A file counts as gone where the system says so, not where it cannot be looked for.
func TestNotThere(t *testing.T) {
	t.Parallel()
	for err, want := range map[error]bool{nil: false, syscall.ENOENT: true, syscall.ENOTDIR: true, syscall.ELOOP: true, syscall.ESTALE: true,
		syscall.EACCES: false, syscall.EIO: false, syscall.EINTR: false, syscall.ETIMEDOUT: false} {
		if err != nil {
			err = &os.PathError{Op: "stat", Path: "log.db", Err: err}
		}
		if got := notThere(err); got != want {
			t.Errorf("%v: %v, want %v", err, got, want)
		}
	}
}

// A new log is not mixed with the write-ahead file that another has left in its place.
func TestOpen_LeftBeside(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "log.db")
	old, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer old.Close()
	fill(t, old, 3)
	wal, err := os.ReadFile(path + "-wal")
	if err != nil || len(wal) == 0 {
		t.Fatalf("%d bytes written ahead: %v", len(wal), err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	db := openLog(t, path)
	if runs, err := db.Runs(); err != nil || len(runs) > 0 {
		t.Errorf("the new log holds %d runs: %v", len(runs), err)
	}
	if kept, err := os.ReadFile(path + "-wal-left-1"); err != nil || string(kept) != string(wal) {
		t.Errorf("of what was written ahead %d bytes of %d are kept: %v", len(kept), len(wal), err)
	}
}
