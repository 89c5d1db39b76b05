package site

import (
	"context"

	"makebreak/sequences/journal"
)

// A Source has the runs that are served. Each of its methods lets a function read a log.
type Source interface {
	// All lets it read what is searched for and listed of all runs.
	All(ctx context.Context, f func(*journal.DB) error) error
	// Run lets it read a run that is named as in the log of all runs, and those that it is
	// compared with, and gives it the name that the run has there.
	Run(ctx context.Context, name string, f func(log *journal.DB, name string) error) error
	// Unit lets it read the runs of a unit.
	Unit(ctx context.Context, unit string, f func(*journal.DB) error) error
	Close() error
}

// All implements Source.
func (l *logFile) All(_ context.Context, f func(*journal.DB) error) error { return l.read(f) }

// Run implements Source.
func (l *logFile) Run(_ context.Context, name string, f func(*journal.DB, string) error) error {
	return l.read(func(db *journal.DB) error { return f(db, name) })
}

// Unit implements Source.
func (l *logFile) Unit(_ context.Context, _ string, f func(*journal.DB) error) error {
	return l.read(f)
}

// watched is a source that may be away for a time. It tells once that it is, and once that it is back.
type watched struct {
	Source
	site *Site
}

func (w *watched) All(ctx context.Context, f func(*journal.DB) error) error {
	err := w.Source.All(ctx, f)
	if err == nil && w.site.away.Swap(false) {
		w.site.opts.Failed("archive: it can be read again")
	}
	return err
}
