package journal

import (
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
)

// Fetched is a log that is made of what was fetched from elsewhere, in a folder for temporary
// files, only to be read.
type Fetched struct {
	db *DB
}

// Fetch makes a log, in one transaction, of what fill stores. Messages call it by the name. It
// cannot be written, and goes when it is closed.
func Fetch(name string, fill func(*Fetched) error) (db *DB, err error) {
	dir, lock, err := newCopyFolder()
	if err != nil {
		return nil, failAt(name, "fetch it to read it", fileError(err))
	}
	if db, err = open(filepath.Join(dir, "log.db"), name); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir), lock.Close())
	}
	err = db.transact(func() error { return fill(&Fetched{db}) })
	db.copy, db.copyLock = dir, lock // from here on it is only read, and Close removes it
	if err != nil {
		return nil, errors.Join(db.fail("fetch it to read it", err), db.Close())
	}
	return db, nil
}

// Add stores a row of a table as it was in a log: values are int64, float64, string, []byte or
// nil.
func (f *Fetched) Add(table string, columns []string, values []any) error {
	return f.db.exec("INSERT INTO "+table+" ("+strings.Join(columns, ", ")+") VALUES (?"+strings.Repeat(", ?", len(columns)-1)+")", values...)
}

// Life stores how far a soak came that is fetched without its cycles: complete ones, up to the
// first that failed, whether that one is among them, and whether any was judged.
func (f *Fetched) Life(run int64, cycles int, failed, judged bool) {
	if f.db.lives == nil {
		f.db.lives = map[int64]life{}
	}
	f.db.lives[run] = life{BoardLife{Cycles: cycles, Failed: failed}, judged}
}

// Series returns the series that a run is to have, and with its count its name: its own, and
// where another run has that name, its own with a word that is made of its UUID.
func (f *Fetched) Series(series string, count int64, uuid string) (string, error) {
	var there int
	err := f.db.queryRow("SELECT 1 FROM run WHERE series = ? AND count = ?", []any{series, count}, &there)
	if errors.Is(err, sql.ErrNoRows) {
		return series, nil
	}
	return series + "-" + wordOf(uuid), err
}
