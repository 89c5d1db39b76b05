package main

import (
	"fmt"

	"makebreak/analyze"
	"makebreak/rig/problem"
	"makebreak/rig/task"
)

// Exit statuses: the contract of the command line.
const (
	exitPass        = 0
	exitFail        = 1
	exitUndecided   = 2
	exitUsage       = 64
	exitInput       = 65
	exitRig         = 69
	exitInternal    = task.Status
	exitLog         = 74 // the log or a result file could not be written
	exitInterrupted = 130
)

// statuses are the exit statuses of the kinds of problems. What nobody foresaw is the
// program's own fault.
var statuses = map[problem.Kind]int{
	problem.Unknown:     exitInternal,
	problem.Interrupted: exitInterrupted,
	problem.Usage:       exitUsage,
	problem.Input:       exitInput,
	problem.Rig:         exitRig,
	problem.Storage:     exitLog,
	problem.Internal:    exitInternal,
}

// exitStatus is the exit status of an outcome: what was found of the unit, and what went
// wrong. A verdict counts only where nothing did.
func exitStatus(v analyze.Verdict, err error) int {
	switch {
	case err != nil:
		return statuses[problem.KindOf(err)]
	case v == analyze.Fail:
		return exitFail
	case v == analyze.Undecided || v == analyze.Incomplete:
		return exitUndecided
	}
	return exitPass
}

// badUsage says what was typed wrongly.
func badUsage(format string, args ...any) error {
	return problem.Of(problem.Usage, fmt.Errorf(format, safeArgs(args)...))
}
