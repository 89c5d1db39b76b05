package journal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"

	sqlite3 "modernc.org/sqlite/lib"
)

// tryBytes is more than SQLite needs to open a log: the first part of its shared index takes
// half of it.
const tryBytes = 64 << 10

// diskError adds to an error of SQLite's what the log's disk says. SQLite tells of a full
// disk by one code only where a write was refused; a file that could not be made, a fault in
// the memory that shares its index and a quota are errors of a file to it.
func diskError(full string, err error) error {
	switch {
	case errors.Is(err, ErrFull) || errors.Is(err, ErrReadOnly):
		return err
	case sentinelOf(err) == ErrFull:
		return fmt.Errorf("%w (%w)", ErrFull, err)
	case !ofWriting(code(err)):
		return err
	}
	dir := filepath.Dir(full)
	tried := tryDisk(dir)
	switch {
	case noRoomFor(tried) && noInodes(dir):
		return fmt.Errorf("%w: its disk has no inode left for another file (%w)", ErrFull, err)
	case errors.Is(tried, syscall.EDQUOT):
		return fmt.Errorf("%w: the disk quota is used up (%w)", ErrFull, err)
	case noRoomFor(tried):
		return fmt.Errorf("%w: its disk is full (%w)", ErrFull, err)
	case errors.Is(tried, syscall.EROFS):
		return fmt.Errorf("%w: its disk has become read-only (%w)", ErrReadOnly, err)
	}
	return err
}

// ofWriting reports whether an extended result code is of an operation that can need room.
func ofWriting(code int) bool {
	switch code {
	case sqlite3.SQLITE_IOERR_READ, sqlite3.SQLITE_IOERR_SHORT_READ, sqlite3.SQLITE_IOERR_LOCK, sqlite3.SQLITE_IOERR_UNLOCK, sqlite3.SQLITE_IOERR_RDLOCK:
		return false
	}
	return code&0xff == sqlite3.SQLITE_IOERR || code&0xff == sqlite3.SQLITE_CANTOPEN
}

// noRoomFor reports whether the operating system refused something for want of room.
func noRoomFor(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}

// tryDisk writes a file into a folder, which has no name by then, and returns why it cannot.
func tryDisk(dir string) error {
	f, err := os.CreateTemp(dir, ".makebreak-try-*")
	if err != nil {
		return err
	}
	err = os.Remove(f.Name())
	if err == nil {
		_, err = f.Write(make([]byte, tryBytes))
	}
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}
