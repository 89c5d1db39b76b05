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

// waited returns what f does, or the context's error where that ends first: f then goes on by
// itself, as an operating system's call that waits cannot be ended.
func waited[T any](ctx context.Context, f func() (T, error)) (got T, err error) {
	if err := ctx.Err(); err != nil {
		return got, err
	}
	type result struct {
		got T
		err error
	}
	done := make(chan result, 1)
	task.Go(func() {
		got, err := f()
		done <- result{got, err}
	})
	select {
	case r := <-done:
		return r.got, r.err
	case <-ctx.Done():
		return got, ctx.Err()
	}
}
