package record

import (
	"context"
	"io"

	"makebreak/rig/task"
)

// ctxReader is a stream whose reading ends with the context, even while it
// waits for more to come.
type ctxReader struct {
	ctx context.Context
	r   io.Reader
}

func (c ctxReader) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	type result struct {
		n   int
		err error
	}
	read := make(chan result, 1)
	own := make([]byte, len(p)) // a read that was given up may still write
	task.Go(func() {
		n, err := c.r.Read(own)
		read <- result{n, err}
	})
	select {
	case r := <-read:
		return copy(p, own[:r.n]), r.err
	case <-c.ctx.Done():
		return 0, c.ctx.Err()
	}
}
