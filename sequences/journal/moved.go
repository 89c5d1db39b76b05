package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"

	"modernc.org/sqlite"

	"makebreak/rig/problem"
)

// ErrGone says that a file of the log is not at its place any more, or holds what somebody
// else has written into it. SQLite goes on writing the file that it has open, which nobody
// will find again or be able to read, and reports no error.
var ErrGone error = problem.New(problem.Storage, "a file of the log was moved, removed, replaced or overwritten while it was in use")

// fileEnds are those of the files that a log in use consists of.
var fileEnds = [...]string{"", "-wal", "-shm"}

// rememberFiles remembers the identities of the open files that are there by now.
func (db *DB) rememberFiles() {
	for i, end := range fileEnds {
		if db.files[i] != nil {
			continue
		}
		if info, err := os.Stat(db.full + end); err == nil {
			db.files[i] = info
		}
	}
}

// missingFile returns the first open file that is not at its place; empty: all are.
func (db *DB) missingFile() (missing string) {
	for i, end := range fileEnds {
		if db.files[i] != nil && replaced(db.files[i], db.full+end) {
			return db.full + end
		}
	}
	return ""
}

// replaced reports whether an open file is not the one at its path any more.
func replaced(open os.FileInfo, path string) bool {
	info, err := os.Stat(path)
	return notThere(err) || err == nil && !os.SameFile(info, open)
}

// notThere reports whether an error of os.Stat says that the file is not there. Other errors
// do not say so: what is open can still be written.
func notThere(err error) bool {
	for _, e := range []error{os.ErrNotExist, syscall.ENOTDIR, syscall.ELOOP, syscall.ESTALE} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// checkPlace reports an error where what was just committed might be lost. Then all of the
// log is brought to where it can be found, and nothing more is written. Callers have the
// mutex.
func (db *DB) checkPlace() error {
	missing := db.missingFile()
	if missing == "" {
		db.rememberFiles()
		if err := db.checkContents(); err != nil {
			return err
		}
		return db.renewLocks()
	}
	db.moved = fmt.Errorf("%w: %s", ErrGone, missing)
	// By its name SQLite would remove a file that is another log's by now.
	if err := db.write.Raw(persistWAL); err != nil {
		return errors.Join(db.moved, err)
	}
	// The file takes the rest in, wherever it is by now.
	ctx := context.Background()
	_, err := db.write.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
	if err != nil {
		return errors.Join(db.moved, err)
	}
	if missing != db.full {
		db.moved = fmt.Errorf("%w\nall that was stored is in the log, and the run can go on in it", db.moved)
		return db.moved
	}
	name, err := db.rescue(ctx)
	if err != nil {
		return fmt.Errorf("%w\nand what it held could not be written into another file: %w", db.moved, err)
	}
	db.moved = fmt.Errorf("%w\nall that it held has been written into %s, which is a log now", db.moved, name)
	return db.moved
}

// checkContents is checkPlace for files that are at their places. Then what was written
// ahead is brought into the log, where it is time for that.
func (db *DB) checkContents() error {
	err := db.lookAtFiles()
	if err == nil {
		err = db.lookClosely()
	}
	if err == nil {
		err = db.checkpoint()
	}
	var wrong *overwritten
	if errors.As(err, &wrong) {
		return db.leave(wrong)
	}
	return err
}

// rescue writes all that the log holds into a new file where the log was. With an error
// there is no such file.
func (db *DB) rescue(ctx context.Context) (name string, err error) {
	if name, err = unusedName(db.full + "-rescued"); err != nil {
		return "", err
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", err
	}
	matchRights(f, db.files[0])
	err = f.Close()
	if err == nil {
		_, err = db.write.ExecContext(ctx, "VACUUM INTO ?", name)
	}
	if err != nil {
		return "", errors.Join(err, os.Remove(name))
	}
	return name, syncFolder(filepath.Dir(name))
}

func persistWAL(conn any) error {
	c, ok := conn.(sqlite.FileControl)
	if !ok {
		return errors.New("SQLite's files cannot be controlled")
	}
	_, err := c.FileControlPersistWAL("main", 1)
	return err
}

// unusedName returns a name that begins as given and that no file has yet.
func unusedName(begin string) (string, error) {
	const most = 1000
	for n := 1; n <= most; n++ {
		if name := fmt.Sprintf("%s-%d", begin, n); !exists(name) {
			return name, nil
		}
	}
	return "", fmt.Errorf("%s-1 to %d are there already", begin, most)
}
