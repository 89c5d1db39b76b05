package main

import (
	"fmt"

	"makebreak/analyze/cause"
	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/rig/yamlfile"
)

// loadCauses reads the table by which causes are ranked, where one is named.
func (a *app) loadCauses() error {
	if a.causeFile == "" {
		return nil
	}
	src, err := yamlfile.ReadFile(a.ctx, a.causeFile)
	if err != nil {
		return problem.Reading(fmt.Errorf("causes %s: %w", words.Safe(a.causeFile), problem.Innermost(err)))
	}
	if a.causes, err = cause.Parse(a.causeFile, src); err != nil {
		return inputError(err)
	}
	return nil
}
