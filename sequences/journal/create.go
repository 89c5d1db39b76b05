package journal

import (
	"context"
	"database/sql"
	"errors"
	"os"
)

// create makes a new log. No half of one is ever there: see newFile. A log that another
// program has made meanwhile stays.
func create(full string) error {
	err := newFile(full, func(made string) error {
		f, err := os.OpenFile(made, os.O_WRONLY|os.O_CREATE, 0o600)
		if err == nil {
			err = f.Close()
		}
		if err != nil {
			return fileError(withoutName(err))
		}
		db := &DB{path: full, stmts: map[string]*sql.Stmt{}}
		if err := errors.Join(db.writeSchema(made), db.Close()); err != nil {
			return err
		}
		return setAside(full)
	})
	if errors.Is(err, ErrIsThere) {
		return nil
	}
	return err
}

// setAside renames the files that a log which was moved has left behind. SQLite would take
// the new log for that one, and write into it what the write-ahead file holds. The log is
// looked for last: a file beside one that another program has just made belongs to that.
func setAside(full string) error {
	for _, end := range fileEnds[1:] {
		if !exists(full+end) || exists(full) {
			continue
		}
		name, err := unusedName(full + end + "-left")
		if err == nil {
			err = os.Rename(full+end, name)
		}
		if err != nil {
			return fileError(withoutName(err))
		}
	}
	return nil
}

// writeSchema gives a new file the schema. Its journal is in memory: a file that is not
// finished is thrown away.
func (db *DB) writeSchema(path string) error {
	if err := db.connectToWrite(path, migrations); err != nil {
		return err
	}
	if _, err := db.write.ExecContext(context.Background(), "PRAGMA journal_mode = MEMORY"); err != nil {
		return err
	}
	return migrate(db.write, migrations)
}

// syncFolder writes to the disk which files a folder has, where its file system can.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return nil // it need not be possible to list it
	}
	_ = f.Sync()
	return f.Close()
}

// withoutName returns an error without the name of a file that no user knows.
func withoutName(err error) error {
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
