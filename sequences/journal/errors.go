package journal

import (
	"errors"
	"fmt"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// What can be wrong with a log, for errors.Is. Each error names the file and
// wraps its cause.
var (
	ErrFull     = errors.New("no room left for the log")
	ErrLocked   = errors.New("another program is holding the log")
	ErrReadOnly = errors.New("the log cannot be written")
	ErrCorrupt  = errors.New("the log is damaged")
	ErrNotLog   = errors.New("the file is not a log")
	ErrNewer    = errors.New("the log was written by a newer program")
	ErrAccess   = errors.New("the log cannot be reached") // the disk or its path fails
)

// What can be wrong with a request.
var (
	ErrNoRun     = errors.New("no such run")
	ErrHaveCycle = errors.New("the cycle is in the log already")
	ErrComplete  = errors.New("the run is complete")
	ErrTaken     = errors.New("another program is writing this run")
	ErrPart      = errors.New("only a part of the run is in the log, as its copying or its removal was cut off")
	ErrWentOn    = errors.New("the run has gone on meanwhile")
)

// fail names the log, what was being done and, where SQLite gives one, the kind
// of trouble.
func (db *DB) fail(doing string, err error) error { return failAt(db.path, doing, err) }

func failAt(path, doing string, err error) error {
	if err == nil {
		return nil
	}
	if kind := kindOf(err); kind != nil {
		return fmt.Errorf("log %s: %s: %w (%w)", path, doing, kind, err)
	}
	return fmt.Errorf("log %s: %s: %w", path, doing, err)
}

// kindOf sorts SQLite's result codes into the kinds above; nil for an error that
// is none of SQLite's or of no kind.
func kindOf(err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return nil
	}
	if e.Code() == sqlite3.SQLITE_IOERR_SHMSIZE {
		return ErrFull // the shared index of a log in use could not grow
	}
	switch e.Code() & 0xff { // the low byte is the primary code
	case sqlite3.SQLITE_FULL:
		return ErrFull
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL:
		return ErrLocked
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM:
		return ErrReadOnly
	case sqlite3.SQLITE_CORRUPT:
		return ErrCorrupt
	case sqlite3.SQLITE_NOTADB:
		return ErrNotLog
	case sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN:
		return ErrAccess
	}
	return nil
}

// code returns SQLite's extended result code, 0 where the error has none.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code()
	}
	return 0
}

// repeated reports whether a row was refused because its key is there already.
func repeated(err error) bool {
	c := code(err)
	return c == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY || c == sqlite3.SQLITE_CONSTRAINT_UNIQUE
}
