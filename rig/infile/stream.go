package infile

import (
	"context"
	"io"

	"makebreak/rig/task"
)

// Stream returns a stream whose reading ends with the context, even while it waits for more
// to come.
func Stream(ctx context.Context, r io.Reader) io.Reader { return stream{ctx, r} }

type stream struct {
	ctx context.Context
	r   io.Reader
}

func (s stream) Read(p []byte) (int, error) {
	own := make([]byte, len(p)) // a read that was given up may still write
	n, err := waited(s.ctx, func() (int, error) { return s.r.Read(own) })
	return copy(p, own[:n]), err
}

// waited returns what f does, or the context's error where that ends first.
func waited[T any](ctx context.Context, f func() (T, error)) (got T, err error) {
	if err := ctx.Err(); err != nil {
		return got, err
	}
	return task.Wait(ctx, 0, f)
}
