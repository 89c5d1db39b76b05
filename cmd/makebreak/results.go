package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"

	"github.com/google/renameio/v2"

	"makebreak/analyze/report"
)

// results writes records in the form asked for, to standard output or, whole or
// not at all, to the file asked for.
func (a *app) results(records ...*report.Record) error {
	return a.deliver(func(w io.Writer) error { return a.write(w, records) })
}

// deliver lets write fill standard output or the file asked for.
func (a *app) deliver(write func(io.Writer) error) error {
	if a.file == "" || a.file == "-" {
		if a.quiet && a.as == "text" {
			return nil
		}
		w := bufio.NewWriter(a.out)
		if err := write(w); err != nil {
			return err
		}
		return failed(exitLog, w.Flush())
	}
	f, err := renameio.NewPendingFile(a.file, renameio.WithPermissions(0o644))
	if err != nil {
		return failed(exitLog, fmt.Errorf("%s cannot be written: %w", a.file, err))
	}
	defer f.Cleanup()
	w := bufio.NewWriter(f)
	if err := write(w); err != nil {
		return err
	}
	if err := w.Flush(); err != nil {
		return failed(exitLog, fmt.Errorf("%s cannot be written: %w", a.file, err))
	}
	if err := f.CloseAtomicallyReplace(); err != nil {
		return failed(exitLog, fmt.Errorf("%s cannot be written: %w", a.file, err))
	}
	a.note("Results written to %s", a.file)
	return nil
}

func (a *app) write(w io.Writer, records []*report.Record) error {
	switch a.as {
	case "csv":
		return report.CSV(w, records...)
	case "json":
		return report.JSON(w, records...)
	case "html":
		if len(records) > 1 {
			return failed(exitUsage, errors.New("--as html makes one page of one capture; name one file"))
		}
		return report.HTML(w, records[0])
	}
	for i, r := range records {
		if i > 0 {
			fmt.Fprintln(w)
		}
		if err := report.Text(w, r, report.TextOpts{Colour: a.colour(), Width: a.width()}); err != nil {
			return err
		}
	}
	return nil
}
