package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
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

// makeReserve makes the reserve, or makes it larger, where there is room. It reports no
// error, since a log is as good without one.
func makeReserve(path string) {
	name := reserveOf(path)
	has := allocated(name)
	free, known := freeSpace(filepath.Dir(path))
	want := min(reserveBytes, (free+has)/reserveShare)
	if !known || want <= has {
		return
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE, 0o600)
	if err != nil {
		return
	}
	matchLog(f, path)
	if allocate(f, want) != nil {
		_ = f.Truncate(has)
	}
	_ = f.Close()
}

// reserveStep is enough of the reserve to open a log and to store how a run ended. At most
// reserveSteps of them are released for that.
const (
	reserveStep  = 64 << 10
	reserveSteps = 4
)

// releaseReserve releases so many bytes of the reserve, and reports whether there were any.
func releaseReserve(path string, bytes int64) bool {
	name := reserveOf(path)
	has := allocated(name)
	switch {
	case has == 0:
		return false
	case has <= bytes:
		return os.Remove(name) == nil
	}
	return os.Truncate(name, has-bytes) == nil
}

// canSpare reports whether the reserve can lose a step and still serve for pruning: half of
// it may go, and on a small disk what is beyond an eighth of the disk. A service that is
// started on a full disk again and again must not use it up.
func canSpare(path string) bool {
	size := diskSize(filepath.Dir(path))
	return allocated(reserveOf(path))-reserveStep >= min(reserveBytes/2, size/8)
}

// withReserve does something again with some of the reserve released, where the disk is
// full.
func withReserve(path string, do func() error) error {
	err := do()
	for n := 0; n < reserveSteps && errors.Is(err, ErrFull) && canSpare(path) && releaseReserve(path, reserveStep); n++ {
		err = do()
	}
	return err
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
