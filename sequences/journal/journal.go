package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"makebreak/rig/guard"
	"makebreak/rig/outfile"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// lockWait is how long an operation waits for another program that has locked the log.
const lockWait = 5 * time.Second

// DB is an open log. Its methods may be used from several goroutines.
type DB struct {
	path string // as Open was given it, for messages
	// reading says that OpenRead opened it, so that a file which is no log is a bad input.
	reading bool
	full    string // of the file itself; empty: it is only read
	holds   bool   // files that hold inodes stood beside it when it was opened
	// read is a pool of connections that cannot write. One connection writes, so
	// that its statements stay prepared and its transactions never meet.
	read *sql.DB
	pool *sql.DB // of the writing connection alone

	mu       sync.Mutex // guards write and what follows
	write    *sql.Conn
	stmts    map[string]*sql.Stmt
	files    [len(fileEnds)]os.FileInfo // that are open; nil: not known
	moved    error                      // why nothing can be written any more
	watch    *watch                     // nil: the files have not been looked at yet
	runs     []*Run                     // that are being written
	patience time.Duration              // of looks, where nobody else writes; 0: the usual one
	// nextCheck is how many pages must have been written ahead for them to be read again
	// before they are brought into the main file.
	nextCheck   int
	overwritten bool // the files are not written any more, also not by closing them
	// rescued is the log that is read in place of one that was overwritten; nil: none is.
	rescued *DB

	copy     string   // the folder of the copy that is read in place of the log; empty: none
	copyLock *os.File // keeps others from taking it for left behind

	lives map[int64]life // of runs that were fetched without their cycles, by their rows

	served     string      // the file that OpenServed opened; empty: it did not
	servedFile os.FileInfo // what stood there then

	locking sync.Mutex // guards what follows
	locks   *os.File   // nil: nothing is held yet
	locked  map[int64]struct{}
}

// Open opens the log at the path, a new one where there is none: its folders and
// the file can then be read by nobody else. An older schema is brought up to
// date. The error says whether the file is a log and what is wrong with it.
func Open(path string) (db *DB, err error) {
	full, err := realPath(path)
	if err != nil {
		return nil, err
	}
	if err := ordinary(full, path); err != nil {
		return nil, err
	}
	holds := holdsInodes(full)
	err = withReserve(full, reserveFloor(full), func() error {
		db, err = open(full, path)
		return err
	})
	if err == nil {
		db.holds = holds
	}
	return db, err
}

// crashEnd is the end of the name of the file that tells how a program on the log crashed.
const crashEnd = "-crash"

// CrashPath is where a report goes of a program that works on the log and does not end as it
// should.
func CrashPath(path string) string {
	full, err := realPath(path)
	if err != nil {
		full = path
	}
	return full + crashEnd
}

// realPath returns the absolute path of the file itself: files that belong to a log stand
// beside that.
func realPath(path string) (string, error) {
	full, err := outfile.RealPath(path)
	if err != nil {
		return "", fmt.Errorf("log %s: %w", path, err)
	}
	return full, nil
}

// open opens the log at its absolute path; messages use the path as it was given.
func open(full, path string) (*DB, error) { return openIn(full, path, "") }

// openIn is open of a log, or of a copy in a folder that goes when it is closed; empty: it is none.
func openIn(full, path, folder string) (*DB, error) {
	if err := prepareFile(full); err != nil {
		return nil, err
	}
	if folder == "" {
		if err := checkNotExported(full); err != nil {
			return nil, failAt(path, "open", err)
		}
	}
	// fdatasync leaves out the file's time stamps and nothing that is needed to
	// read it back; where there is none, fsync stays in use.
	lockByDescriptor()
	if _, err := sqlite.Fdatasync(true); err != nil && !errors.Is(err, sqlite.ErrFdatasyncUnavailable) {
		return nil, failAt(path, "open", err)
	}
	db := &DB{path: path, full: full, copy: folder, stmts: map[string]*sql.Stmt{}}
	err := db.connect(full, migrations)
	if err == nil {
		err = allocateShared(full)
	}
	if err != nil {
		return nil, failAt(path, "open", errors.Join(diskError(full, err), db.Close()))
	}
	db.rememberFiles()
	return db, nil
}

// lockByDescriptor has SQLite lock main files so that this program may open and close them
// besides. It must be asked for before the first one is opened; where the system has no such
// locks, the log's own descriptors are closed last.
var lockByDescriptor = sync.OnceFunc(func() { _, _ = sqlite.OFDLocking(true) })

