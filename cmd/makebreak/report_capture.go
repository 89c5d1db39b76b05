package main

import (
	"fmt"
	"io"

	"makebreak/rig/capture/csvfile"
	"makebreak/rig/problem"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
)

// captureOf writes the capture kept of one cycle as a file that analyze reads.
func (a *app) captureOf(rec *journal.RunRecord, n int) error {
	if a.asked {
		if err := a.choice("report --capture", "csv"); err != nil {
			return err
		}
	}
	c, err := record.CaptureOf(rec, n)
	switch {
	case problem.KindOf(err) == problem.Usage:
		return fmt.Errorf("--capture %d: %w", n, err)
	case err != nil:
		return readFailed(err)
	}
	a.as = "csv" // which --quiet lets through
	if err := a.deliver(func(w io.Writer) error { return csvfile.Write(w, c, record.OriginOf(rec)) }); err != nil {
		return err
	}
	file := a.file
	if file == "" {
		file = "FILE"
	}
	doubted, err := record.CalibrationNotes(rec, n)
	if err != nil {
		return readFailed(err)
	}
	for _, text := range append(record.ExportNotes(rec, c, file), doubted...) {
		a.note("%s", text)
	}
	return nil
}
