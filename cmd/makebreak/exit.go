package main

import (
	"context"
	"errors"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/yamlfile"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
)

// Exit statuses: the contract of the command line.
const (
	exitPass        = 0
	exitFail        = 1
	exitUndecided   = 2
	exitUsage       = 64
	exitInput       = 65
	exitRig         = 69
	exitInternal    = 70
	exitLog         = 74 // the log or a result file could not be written
	exitInterrupted = 130
)

// failure is an error with the exit status that it means. A failure without an
// error has been told already, by the results themselves.
type failure struct {
	status int
	err    error
}

func (f *failure) Error() string {
	if f.err == nil {
		return ""
	}
	return f.err.Error()
}

func (f *failure) Unwrap() error { return f.err }

func failed(status int, err error) error {
	if err == nil {
		return nil
	}
	return &failure{status, err}
}

// statusOf is the exit status of an error that no failure wraps.
func statusOf(err error) int {
	var f *failure
	var y *yamlfile.Error
	var c *capture.SyntaxError
	switch {
	case err == nil:
		return exitPass
	case errors.As(err, &f):
		return f.status
	case errors.Is(err, context.Canceled):
		return exitInterrupted
	case errors.As(err, &y), errors.As(err, &c), errors.Is(err, bench.ErrSetup):
		return exitInput
	case errors.Is(err, bench.ErrLost), errors.Is(err, bench.ErrNobody), errors.Is(err, bench.ErrReleased):
		return exitRig
	case logError(err):
		return exitLog
	case errors.Is(err, runner.ErrInternal):
		return exitInternal
	}
	return exitUsage
}

func logError(err error) bool {
	for _, e := range []error{journal.ErrFull, journal.ErrLocked, journal.ErrReadOnly, journal.ErrCorrupt,
		journal.ErrNotLog, journal.ErrNewer, journal.ErrAccess, journal.ErrTaken, journal.ErrHaveCycle, journal.ErrGone} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// verdictStatus is the exit status of a verdict.
func verdictStatus(v analyze.Verdict) int {
	switch v {
	case analyze.Fail:
		return exitFail
	case analyze.Undecided:
		return exitUndecided
	}
	return exitPass
}
