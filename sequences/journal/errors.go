package journal

import (
	"errors"
	"fmt"
	"strings"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"makebreak/rig/problem"
)

// What can be wrong with a log, for errors.Is. Each error names the file and
// wraps its cause.
var (
	ErrFull     error = problem.New(problem.Storage, "no room left for the log")
	ErrLocked   error = problem.New(problem.Storage, "another program has locked the log")
	ErrReadOnly error = problem.New(problem.Storage, "the log cannot be written")
	ErrCorrupt  error = problem.New(problem.Storage, "the log is damaged")
	ErrNotLog   error = problem.New(problem.Storage, "the file is not a log")
	ErrNewer    error = problem.New(problem.Storage, "the log was written by a newer program")
	ErrAccess   error = problem.New(problem.Storage, "the log cannot be reached") // the disk or its path fails
)

// What can be wrong with a request.
var (
	ErrNoRun     error = problem.New(problem.Usage, "no such run")
	ErrComplete  error = problem.New(problem.Usage, "the run is complete")
	ErrPart      error = problem.New(problem.Usage, "only a part of the run is in the log, as its copying or its removal was cut off")
	ErrHaveCycle error = problem.New(problem.Storage, "the cycle is in the log already")
	ErrTaken     error = problem.New(problem.Storage, "another program is writing this run")
	ErrWentOn    error = problem.New(problem.Storage, "the run has gone on meanwhile")
)

// fail names the log, what was being done and, where SQLite gives one, the kind of trouble.
// A log that is only read and is none, or is damaged, is a bad input file.
func (db *DB) fail(doing string, err error) error {
	if db.full != "" && db.copy == "" {
		err = diskError(db.full, err)
	}
	if db.reading {
		return asInput(failAt(db.path, doing, err))
	}
	return failAt(db.path, doing, err)
}

// failAt is fail for a log that is not open. An error that says nothing else is one of
// storage.
func failAt(path, doing string, err error) error {
	if err == nil {
		return nil
	}
	if sentinel := sentinelOf(err); sentinel != nil && !errors.Is(err, ErrFull) && !errors.Is(err, ErrReadOnly) {
		err = fmt.Errorf("%w (%w)", sentinel, err)
	} else if code(err)&0xff == sqlite3.SQLITE_ERROR {
		err = &misfit{err}
	}
	kind := problem.KindOf(err)
	if kind == problem.Unknown {
		kind = problem.Storage
	}
	return &problem.Error{Kind: kind, Op: doing, Place: "log " + path, Err: err}
}

// misfit is an error of a statement that does not fit the log's tables.
type misfit struct{ err error }

func (m *misfit) Error() string {
	return ErrCorrupt.Error() + ": its tables are not as this program makes them (" + strings.TrimPrefix(m.err.Error(), "SQL logic error: ") + ")"
}

func (m *misfit) Unwrap() []error { return []error{ErrCorrupt, m.err} }

// misuse is an error of the program that calls this package.
func misuse(format string, args ...any) error {
	return problem.Of(problem.Internal, fmt.Errorf(format, args...))
}

// asInput makes a bad input file of a log that is none, is damaged or is too new.
func asInput(err error) error {
	for _, e := range []error{ErrNotLog, ErrNewer, ErrCorrupt} {
		if errors.Is(err, e) {
			return problem.Of(problem.Input, err)
		}
	}
	return err
}

// sentinelOf sorts SQLite's result codes into the errors above; nil for an error that
// is none of SQLite's or of no kind.
func sentinelOf(err error) error {
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