// OpenToPrune opens a log as Open does. Where its disk has no room left for that, it
// releases all of the reserve beside it.
func OpenToPrune(path string) (*DB, error) {
	db, err := Open(path)
	if !errors.Is(err, ErrFull) {
		return db, err
	}
	if full, e := realPath(path); e == nil && releaseReserve(full, reserveBytes) {
		return Open(path)
	}
	return db, err
}

// prepareFile makes sure that there is a file that may be written and that is a
// database or empty.
func prepareFile(path string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return failAt(path, "create its folder", fileError(err))
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		if err := create(path); err != nil {
			return failAt(path, "create", err)
		}
		f, err = os.OpenFile(path, os.O_RDWR, 0)
	}
	if err != nil {
		return failAt(path, "open", fileError(err))
	}
	defer f.Close()
	return checkMagic(f, path)
}

// checkMagic looks whether a file is a database or empty.
func checkMagic(f *os.File, path string) error {
	const magic = "SQLite format 3\x00" // SQLite's file format, 1.3.1
	head := make([]byte, len(magic))
	n, err := f.Read(head)
	if n == 0 {
		if info, statErr := f.Stat(); statErr == nil && info.Size() == 0 {
			return nil // new
		}
		return failAt(path, "open", fmt.Errorf("%w: %w", ErrAccess, err))
	}
	if string(head[:n]) != magic {
		return failAt(path, "open", fmt.Errorf("%w: it does not begin as a SQLite database does; name another file with --log", ErrNotLog))
	}
	return nil
}

// fileError sorts the operating system's errors into the log's kinds.
func fileError(err error) error {
	kind := ErrAccess
	if errors.Is(err, fs.ErrPermission) || errors.Is(err, syscall.EROFS) {
		kind = ErrReadOnly
	}
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		kind = ErrFull
	}
	return fmt.Errorf("%w: %w", kind, err)
}

// dsn returns the data source name. What a connection must be set to stands in
// it, so that every connection of a pool has it.
func dsn(path string, pragmas ...string) string {
	q := url.Values{}
	for _, p := range append([]string{fmt.Sprintf("busy_timeout(%d)", lockWait.Milliseconds())}, pragmas...) {
		q.Add("_pragma", p)
	}
	return "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + q.Encode()
}

func (db *DB) connect(path string, from fs.FS) (err error) {
	if err := db.connectToWrite(path, from); err != nil {
		return err
	}
	if err := db.writeAhead(); err != nil {
		return err
	}
	if err := migrate(db.write, from); err != nil {
		return err
	}
	if err := checkForm(db.write, from); err != nil {
		return err
	}
	db.read, err = sql.Open("sqlite", dsn(path, "query_only(ON)", "trusted_schema(OFF)", "synchronous(FULL)", "foreign_keys(ON)")+existing)
	return err
}

// existing keeps a connection from making a file that is not there any more.
const existing = "&mode=rw"

// connectToWrite makes the connection that writes, and leaves a file that is not ours as
// it is.
func (db *DB) connectToWrite(path string, from fs.FS) (err error) {
	// synchronous(FULL): in WAL mode every commit waits for the disk. auto_vacuum lets a
	// new file give pages back later, temp_store needs no room on a disk that is full, and
	// journal_size_limit makes the write-ahead file small again after a long reading.
	db.pool, err = sql.Open("sqlite", dsn(path, "auto_vacuum(INCREMENTAL)", "wal_autocheckpoint(0)",
		fmt.Sprintf("journal_size_limit(%d)", reserveBytes), "temp_store(MEMORY)", "trusted_schema(OFF)", "synchronous(FULL)", "foreign_keys(ON)")+existing)
	if err != nil {
		return err
	}
	db.pool.SetMaxOpenConns(1)
	if db.write, err = db.pool.Conn(context.Background()); err != nil {
		return err
	}
	names, err := migrationsIn(from)
	if err != nil {
		return err
	}
	_, err = checkSchema(db.write, len(names))
	return err
}

// writeAhead puts the file in WAL mode, which it then stays in. A new file's switch
// does not wait for a program that is doing the same, so it is tried again.
func (db *DB) writeAhead() error {
	for end := time.Now().Add(lockWait); ; time.Sleep(5 * time.Millisecond) {
		var mode string
		err := db.write.QueryRowContext(context.Background(), "PRAGMA journal_mode = WAL").Scan(&mode)
		if code(err)&0xff == sqlite3.SQLITE_BUSY && time.Now().Before(end) {
			continue
		}
		if err == nil && mode != "wal" {
			err = fmt.Errorf("%w: its file system keeps it in the mode %q, which does not let programs share it", ErrAccess, mode)
		}
		return err
	}
}

