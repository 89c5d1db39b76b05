// Package infile opens and reads the files that a person names. A name may lead to a pipe
// that nobody writes, to a device that never ends or to none that can be read: opening and
// reading end with the context, and what has no end is read to a limit.
package infile

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"makebreak/rig/words"
)

// A File is open to be read. Its reading ends with the context that it was opened with.
type File struct {
	io.Reader
	file *os.File
}

// Close closes the file.
func (f *File) Close() error { return f.file.Close() }

// Open opens a file to read. The error names the path, as that of os.Open does; a folder and
// a socket are refused. It is the context's where that ends first.
func Open(ctx context.Context, path string) (*File, error) {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		if m := info.Mode(); m.IsDir() || m&fs.ModeSocket != 0 {
			return nil, fmt.Errorf("%s: %w", words.Safe(path), errors.New("it is "+Kind(m)))
		}
	}
	f, err := waited(ctx, func() (*os.File, error) { return os.Open(path) })
	if p := new(fs.PathError); errors.As(err, &p) {
		return nil, &fs.PathError{Op: p.Op, Path: words.Safe(p.Path), Err: p.Err}
	}
	if err != nil {
		return nil, err
	}
	return &File{Stream(ctx, f), f}, nil
}

// Kind says what a file is that is no ordinary one, as in "a pipe".
func Kind(mode fs.FileMode) string {
	switch {
	case mode.IsDir():
		return "a folder"
	case mode&fs.ModeNamedPipe != 0:
		return "a pipe"
	case mode&fs.ModeSocket != 0:
		return "a socket"
	case mode&fs.ModeDevice != 0:
		return "a device"
	}
	return "no ordinary file"
}

// ErrTooLong says that a file goes on beyond the limit up to which it is read.
var ErrTooLong = errors.New("the file is too large")

// Read returns a file's bytes, up to a limit. The error is ErrTooLong where there are more.
func Read(ctx context.Context, path string, most int) ([]byte, error) {
	f, err := Open(ctx, path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, int64(most)+1))
	switch {
	case err != nil:
		return nil, err
	case len(b) > most:
		return b[:most], fmt.Errorf("%s: %w", words.Safe(path), ErrTooLong)
	}
	return b, nil
}
