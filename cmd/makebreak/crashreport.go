package main

import (
	"errors"

	"makebreak/rig/guard"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// reportEnd has the guard write beside the log how this program ends, should it not end as it
// should, and says how the last one ended.
func (a *app) reportEnd(path, run string) {
	report := journal.CrashPath(path)
	if !a.quiet {
		if e, ok := guard.Untold(report); ok {
			a.note("Warning: the last program on this log did not end as it should (%s, %s). Report: %s", words.Safe(e.Run), words.Safe(e.Ended), words.Safe(e.File))
		}
	}
	err := guard.Keep(guard.Report{Path: report, Program: version(), Run: run})
	if err != nil && !errors.Is(err, errors.ErrUnsupported) {
		a.note("Warning: a crash of the program would not be reported: %v", err)
	}
}