// Path returns the log's path as Open was given it.
func (db *DB) Path() string { return db.path }

// Close closes the log.
func (db *DB) Close() error {
	db.mu.Lock()
	defer db.mu.Unlock()
	var errs []error
	if db.stmts == nil {
		return nil // closed before
	}
	if !db.overwritten {
		for _, s := range db.stmts {
			errs = append(errs, s.Close())
		}
	}
	db.stmts = nil
	if db.rescued != nil {
		errs = append(errs, db.rescued.Close())
	} else if db.read != nil {
		errs = append(errs, db.read.Close())
	}
	if db.overwritten {
		// Closing it would bring what was written ahead into a file that is another by now.
		return db.fail("close", errors.Join(append(errs, db.unlock())...))
	}
	if db.write != nil {
		errs = append(errs, db.write.Close())
	}
	if db.pool != nil {
		errs = append(errs, db.pool.Close())
	}
	if db.watch != nil {
		errs = append(errs, db.watch.close())
	}
	if db.copy != "" {
		errs = append(errs, os.RemoveAll(db.copy))
		if db.copyLock != nil {
			errs = append(errs, db.copyLock.Close())
		}
	}
	errs = append(errs, db.unlock())
	if db.holds && exists(db.full) {
		holdInodes(db.full) // those that SQLite's files had
	}
	return db.fail("close", errors.Join(errs...))
}

// transact runs f in a transaction that is on the disk when transact returns
// without an error. With an error nothing of it stays.
func (db *DB) transact(f func() error) error {
	db.mu.Lock()
	defer db.mu.Unlock()
	if err := db.writable(); err != nil {
		return err
	}
	return diskError(db.full, db.transactHeld(f))
}

// transactHeld is transact for a caller that has the mutex.
func (db *DB) transactHeld(f func() error) error {
	if err := db.exec("BEGIN IMMEDIATE"); err != nil {
		return db.spoilt(err)
	}
	// Nothing is stored on top of what is not as it was left.
	err := db.lookAtFiles()
	if err == nil {
		err = f()
	}
	if err == nil {
		if err = db.exec("COMMIT"); err == nil {
			return db.checkPlace()
		}
	}
	// Some failures, a full disk among them, have ended the transaction already; then there
	// is nothing left to roll back, and the first error says why.
	_ = db.exec("ROLLBACK")
	return db.spoilt(err)
}

// writable says why the log cannot be written by this connection. Callers hold the lock.
func (db *DB) writable() error {
	switch {
	case db.stmts == nil:
		return misuse("it is closed")
	case db.write == nil || db.copy != "":
		return ErrReadOnly
	}
	return db.moved
}

// exec runs a statement on the writing connection and keeps it prepared.
// Callers hold the lock.
func (db *DB) exec(text string, args ...any) error {
	s, err := db.prepared(text)
	if err != nil {
		return err
	}
	_, err = s.Exec(args...)
	return err
}

// change runs a statement as exec does, and says how many rows it changed.
func (db *DB) change(text string, args ...any) (rows int, err error) {
	s, err := db.prepared(text)
	if err != nil {
		return 0, err
	}
	result, err := s.Exec(args...)
	if err != nil {
		return 0, err
	}
	n, err := result.RowsAffected()
	return int(n), err
}

func (db *DB) prepared(text string) (*sql.Stmt, error) {
	if s := db.stmts[text]; s != nil {
		return s, nil
	}
	s, err := db.write.PrepareContext(context.Background(), text)
	if err != nil {
		return nil, err
	}
	db.stmts[text] = s
	return s, nil
}

// queryRow reads one row on the writing connection, inside a transaction.
func (db *DB) queryRow(text string, args []any, into ...any) error {
	s, err := db.prepared(text)
	if err != nil {
		return err
	}
	return s.QueryRow(args...).Scan(into...)
}

// Files are the paths that belong to the log at a path: its own, and those of the files that
// may stand beside it.
func Files(path string) []string {
	full, err := realPath(path)
	if err != nil {
		full = path
	}
	all := append([]string{path, reserveOf(full), locksOf(full)}, heldInodes(full)...)
	all = append(all, guard.Reports(full+crashEnd)...)
	for _, end := range fileEnds {
		all = append(all, full+end)
	}
	return all
}
