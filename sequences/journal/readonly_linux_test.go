package journal

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"testing/fstest"
	"time"
)

// readOnly makes a small disk one that cannot be written.
func readOnly(t *testing.T, dir string) {
	t.Helper()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
}

// leave puts the files of a log with some cycles into a folder: as it is closed, as a killed
// program leaves it, or as it is after a copy without the shared index.
func leave(t *testing.T, dir string, ends ...string) {
	t.Helper()
	at := filepath.Join(t.TempDir(), "log.db")
	db, err := Open(at)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	fill(t, db, 3)
	if len(ends) == 1 { // closed
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}
	for _, end := range ends {
		if err := copyFile(at+end, filepath.Join(dir, "log.db"+end)); err != nil {
			t.Fatal(err)
		}
	}
}

// A log on a disk that cannot be written is read whole: closed or left by a killed program,
// with the last cycles in its write-ahead file. It cannot be changed, and nothing is
// left behind.
func TestOpenRead_ReadOnlyDisk(t *testing.T) {
	for name, ends := range map[string][]string{"closed": {""}, "killed": {"", "-wal", "-shm"}, "killed and copied": {"", "-wal"}} {
		t.Run(name, func(t *testing.T) {
			temp := t.TempDir()
			t.Setenv("TMPDIR", temp)
			dir := smallDisk(t)
			leave(t, dir, ends...)
			readOnly(t, dir)
			path := filepath.Join(dir, "log.db")
			db, err := OpenRead(path)
			if err != nil {
				t.Fatal(err)
			}
			checkStored(t, db, 3)
			if db.Path() != path {
				t.Errorf("it is said to be %s", db.Path())
			}
			if _, err := db.Begin(RunInfo{Started: time.Unix(0, 0)}); !errors.Is(err, ErrReadOnly) {
				t.Errorf("a run begins: %v", err)
			}
			if _, err := db.DropRun(holding(t, db, names(t, db)[0])); !errors.Is(err, ErrReadOnly) {
				t.Errorf("a run is removed: %v", err)
			}
			if _, err := db.Shrink(); !errors.Is(err, ErrReadOnly) {
				t.Errorf("it shrinks: %v", err)
			}
			if err := db.Close(); err != nil {
				t.Error(err)
			}
			if left, err := filepath.Glob(filepath.Join(temp, "makebreak-log-*")); len(left) != 0 || err != nil {
				t.Errorf("left behind: %v, %v", left, err)
			}
		})
	}
}

// A log of an older program is read on such a disk, too.
func TestOpenRead_ReadOnlyOld(t *testing.T) {
	t.Parallel()
	dir := smallDisk(t)
	path := filepath.Join(dir, "log.db")
	first, err := migrations.ReadFile("migration/0001_log.sql")
	if err != nil {
		t.Fatal(err)
	}
	oldLog(t, path, fstest.MapFS{"migration/0001_log.sql": {Data: first}})
	readOnly(t, dir)
	db, err := OpenRead(path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if rec, err := db.Find("last"); err != nil || rec.Unit != "U" || rec.Soak != nil {
		t.Errorf("the run: %+v, %v", rec, err)
	}
}

// Where there is no room for a copy, that is said.
func TestOpenRead_NoRoomToCopy(t *testing.T) {
	dir, full := smallDisk(t), smallDisk(t)
	leave(t, dir, "", "-wal")
	readOnly(t, dir)
	fillDisk(t, full)
	t.Setenv("TMPDIR", full)
	db, err := OpenRead(filepath.Join(dir, "log.db"))
	if err == nil {
		db.Close()
	}
	if !errors.Is(err, ErrFull) {
		t.Errorf("error %v, want ErrFull", err)
	}
	if left, err := filepath.Glob(filepath.Join(full, "makebreak-log-*")); err != nil || len(left) > 0 {
		t.Errorf("left in the folder for temporary files: %q, %v", left, err)
	}
}

// A log that another program is writing can be read through a mount that cannot be written,
// and what is written meanwhile is seen.
func TestOpenRead_Live(t *testing.T) {
	t.Parallel()
	dir, through := t.TempDir(), t.TempDir()
	if err := syscall.Mount(dir, through, "", syscall.MS_BIND, ""); err != nil {
		t.Skipf("LEFT OUT: cannot mount a folder a second time: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(through, 0); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	if err := syscall.Mount("", through, "", syscall.MS_BIND|syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	db := openLog(t, filepath.Join(dir, "log.db")) // after the mount, so that it is closed before
	r := fill(t, db, 3)
	reader, err := OpenRead(filepath.Join(through, "log.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	checkStored(t, reader, 3)
	if err := r.Append(exampleCycle(4)); err != nil {
		t.Fatal(err)
	}
	checkStored(t, reader, 4)
}

// A file that is no log is told as that, and one that is not there is not made.
func TestOpenRead_NoLog(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, "log.db")
	if db, err := OpenRead(path); err == nil {
		db.Close()
		t.Error("a log that is not there is opened")
	}
	if exists(path) {
		t.Error("it was made")
	}
	if err := os.WriteFile(path, []byte("Not a log, and worth keeping."), 0o400); err != nil {
		t.Fatal(err)
	}
	if db, err := OpenRead(path); !errors.Is(err, ErrNotLog) {
		if err == nil {
			db.Close()
		}
		t.Errorf("no log: %v", err)
	}
}
