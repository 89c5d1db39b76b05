package journal

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"makebreak/testdata/smalldisk"
)

// smallDisk mounts a disk of 4 MB for the test and returns its folder.
func smallDisk(t *testing.T) string {
	t.Helper()
	return smalldisk.Mount(t, smalldisk.Kind{Name: "tmpfs", Size: 4 << 20})
}

// A disk that runs full stops the run with a clear error and loses nothing.
func TestAppend_DiskFull(t *testing.T) {
	t.Parallel()
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
	t.Parallel()
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
	if left := filesIn(t, dir); !slices.Equal(left, []string{"ballast"}) {
		t.Errorf("beside the ballast: %q", left)
	}
}

func filesIn(t *testing.T, dir string) (names []string) {
	t.Helper()
	all, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range all {
		names = append(names, f.Name())
	}
	return names
}

// Where the disk has no room for what a removed log held, that is said, and no part of it
// is left.
func TestAppend_GoneDiskFull(t *testing.T) {
	t.Parallel()
	dir := smallDisk(t)
	path := filepath.Join(dir, "log.db")
	db, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	r := fill(t, db, 30)
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	fillDisk(t, dir)
	if err := r.Append(exampleCycle(31)); err == nil || !errors.Is(err, ErrGone) && !errors.Is(err, ErrFull) {
		t.Errorf("error %v", err)
	}
	for _, name := range filesIn(t, dir) {
		if strings.Contains(name, "rescued") {
			t.Errorf("%s is left", name)
		}
	}
}

// A run that the other log's disk has no room for leaves nothing there: no log where none
// was, and one that was as it was.
func TestCopyRun_DiskFull(t *testing.T) {
	t.Parallel()
	dir := smallDisk(t)
	db := newLog(t)
	day := time.Unix(1_800_000_000, 0).UTC()
	small, large := fillRun(t, db, 20, day), fillRun(t, db, 3000, day.AddDate(0, 0, 1))
	was := contents(t, db, large)
	path := filepath.Join(dir, "other.db")
	refused := func() {
		t.Helper()
		if _, err := db.CopyRun(large, path); !errors.Is(err, ErrFull) || strings.Contains(err.Error(), "stays there") {
			t.Errorf("error %v, want ErrFull and nothing left", err)
		}
	}
	refused()
	if left := filesIn(t, dir); len(left) > 0 {
		t.Errorf("where no log was: %q", left)
	}
	if _, err := db.CopyRun(small, path); err != nil {
		t.Fatal(err)
	}
	before := fileSize(path)
	refused()
	other := openLog(t, path)
	if all := names(t, other); !slices.Equal(all, []string{small}) || !slices.Equal(contents(t, other, small), contents(t, db, small)) {
		t.Errorf("the other log holds %q", all)
	}
	if after := fileSize(path); after > before+64<<10 {
		t.Errorf("the other log has grown from %d to %d bytes", before, after)
	}
	if !slices.Equal(was, contents(t, db, large)) {
		t.Error("the run is not as it was")
	}
}

func TestOpen_ReadOnly(t *testing.T) {
	t.Parallel()
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

// A disk without a byte free is pruned, again and again: runs and captures go, the reserve
// that helped is made again, and later runs have room.
func TestDropRun_DiskFull(t *testing.T) {
	t.Parallel()
	dir := smallDisk(t)
	path := filepath.Join(dir, "log.db")
	for round := range 4 {
		db, err := OpenToPrune(path)
		if err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		r := fill(t, db, 1)
		stored, err := fillUp(r, 2)
		if !errors.Is(err, ErrFull) {
			t.Fatalf("round %d: after %d cycles: %v, want ErrFull", round, stored, err)
		}
		if stored < 100 {
			t.Errorf("round %d: only %d cycles had room", round, stored)
		}
		_ = db.Close() // what is in the write-ahead file may have no room in the log
		fillDisk(t, dir)

		if db, err = OpenToPrune(path); err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		if round%2 == 0 {
			if _, err := db.DropCaptures(holding(t, db, r.ID())); err != nil {
				t.Fatalf("round %d: %v", round, err)
			}
		}
		if _, err := db.DropRun(holding(t, db, r.ID())); err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		if err := db.RestoreReserve(); err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		if err := db.Check(); err != nil {
			t.Error(err)
		}
		if err := db.Close(); err != nil {
			t.Error(err)
		}
		if n := allocated(reserveOf(path)); n < 512<<10 {
			t.Errorf("round %d: a reserve of %d bytes", round, n)
		}
		if err := os.Remove(filepath.Join(dir, "others")); err != nil {
			t.Fatal(err)
		}
	}
}

// fillDisk leaves not a byte free.
func fillDisk(t *testing.T, dir string) {
	t.Helper()
	f, err := os.OpenFile(filepath.Join(dir, "others"), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	for size := 1 << 16; size > 0; {
		if _, err := f.Write(make([]byte, size)); err != nil {
			size /= 2
		}
	}
	_ = f.Close()
	if free, known := freeSpace(dir); !known || free != 0 {
		t.Fatalf("%d bytes are free", free)
	}
}

// Without a reserve a full disk cannot be pruned: the run stays as it was, and what can
// be done is said.
func TestDropRun_NoReserve(t *testing.T) {
	t.Parallel()
	dir := smallDisk(t)
	path := filepath.Join(dir, "log.db")
	db := openLog(t, path)
	id := fillRun(t, db, 200, time.Unix(1_800_000_000, 0))
	was := contents(t, db, id)
	releaseReserve(path, reserveBytes)
	db.emptyWAL()
	fillDisk(t, dir)
	_, err := db.DropRun(holding(t, db, id))
	if !errors.Is(err, ErrFull) || !strings.Contains(err.Error(), "free 4 MB on that disk") {
		t.Errorf("error %v", err)
	}
	if !slices.Equal(was, contents(t, db, id)) {
		t.Error("the run is not as it was")
	}
}

// However often a run is begun and ended on a full disk, enough of the reserve stays for
// the disk to be pruned.
func TestReserve_NotUsedUp(t *testing.T) {
	t.Parallel()
	dir := smallDisk(t)
	path := filepath.Join(dir, "log.db")
	db := openLog(t, path)
	id := fillRun(t, db, 200, time.Unix(1_800_000_000, 0))
	before := allocated(reserveOf(path))
	for range 100 {
		othersTakeIt := func() error {
			fillDisk(t, dir)
			return ErrFull
		}
		if err := withReserve(path, reserveFloor(path), othersTakeIt); !errors.Is(err, ErrFull) {
			t.Fatal(err)
		}
	}
	if after := allocated(reserveOf(path)); after >= before || after < 512<<10 {
		t.Errorf("of a reserve of %d bytes are left %d", before, after)
	}
	if _, err := db.DropRun(holding(t, db, id)); err != nil {
		t.Error(err)
	}
}
