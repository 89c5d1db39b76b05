package outfile

import (
	"context"
	"io"
	"os"
	"time"

	"makebreak/rig/task"
)

// grace is how long a pipe's reader has to take what is written once the context has ended.
// A run that was interrupted still gives its results to who waits for them.
const grace = time.Second

// Stream returns a stream whose writing ends soon after the context, even while it waits for
// a reader. The error is then the context's.
func Stream(ctx context.Context, w io.Writer) io.Writer { return stream{ctx, w} }

type stream struct {
	ctx context.Context
	w   io.Writer
}

func (s stream) Write(p []byte) (int, error) {
	own := append([]byte(nil), p...) // a write that was given up may go on
	return task.Wait(s.ctx, grace, func() (int, error) { return s.w.Write(own) })
}

// openSpecial opens a pipe or a device to write. A pipe waits for a reader, at most as long
// as a stream does.
func openSpecial(ctx context.Context, name string) (*os.File, error) {
	return task.Wait(ctx, grace, func() (*os.File, error) { return os.OpenFile(name, os.O_WRONLY, 0) })
}
