package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

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
		return fill(a.out, "standard output", write)
	}
	if special(a.file) {
		return a.deliverInto(write)
	}
	if err := whole(a.file, write); err != nil {
		return err
	}
	a.note("Results written to %s", a.file)
	return nil
}

// writeJSON writes a value as indented JSON.
func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// whole lets write fill a file, which then stands there whole or not at all.
func whole(name string, write func(io.Writer) error) error {
	path, err := filepath.EvalSymlinks(name)
	if err != nil { // a new file
		path = name
	}
	f, err := renameio.NewPendingFile(path, renameio.WithPermissions(0o644), renameio.WithExistingPermissions())
	if err != nil {
		return cannotWrite(name, err)
	}
	defer f.Cleanup()
	if err := fill(f, name, write); err != nil {
		return err
	}
	if err := f.CloseAtomicallyReplace(); err != nil {
		return cannotWrite(name, err)
	}
	return nil
}

// deliverInto writes into a pipe or a device, which must not be replaced by a file.
func (a *app) deliverInto(write func(io.Writer) error) error {
	f, err := os.OpenFile(a.file, os.O_WRONLY, 0)
	if err != nil {
		return cannotWrite(a.file, err)
	}
	if err := fill(f, a.file, write); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return cannotWrite(a.file, err)
	}
	return nil
}

// special reports whether a path leads to something that is there and no ordinary file.
func special(path string) bool {
	info, err := os.Stat(path)
	return err == nil && !info.Mode().IsRegular()
}

// canDeliver looks, before anything else is done, whether the file for the results
// can be written.
func (a *app) canDeliver() error {
	if a.file == "" || a.file == "-" {
		return nil
	}
	if info, err := os.Stat(a.file); err == nil && info.IsDir() {
		return cannotWrite(a.file, errors.New("it is a folder"))
	}
	if special(a.file) {
		return nil
	}
	return canCreate(a.file)
}

// canCreate looks whether a file can be made, by making one beside it.
func canCreate(path string) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".makebreak-*")
	if err != nil {
		return cannotWrite(path, err)
	}
	if err := errors.Join(f.Close(), os.Remove(f.Name())); err != nil {
		return cannotWrite(path, err)
	}
	return nil
}

func cannotWrite(path string, err error) error {
	return failed(exitLog, fmt.Errorf("%s cannot be written: %w", path, innermost(err)))
}

// fill lets write fill a stream. Where the stream fails, that is told, whatever
// write makes of it.
func fill(to io.Writer, name string, write func(io.Writer) error) error {
	s := &sink{w: to}
	w := bufio.NewWriter(s)
	err := write(w)
	if err == nil {
		err = w.Flush()
	}
	if s.err != nil {
		return cannotWrite(name, s.err)
	}
	return err
}

// sink remembers that its stream has failed.
type sink struct {
	w   io.Writer
	err error
}

func (s *sink) Write(p []byte) (int, error) {
	n, err := s.w.Write(p)
	if err != nil {
		s.err = err
	}
	return n, err
}

func (a *app) write(w io.Writer, records []*report.Record) error {
	switch a.as {
	case "csv":
		return report.CSV(w, records...)
	case "json":
		return report.JSON(w, records...)
	case "html":
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
