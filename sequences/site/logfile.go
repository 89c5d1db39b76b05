package site

import (
	"errors"
	"os"
	"sync"

	"makebreak/sequences/journal"
)

var errAbsent = errors.New("there is no log yet")

// logFile is the log that is served: the file that stands at the path now. It may come, go
// and be replaced while it is served.
type logFile struct {
	path string
	mu   sync.Mutex
	held *held // nil: none is open
}

// held is an open log and who reads it. It is closed by the last of them.
type held struct {
	db      *journal.DB
	readers int
	over    bool // another took its place
}

// look opens the log where that has not been done or another stands there now.
func (l *logFile) look() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.lookLocked()
}

func (l *logFile) lookLocked() error {
	if l.held != nil && !l.held.db.Moved() {
		return nil
	}
	if err := l.dropLocked(); err != nil {
		return err
	}
	if info, err := os.Stat(l.path); errors.Is(err, os.ErrNotExist) || err == nil && info.Mode().IsRegular() && info.Size() == 0 {
		return errAbsent
	}
	db, err := journal.OpenServed(l.path)
	if err != nil {
		return err
	}
	l.held = &held{db: db}
	return nil
}

// dropLocked lets the log that is open be closed by its last reader.
func (l *logFile) dropLocked() error {
	h := l.held
	if l.held = nil; h == nil {
		return nil
	}
	if h.over = true; h.readers > 0 {
		return nil
	}
	return h.db.Close()
}

// read lets a function read the log.
func (l *logFile) read(f func(*journal.DB) error) error {
	l.mu.Lock()
	if err := l.lookLocked(); err != nil {
		l.mu.Unlock()
		return err
	}
	h := l.held
	h.readers++
	l.mu.Unlock()
	defer func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		if h.readers--; h.over && h.readers == 0 {
			_ = h.db.Close() // that log is gone, and it was only read
		}
	}()
	return f(h.db)
}

// Close implements Source.
func (l *logFile) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.dropLocked()
}
