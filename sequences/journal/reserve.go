package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
)

// A log that has filled its disk could not even be pruned, since removing writes, too. So
// a reserve stands beside it: a file that holds nothing. Pruning releases it, and a run that
// ends releases a little of it to store how it ended. It is made when a run begins or goes
// on, and again when pruning has made room.

const (
	// reserveBytes let the write-ahead file be brought into the log, which may make that
	// larger by walPages, and something be removed by it then.
	reserveBytes = 4 << 20
	// reserveShare is which part of the free room the reserve takes at most.
	reserveShare = 3
	// walPages is from how many pages on the write-ahead file is brought into the log.
	walPages = 256
)

func reserveOf(path string) string { return path + "-reserve" }

// heldInodes are files beside the reserve, which are empty: each holds a place for a file that
// SQLite makes when a log is opened, where a disk has no inode left.
func heldInodes(path string) []string {
	return []string{reserveOf(path) + "-2", reserveOf(path) + "-3"}
}

// makeReserve makes the reserve, or makes it larger, where there is room. It reports no
// error, since a log is as good without one.
func makeReserve(path string) {
	holdInodes(path)
	has := allocated(reserveOf(path))
	free, known := freeSpace(filepath.Dir(path))
	if want := min(reserveBytes, (free+has)/reserveShare); known && want > has {
		_ = growReserve(path, has, want)
	}
}

// growReserve makes a reserve that has some bytes on the disk larger, or leaves it as it is.
func growReserve(path string, has, want int64) error {
	f, err := os.OpenFile(reserveOf(path), os.O_WRONLY|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	matchLog(f, path)
	if err = allocate(f, want); err != nil {
		_ = f.Truncate(has)
	}
	return errors.Join(err, f.Close())
}

// holdInodes makes the files that hold inodes, where the disk counts them.
func holdInodes(path string) {
	if !countsInodes(filepath.Dir(path)) {
		return
	}
	for _, name := range heldInodes(path) {
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			continue
		}
		matchLog(f, path)
		_ = f.Close()
	}
}

// holdsInodes reports whether there is a file that holds an inode.
func holdsInodes(path string) bool {
	return slices.ContainsFunc(heldInodes(path), exists)
}

// releaseInodes removes the files that hold inodes, and reports whether there was one.
func releaseInodes(path string) (some bool) {
	for _, name := range heldInodes(path) {
		some = os.Remove(name) == nil || some
	}
	return some
}

// reserveStep is enough of the reserve to open a log and to store how a run ended, on most
// file systems. At most reserveSteps steps are released for that, each twice the one before.
const (
	reserveStep  = 64 << 10
	reserveSteps = 4
)

// releaseReserve releases so many bytes of the reserve, and reports whether there were any.
func releaseReserve(path string, bytes int64) bool {
	name := reserveOf(path)
	has := allocated(name)
	var err error
	switch {
	case has == 0:
		return false
	case has <= bytes:
		err = os.Remove(name)
	default:
		if err = os.Truncate(name, has-bytes); err != nil {
			err = os.Remove(name) // on some file systems a part less takes room first
		}
	}
	syncDisk(filepath.Dir(path)) // some file systems give the room back only then
	return err == nil
}

// reserveFloor is how much of a reserve must stay, so that it still serves for pruning: half of it,
// on a small disk an eighth of the disk. A service that is started on a full disk again and
// again must not use it up.
func reserveFloor(path string) int64 { return min(reserveBytes/2, diskSize(filepath.Dir(path))/8) }

// withReserve does something again with some of the reserve released, down to a floor, where
// the disk is full. What was released and not used is reserved again.
func withReserve(path string, floor int64, do func() error) error {
	err := do()
	if !errors.Is(err, ErrFull) {
		return err
	}
	if noInodes(filepath.Dir(path)) && releaseInodes(path) {
		err = do()
	}
	had := allocated(reserveOf(path))
	for n := 0; n < reserveSteps && errors.Is(err, ErrFull); n++ {
		step := int64(reserveStep) << n
		if allocated(reserveOf(path))-step < floor || !releaseStep(path, step) {
			break
		}
		err = do()
	}
	refillReserve(path, had)
	return err
}

// releaseStep releases so many bytes of the reserve, or all of it where its file system gives
// back no part of what was reserved at once.
func releaseStep(path string, bytes int64) bool {
	dir := filepath.Dir(path)
	before, _ := freeSpace(dir)
	if !releaseReserve(path, bytes) {
		return false
	}
	if after, known := freeSpace(dir); known && after < before+bytes/2 {
		return releaseReserve(path, reserveBytes)
	}
	return true
}

// refillReserve gives a reserve back what is left of the bytes that it had.
func refillReserve(path string, had int64) {
	const block = 4 << 10
	for {
		has := allocated(reserveOf(path))
		free, known := freeSpace(filepath.Dir(path))
		want := min(had, has+free)
		if !known || want < has+block || growReserve(path, has, want) == nil {
			return
		}
		had = want - max(block, (want-has)/8)
	}
}

// emptyWAL brings what is in the write-ahead file into the log and gives the file's room
// back, unless somebody reads. What fails now is tried again with the next cycle.
func (db *DB) emptyWAL() {
	db.mu.Lock()
	defer db.mu.Unlock()
	if db.writable() == nil {
		_, _ = db.write.ExecContext(context.Background(), "PRAGMA wal_checkpoint(TRUNCATE)")
	}
}

// RestoreReserve makes the reserve again after something was removed. On a disk that is
// full the log gives some of its free pages back for that.
func (db *DB) RestoreReserve() error {
	if allocated(reserveOf(db.full)) < reserveBytes {
		err := db.giveBack(func() bool {
			free, known := freeSpace(filepath.Dir(db.full))
			return known && free < reserveShare*reserveBytes
		})
		if err != nil {
			return db.fail("give room back", err)
		}
	}
	makeReserve(db.full)
	return nil
}

// giveBackPages is how many pages are given back in one transaction. Each may be swapped
// with another, so that some four are written for it.
const giveBackPages = 64

// giveBack gives free pages at the log's end back to the disk, while more are wanted. A
// log that was begun by a program that did not provide for it has none to give.
func (db *DB) giveBack(more func() bool) error {
	var last int64 = -1
	for more() {
		free, err := db.freePages()
		if err != nil || free == 0 || free == last {
			return err
		}
		last = free
		if err := db.vacuumSome(); err != nil {
			return err
		}
		db.emptyWAL()
	}
	return nil
}

func (db *DB) freePages() (n int64, err error) {
	err = db.read.QueryRow("PRAGMA freelist_count").Scan(&n)
	return n, err
}

// vacuumSome steps through all rows of the pragma: each gives back one page.
func (db *DB) vacuumSome() error {
	db.mu.Lock()
	defer db.mu.Unlock()
	if err := db.writable(); err != nil {
		return err
	}
	rows, err := db.write.QueryContext(context.Background(), fmt.Sprintf("PRAGMA incremental_vacuum(%d)", giveBackPages))
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
	}
	return rows.Err()
}
