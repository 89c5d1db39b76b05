package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"
	"modernc.org/sqlite"

	"makebreak/rig/problem"
)

// ErrIsThere says that a file which was to be made is there already.
var ErrIsThere error = problem.New(problem.Usage, "the file is there already")

// backupPages is how many pages are copied between two looks at whether to go on.
const backupPages = 1000

// Backup writes a copy of the log, as it is at one instant, into a new file, by SQLite's own
// interface for that. Programs may write the log meanwhile. The file is checked, is one file
// with nothing beside it, and is at its name only when all of it is on the disk. A file that
// is there already gives ErrIsThere and stays.
func (db *DB) Backup(ctx context.Context, path string) error {
	err := newFile(path, func(made string) error {
		if err := db.copyPages(ctx, made); err != nil {
			return err
		}
		return oneFile(ctx, made)
	})
	return db.fail("back up", err)
}

// copyPages copies the log's pages into another database. The reading transaction keeps all of
// them as they are at its beginning, so that who writes meanwhile does not begin the copy anew.
func (db *DB) copyPages(ctx context.Context, path string) error {
	conn, err := db.read.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := conn.ExecContext(ctx, "BEGIN"); err != nil {
		return err
	}
	defer func() { _, _ = conn.ExecContext(context.WithoutCancel(ctx), "ROLLBACK") }() // nothing was written
	var runs int
	if err := conn.QueryRowContext(ctx, "SELECT count(*) FROM run").Scan(&runs); err != nil { // it begins here
		return err
	}
	return conn.Raw(func(driver any) (err error) {
		b, err := driver.(interface {
			NewBackup(string) (*sqlite.Backup, error)
		}).NewBackup(dsn(path, "synchronous(FULL)"))
		if err != nil {
			return err
		}
		defer func() {
			end := b.Finish() // it says again what went wrong
			if err == nil {
				err = end
			}
			if sentinelOf(err) == ErrFull {
				err = problem.Instead(ErrFull, "no room left for the copy")
			}
		}()
		for more := true; more && err == nil; {
			if more, err = b.Step(backupPages); err == nil {
				err = ctx.Err()
			}
		}
		return err
	})
}

// oneFile leaves a database without files beside it, and checks that it is sound.
func oneFile(ctx context.Context, path string) error {
	pool, err := sql.Open("sqlite", dsn(path, "synchronous(FULL)", "trusted_schema(OFF)")+existing)
	if err != nil {
		return err
	}
	pool.SetMaxOpenConns(1)
	var mode, sound string
	err = pool.QueryRowContext(ctx, "PRAGMA journal_mode = DELETE").Scan(&mode)
	if err == nil {
		err = pool.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&sound)
	}
	if err == nil && sound != "ok" {
		err = fmt.Errorf("%w: %s", ErrCorrupt, sound)
	}
	return errors.Join(err, pool.Close())
}

// newFile lets make write a file in a folder beside the path, and gives it its name once it is
// on the disk. A file that is there, or comes to be there meanwhile, stays. The folder of a
// program that was killed goes with the next file that is made beside it.
func newFile(path string, make func(made string) error) error {
	full, err := realPath(path)
	if err != nil {
		return err
	}
	if isThere(full) {
		return fmt.Errorf("%s: %w; name another", path, ErrIsThere)
	}
	removeLeft(filepath.Dir(full), newFolders)
	dir, lock, err := newFolder(filepath.Dir(full), newFolders)
	if err != nil {
		return fileError(withoutName(err))
	}
	defer lock.Close()
	err = makeIn(dir, full, path, make)
	return errors.Join(err, os.RemoveAll(dir))
}

// isThere reports whether there is anything of that name, also a link that leads to nothing.
func isThere(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// newFolders begins the name of a folder in which a file is made, copyFolders that of one for
// temporary files in which a copy is read.
const (
	newFolders  = ".makebreak-new-"
	copyFolders = "makebreak-log-copy-"
)

// newCopyFolder makes a folder for a copy, and removes those that killed programs have left.
func newCopyFolder() (dir string, lock *os.File, err error) {
	removeLeft(os.TempDir(), copyFolders)
	return newFolder(os.TempDir(), copyFolders)
}

// newFolder makes a folder in which a file can be made, locked as long as its program lives.
// Where folders cannot be locked it is not, and no other program takes it for left behind.
func newFolder(beside, begin string) (dir string, lock *os.File, err error) {
	const tries = 10 // another program may take one for left behind before it is locked
	for range tries {
		if dir, err = os.MkdirTemp(beside, begin+"*"); err != nil {
			return "", nil, err
		}
		if lock, err = os.Open(dir); err != nil {
			continue
		}
		busy := unix.Flock(int(lock.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if !errors.Is(busy, unix.EWOULDBLOCK) && isThere(dir) {
			return dir, lock, nil
		}
		lock.Close()
		err = ErrTaken
	}
	return "", nil, err
}

// removeLeft removes folders that killed programs have left. What cannot be removed stays, as
// nothing depends on it.
func removeLeft(beside, begin string) {
	all, _ := os.ReadDir(beside)
	for _, e := range all {
		if !e.IsDir() || !strings.HasPrefix(e.Name(), begin) {
			continue
		}
		dir := filepath.Join(beside, e.Name())
		f, err := os.Open(dir)
		if err != nil {
			continue
		}
		if unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) == nil {
			_ = os.RemoveAll(dir)
		}
		f.Close()
	}
}

func makeIn(dir, full, path string, make func(made string) error) error {
	made := filepath.Join(dir, filepath.Base(full))
	if err := make(made); err != nil {
		return placed(err, made, path)
	}
	if err := syncFile(made); err != nil {
		return fileError(withoutName(err))
	}
	err := os.Link(made, full)
	if errors.Is(err, os.ErrExist) {
		return fmt.Errorf("%s: %w; name another", path, ErrIsThere)
	}
	if err != nil { // the disk has no links, as a stick's
		if isThere(full) {
			return fmt.Errorf("%s: %w; name another", path, ErrIsThere)
		}
		if err := os.Rename(made, full); err != nil {
			return fileError(withoutName(err))
		}
	}
	return syncFolder(filepath.Dir(full))
}

// placed is an error of a file that was being made, under the name that it was to have.
func placed(err error, made, path string) error {
	var p *problem.Error
	if errors.As(err, &p) && strings.HasSuffix(p.Place, made) {
		return &problem.Error{Kind: p.Kind, Op: p.Op, Place: path, Err: p.Err}
	}
	return err
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
