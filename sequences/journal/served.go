package journal

import "os"

// OpenServed opens a log to be read for as long as a server runs, beside the programs that
// write it: no connection of it can write. An older schema is brought up to date before. One
// that is not there gives an error of the kind Input.
func OpenServed(path string) (*DB, error) {
	db, err := OpenRead(path)
	if err != nil || db.full == "" { // which is only read as it is
		return db, err
	}
	full := db.full
	if err := db.Close(); err != nil { // before: what was written ahead is then in the log
		return nil, err
	}
	info, err := os.Stat(full)
	if err != nil {
		return nil, asInput(failAt(path, "open", fileError(err)))
	}
	if db, err = openAsItIs(full, path, "mode=ro"); err != nil {
		return nil, asInput(failAt(path, "open", err))
	}
	db.reading, db.served, db.servedFile = true, full, info
	return db, nil
}

// Moved reports whether another file, or none, stands now where the log that is served was
// opened.
func (db *DB) Moved() bool {
	if db.served == "" {
		return false
	}
	info, err := os.Stat(db.served)
	return err != nil || !os.SameFile(info, db.servedFile)
}
