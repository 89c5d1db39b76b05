package journal

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// smallDisk mounts a file system of its own in memory, which needs a privileged
// user. Without one the test is left out, unless the environment demands all.
func smallDisk(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=4m"); err != nil {
		if os.Getenv("MAKEBREAK_REQUIRE_TOOLS") == "1" {
			t.Fatalf("cannot mount a small disk: %v", err)
		}
		t.Skipf("LEFT OUT: cannot mount a small disk: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	return dir
}

// A disk that runs full stops the run with a clear error and loses nothing.
func TestAppend_DiskFull(t *testing.T) {
	path := filepath.Join(smallDisk(t), "log.db")
	db := openLog(t, path)
	stored, err := fillUp(fill(t, db, 1), 2)
	if !errors.Is(err, ErrFull) {
		t.Fatalf("after %d cycles: %v, want ErrFull", stored, err)
	}
	checkStored(t, db, stored)
	if stored < 50 {
		t.Errorf("only %d cycles fit into 4 MiB", stored)
	}
}

func TestOpen_DiskFull(t *testing.T) {
	dir := smallDisk(t)
	if err := os.WriteFile(filepath.Join(dir, "ballast"), make([]byte, 4<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	db, err := Open(filepath.Join(dir, "log.db"))
	if err == nil {
		db.Close()
	}
	if !errors.Is(err, ErrFull) {
		t.Errorf("error %v, want ErrFull", err)
	}
}

func TestOpen_ReadOnly(t *testing.T) {
	dir := smallDisk(t)
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{filepath.Join(dir, "log.db"), filepath.Join(dir, "folder", "log.db")} {
		db, err := Open(path)
		if err == nil {
			db.Close()
		}
		if !errors.Is(err, ErrReadOnly) {
			t.Errorf("%s: error %v, want ErrReadOnly", path, err)
		}
	}
}
