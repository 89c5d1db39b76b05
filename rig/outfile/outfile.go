// Package outfile writes files of results: whole or not at all, and with errors that name
// the file. Its errors are of the kind Storage.
package outfile

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/google/renameio/v2"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// Write lets write fill a file, which then stands there whole or not at all. A pipe or a
// device is written into, since it must not be replaced by a file; waiting for a pipe's
// reader ends with the context. A link is followed, also to a file that is not there yet.
func Write(ctx context.Context, name string, write func(io.Writer) error) error {
	if Special(name) {
		return writeInto(ctx, name, write)
	}
	path, err := RealPath(name)
	if err != nil {
		return Failed(name, err)
	}
	f, err := renameio.NewPendingFile(path, renameio.WithPermissions(0o644), renameio.WithExistingPermissions())
	if err != nil {
		return Failed(name, err)
	}
	defer f.Cleanup()
	if err := Fill(f, name, write); err != nil {
		return err
	}
	if err := f.CloseAtomicallyReplace(); err != nil {
		return Failed(name, err)
	}
	return nil
}

// WriteNew is Write for a file that must not be there yet, with its mode: an error for which
// errors.Is(err, fs.ErrExist) holds where it is.
func WriteNew(name string, mode fs.FileMode, write func(io.Writer) error) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return Failed(name, err)
	}
	if err := errors.Join(Fill(f, name, write), f.Sync(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(name))
	}
	return nil
}

func writeInto(ctx context.Context, name string, write func(io.Writer) error) error {
	f, err := openSpecial(ctx, name)
	if err != nil {
		return Failed(name, err)
	}
	if err := Fill(Stream(ctx, f), name, write); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return Failed(name, err)
	}
	return nil
}

// Fill lets write fill a stream with a name. Where the stream fails, that is the error,
// whatever write makes of it.
func Fill(to io.Writer, name string, write func(io.Writer) error) error {
	s := &Sink{W: to}
	w := bufio.NewWriterSize(s, 64<<10)
	err := write(w)
	if err == nil {
		err = w.Flush()
	}
	if s.Err != nil {
		return Failed(name, s.Err)
	}
	return err
}

// A Sink is a stream that remembers that it has failed.
type Sink struct {
	W   io.Writer
	Err error // the latest
}

// Write writes to the stream.
func (s *Sink) Write(p []byte) (int, error) {
	n, err := s.W.Write(p)
	if err != nil {
		s.Err = err
	}
	return n, err
}

// Special reports whether a path leads to something that is there and no ordinary file.
func Special(path string) bool {
	info, err := os.Stat(path)
	return err == nil && !info.Mode().IsRegular()
}

// Folder reports whether a path leads to a folder.
func Folder(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

// Check looks, before anything else is done, whether a file can be written.
func Check(path string) error {
	if Folder(path) {
		return Failed(path, errors.New("it is a folder"))
	}
	if Special(path) {
		return nil
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".makebreak-*")
	if err != nil {
		return Failed(path, err)
	}
	if err := errors.Join(f.Close(), os.Remove(f.Name())); err != nil {
		return Failed(path, err)
	}
	return nil
}

// Failed says that a file or stream cannot be written, by the innermost cause: the
// operating system's word, without the names of calls around it. Where a context ended the
// waiting for a reader, it is of the kind Interrupted.
func Failed(name string, err error) error {
	name = words.Safe(name)
	if errors.Is(err, context.Canceled) {
		return problem.New(problem.Interrupted, "interrupted while nobody read "+name)
	}
	return problem.Of(problem.Storage, fmt.Errorf("%s cannot be written: %w", name, problem.Innermost(err)))
}
