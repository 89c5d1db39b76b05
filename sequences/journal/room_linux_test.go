package journal

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"makebreak/testdata/smalldisk"
)

// A disk that has no inode left lets a log be opened all the same, with what is held beside
// it; runs go on, are removed, and the next opening finds inodes held again.
func TestOpen_NoInodes(t *testing.T) {
	t.Parallel()
	for _, k := range []smalldisk.Kind{
		{Name: "tmpfs", Size: 8 << 20, Options: "nr_inodes=40"},
		{Name: "ext4", Size: 8 << 20, Mkfs: []string{"mkfs.ext4", "-q", "-F", "-b", "1024", "-N", "48"}},
	} {
		t.Run(k.Name, func(t *testing.T) {
			dir := smalldisk.Mount(t, k)
			path := filepath.Join(dir, "log.db")
			db := reopened(t, path)
			r := fill(t, db, 5)
			if err := r.Finish(RunEnd{Ended: time.Unix(1_800_000_100, 0), Reason: "interrupted"}); err != nil {
				t.Fatal(err)
			}
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			for n := range 4 {
				smalldisk.FillInodes(t, dir)
				if _, err := os.Create(filepath.Join(dir, "one more")); err == nil {
					t.Fatal("there is an inode")
				}
				db := reopened(t, path)
				r, err := db.Resume("last", time.Unix(1_900_000_000, 0), "")
				if err != nil {
					t.Fatal(err)
				}
				if err := r.Append(exampleCycle(6 + n)); err != nil {
					t.Fatal(err)
				}
				if err := db.Close(); err != nil {
					t.Fatal(err)
				}
			}
			smalldisk.FillInodes(t, dir)
			db, err := OpenToPrune(path)
			if err != nil {
				t.Fatal(err)
			}
			if gone, err := db.DropRun(holding(t, db, r.ID())); err != nil || gone.Cycles != 9 {
				t.Errorf("removed %+v: %v", gone, err)
			}
			if err := errors.Join(db.RestoreReserve(), db.Close()); err != nil {
				t.Error(err)
			}
		})
	}
}

// Without anything held, and on a disk that has become read-only, what is wrong is said.
func TestOpen_WhyNot(t *testing.T) {
	t.Parallel()
	dir := smalldisk.Mount(t, smalldisk.Kind{Name: "tmpfs", Size: 8 << 20, Options: "nr_inodes=40"})
	path := filepath.Join(dir, "log.db")
	db := reopened(t, path)
	fill(t, db, 5)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	releaseInodes(path)
	smalldisk.FillInodes(t, dir)
	db, err := Open(path)
	if err == nil {
		db.Close()
	}
	if !errors.Is(err, ErrFull) || !strings.Contains(err.Error(), "no inode left for another file") {
		t.Errorf("without an inode: %v", err)
	}
}

// The shared index has all its blocks on the disk once a log is open, so that a disk which
// fills up later gives an error where it is written, and no fault.
func TestOpen_SharedIndexAllocated(t *testing.T) {
	t.Parallel()
	dir := smalldisk.Mount(t, smalldisk.Ext4x1k)
	path := filepath.Join(dir, "log.db")
	openLog(t, path)
	if has, size := allocated(path+"-shm"), fileSize(path+"-shm"); has != size || size == 0 {
		t.Errorf("of %d bytes %d are on the disk", size, has)
	}
}

// On a disk of small blocks that is full a log is opened, written until no room is left,
// and opened again, as often as that is tried.
func TestOpen_SmallBlocksFull(t *testing.T) {
	t.Parallel()
	dir := smalldisk.Mount(t, smalldisk.Ext4x1k)
	path := filepath.Join(dir, "log.db")
	db := reopened(t, path)
	r := fill(t, db, 20)
	if err := errors.Join(r.Finish(RunEnd{Ended: time.Unix(1_800_000_100, 0), Reason: "interrupted"}), db.Close()); err != nil {
		t.Fatal(err)
	}
	smalldisk.Fill(t, filepath.Join(dir, "others"), 0)
	before, stored := allocated(reserveOf(path)), 20
	for range 6 {
		db := reopened(t, path)
		r, err := db.Resume("last", time.Unix(1_900_000_000, 0), "")
		if err != nil {
			t.Fatal(err)
		}
		last, err := fillUp(r, stored+1)
		if !errors.Is(err, ErrFull) {
			t.Fatalf("error %v, want ErrFull", err)
		}
		stored = last
		if err := r.Finish(RunEnd{Ended: time.Unix(1_900_000_100, 0), Reason: err.Error()}); err != nil {
			t.Fatal(err)
		}
		if rec, err := db.Find("last"); err != nil || rec.Ended.IsZero() || rec.Cycles == 0 {
			t.Errorf("%+v: %v", rec, err)
		}
		_ = db.Close()
	}
	if after := allocated(reserveOf(path)); after < before/2 {
		t.Errorf("of a reserve of %d bytes are left %d", before, after)
	}
}
