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

// ErrGone says that a file of the log is not at its place any more. SQLite writes on into the
// file that it has open, which nobody will find again, and reports no error.
var ErrGone error = problem.New(problem.Storage, "a file of the log was moved, removed or replaced while it was in use")

// fileEnds are those of the files that a log in use consists of.
var fileEnds = [...]string{"", "-wal", "-shm"}

// remember remembers which files are open, as far as they are there by now.
func (db *DB) remember() {
	for i, end := range fileEnds {
		if db.files[i] != nil {
			continue
		}
		if info, err := os.Stat(db.full + end); err == nil {
			db.files[i] = info
		}
	}
}

// present says which of the open files is not at its place; empty: all are.
func (db *DB) present() (missing string) {
	for i, end := range fileEnds {
		if db.files[i] != nil && away(db.files[i], db.full+end) {
			return db.full + end
		}
	}
	return ""
}

// away reports whether an open file is not the one at its path any more.
func away(open os.FileInfo, path string) bool {
	info, err := os.Stat(path)
	return left(err) || err == nil && !os.SameFile(info, open)
}

// left reports whether an error of looking for a file says that it is not there. That it may
// not be looked for, or could not for the moment, does not: what is open can still be written.
func left(err error) bool {
	for _, e := range []error{os.ErrNotExist, syscall.ENOTDIR, syscall.ELOOP, syscall.ESTALE} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// stays says why what was committed just now might be lost. Then all of the log is brought
// to where it can be found, and nothing more is written. Callers hold the lock.
func (db *DB) stays() error {
	missing := db.present()
	if missing == "" {
		db.remember()
		return db.keepHeld()
	}
	db.gone = fmt.Errorf("%w: %s", ErrGone, missing)
	// By its name SQLite would remove a file that is another log's by now.
	if err := db.write.Raw(persistWAL); err != nil {
		return errors.Join(db.gone, err)
	}
	// The file takes the rest in, wherever it is by now.
	ctx := context.Background()
	_, err := db.write.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
	if err != nil {
		return errors.Join(db.gone, err)
	}
	if missing != db.full {
		db.gone = fmt.Errorf("%w\nall that was stored is in the log, and the run can go on in it", db.gone)
		return db.gone
	}
	name, err := db.rescue(ctx)
	if err != nil {
		return fmt.Errorf("%w\nand what it held could not be written into another file: %w", db.gone, err)
	}
	db.gone = fmt.Errorf("%w\nall that it held has been written into %s, which is a log now", db.gone, name)
	return db.gone
}

// rescue writes all that the log holds into a new file where the log was, whole or not at all.
func (db *DB) rescue(ctx context.Context) (name string, err error) {
	if name, err = nameLike(db.full + "-rescued"); err != nil {
		return "", err
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", err
	}
	like(f, db.files[0])
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

// nameLike is a name that begins as given and that no file has yet.
func nameLike(begin string) (string, error) {
	const most = 1000
	for n := 1; n <= most; n++ {
		if name := fmt.Sprintf("%s-%d", begin, n); !isThere(name) {
			return name, nil
		}
	}
	return "", fmt.Errorf("%s-1 to %d are there already", begin, most)
}
