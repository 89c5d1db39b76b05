package journal

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
)

// create makes a new log, which then stands there whole or not at all: it is made in a
// folder beside it and linked to its name. One that another program has made meanwhile is
// left alone.
func create(full string) error {
	dir, err := os.MkdirTemp(filepath.Dir(full), ".makebreak-new-*")
	if err != nil {
		return fileError(cause(err))
	}
	err = createIn(dir, full)
	return errors.Join(err, os.RemoveAll(dir))
}

func createIn(dir, full string) error {
	made := filepath.Join(dir, filepath.Base(full))
	f, err := os.OpenFile(made, os.O_WRONLY|os.O_CREATE, 0o600)
	if err != nil {
		return fileError(cause(err))
	}
	if err := f.Close(); err != nil {
		return fileError(cause(err))
	}
	db := &DB{path: full, stmts: map[string]*sql.Stmt{}}
	if err := errors.Join(db.lay(made), db.Close()); err != nil {
		return err
	}
	if err := setAside(full); err != nil {
		return err
	}
	err = os.Link(made, full)
	switch {
	case err == nil:
	case errors.Is(err, os.ErrExist) || isThere(full):
		return nil
	default: // the disk has no links
		if err := os.Rename(made, full); err != nil {
			return fileError(cause(err))
		}
	}
	return syncFolder(filepath.Dir(full))
}

// setAside renames what was left beside a log that has gone: SQLite would take the new log
// for it, and what stands in its write-ahead file belongs to wherever it went. The log is
// looked for last: a file beside one that another program has just made belongs to that.
func setAside(full string) error {
	for _, end := range fileEnds[1:] {
		if !isThere(full+end) || isThere(full) {
			continue
		}
		name, err := nameLike(full + end + "-left")
		if err == nil {
			err = os.Rename(full+end, name)
		}
		if err != nil {
			return fileError(cause(err))
		}
	}
	return nil
}

// lay gives a new file the schema. Its journal is in memory: of a file that is not whole
// nothing is kept.
func (db *DB) lay(path string) error {
	if err := db.connectToWrite(path, migrations); err != nil {
		return err
	}
	if _, err := db.write.ExecContext(context.Background(), "PRAGMA journal_mode = MEMORY"); err != nil {
		return err
	}
	return migrate(db.write, migrations)
}

// syncFolder puts on the disk which files a folder has, where its file system lets it.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return nil // it need not be possible to list it
	}
	_ = f.Sync()
	return f.Close()
}

// cause is an error without the name of a file that nobody knows of.
func cause(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	var l *os.LinkError
	if errors.As(err, &l) {
		return l.Err
	}
	return err
}
