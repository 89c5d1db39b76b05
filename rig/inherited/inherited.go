// Package inherited tells of what the program was given what can be seen only before the Go
// runtime begins. The runtime opens /dev/null in the place of a closed standard stream, and ends
// with status 2 where it gets too little address space.
//
// Looking that early takes C. A program built without it, as for another machine, does not know.
package inherited

import (
	"errors"
	"io"
	"os"
)

// ErrClosed is the error of writing to a standard stream that was closed when the program began.
var ErrClosed = errors.New("it was closed when the program began")

// Out returns a standard stream to write to. Each writing to it fails with [ErrClosed] where it
// was closed when the program began.
func Out(f *os.File) io.Writer {
	if closed(int(f.Fd())) {
		return refuses{}
	}
	return f
}

// refuses is a stream that was closed.
type refuses struct{}

func (refuses) Write([]byte) (int, error) { return 0, ErrClosed }

// Check returns [ErrClosed] where w is a standard stream that was closed when the program began.
func Check(w io.Writer) error {
	if _, ok := w.(refuses); ok {
		return ErrClosed
	}
	return nil
}
