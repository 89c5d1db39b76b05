package main

import (
	"context"
	"io"
)

// interruptible is a stream whose reading ends with the context, even while it
// waits for more to come.
type interruptible struct {
	ctx context.Context
	r   io.Reader
}

func (i interruptible) Read(p []byte) (int, error) {
	if err := i.ctx.Err(); err != nil {
		return 0, err
	}
	type result struct {
		n   int
		err error
	}
	read := make(chan result, 1)
	own := make([]byte, len(p)) // a read that was given up may still write
	go func() {
		n, err := i.r.Read(own)
		read <- result{n, err}
	}()
	select {
	case r := <-read:
		return copy(p, own[:r.n]), r.err
	case <-i.ctx.Done():
		return 0, i.ctx.Err()
	}
}
