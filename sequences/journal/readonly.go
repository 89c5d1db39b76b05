package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

// OpenRead opens a log to read from; one that is not there is not made. It need not be
// possible to write it, nor the folder that it is in: then nothing is changed there, and
// what would change the log gives ErrReadOnly.
func OpenRead(path string) (*DB, error) {
	err := isDatabase(path)
	if err != nil {
		return nil, asInput(err)
	}
	db, err := Open(path)
	if errors.Is(err, ErrExported) || errors.Is(err, ErrReadOnly) || errors.Is(err, ErrAccess) || errors.Is(err, ErrFull) {
		db, err = openReadOnly(path, err)
	}
	if err != nil {
		return nil, asInput(err)
	}
	db.reading = true
	return db, nil
}

// isDatabase refuses a file that is none, before anything else is done.
func isDatabase(path string) error {
	full, err := realPath(path)
	if err != nil {
		return err
	}
	if err := ordinary(full, path); err != nil {
		return err
	}
	f, err := os.Open(path)
	if err != nil {
		return failAt(path, "open", fileError(err))
	}
	defer f.Close()
	return checkMagic(f, path)
}

// openReadOnly opens a log that cannot be written, for the reason why. SQLite reads one
// as it lies there if both files of a log in use are beside it, or none is and nothing can
// write to the disk. In all other cases a copy is read.
func openReadOnly(path string, why error) (*DB, error) {
	full, err := realPath(path)
	if err != nil {
		return nil, err
	}
	way := ""
	switch inUse := exists(full+"-wal") || exists(full+"-shm"); {
	case inUse && exists(full+"-wal") && exists(full+"-shm"):
		way = "mode=ro"
	case !inUse && readOnlyDisk(full):
		way = "mode=ro&immutable=1"
	}
	if way != "" {
		if db, err := openAsItIs(full, path, way); err == nil {
			return db, nil
		}
	}
	db, err := openCopy(full, path)
	if err != nil {
		return nil, fmt.Errorf("%w\nit cannot be read where it lies: %w", err, why)
	}
	return db, nil
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func fileSize(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return info.Size()
}

// openAsItIs opens a log whose schema is up to date with a connection that cannot write.
func openAsItIs(full, path, way string) (*DB, error) {
	pool, err := sql.Open("sqlite", dsn(full, "query_only(ON)", "trusted_schema(OFF)")+"&"+way)
	if err != nil {
		return nil, err
	}
	db := &DB{path: path, stmts: map[string]*sql.Stmt{}, read: pool}
	names, err := migrationsIn(migrations)
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	conn, err := pool.Conn(context.Background())
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	version, err := checkSchema(conn, len(names))
	if err == nil && version < len(names) {
		err = errors.New("its schema is older")
	}
	if err == nil {
		err = checkForm(conn, migrations)
	}
	if err = errors.Join(err, conn.Close()); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// openCopy copies a log, with what a killed program left in its write-ahead file, into a
// folder for temporary files and opens it there.
func openCopy(full, path string) (db *DB, err error) {
	dir, lock, err := newCopyFolder()
	if err != nil {
		return nil, failAt(path, "copy it to read it", fileError(err))
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(dir), lock.Close())
		}
	}()
	before := stampsOf(full)
	for _, end := range []string{"", "-wal"} {
		if err := copyFile(full+end, filepath.Join(dir, "log.db"+end)); err != nil && !(end != "" && errors.Is(err, os.ErrNotExist)) {
			return nil, failAt(path, "copy it to read it", fmt.Errorf("%w; TMPDIR may name a folder that has room for %d MB", fileError(err), fileSize(full)>>20+1))
		}
	}
	if stampsOf(full) != before {
		return nil, failAt(path, "copy it to read it", fmt.Errorf("%w, and writes it", ErrLocked))
	}
	if db, err = openIn(filepath.Join(dir, "log.db"), path, dir); err == nil {
		db.copyLock = lock
	}
	return db, err
}

// stamps tell whether a log was written.
type stamps struct {
	size, walSize       int64
	changed, walChanged time.Time
}

func stampsOf(full string) (s stamps) {
	if info, err := os.Stat(full); err == nil {
		s.size, s.changed = info.Size(), info.ModTime()
	}
	if info, err := os.Stat(full + "-wal"); err == nil {
		s.walSize, s.walChanged = info.Size(), info.ModTime()
	}
	return s
}

func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}
