package task

import (
	"context"
	"time"
)

// Wait returns what f does, or the context's error where that has ended and f goes on for
// longer than the grace. F then goes on by itself, as an operating system's call that waits
// cannot be ended; what it does is lost.
func Wait[T any](ctx context.Context, grace time.Duration, f func() (T, error)) (got T, err error) {
	type result struct {
		got T
		err error
	}
	done := make(chan result, 1)
	Go(func() {
		got, err := f()
		done <- result{got, err}
	})
	select {
	case r := <-done:
		return r.got, r.err
	case <-ctx.Done():
	}
	late := time.NewTimer(grace)
	defer late.Stop()
	select {
	case r := <-done:
		return r.got, r.err
	case <-late.C:
		return got, ctx.Err()
	}
}
