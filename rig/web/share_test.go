package web

import (
	"context"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// Work is done one piece after the other, takes its part of the time, and only so many wait.
func TestShare(t *testing.T) {
	t.Parallel()
	for _, part := range []int{1, 4} {
		synctest.Test(t, func(t *testing.T) {
			const pieces, each = 5, time.Second
			s := NewShare(part, pieces-1)
			begun, at := time.Now(), 0
			var wg sync.WaitGroup
			for range pieces {
				wg.Go(func() {
					if !s.Begin(t.Context()) {
						t.Error("it was refused")
						return
					}
					defer s.End()
					if at++; at > 1 {
						t.Error("two pieces of work are done at once")
					}
					time.Sleep(each)
					at--
				})
				synctest.Wait()
			}
			if s.Begin(t.Context()) {
				t.Error("more wait than may")
			}
			wg.Wait()
			if took, want := time.Since(begun), each*time.Duration(1+(pieces-1)*part); took != want {
				t.Errorf("one part in %d: %v, want %v", part, took, want)
			}
			ctx, cancel := context.WithCancel(t.Context())
			cancel()
			if s.Begin(ctx) {
				t.Error("work begins for one who has gone")
			}
			if !s.Begin(t.Context()) {
				t.Error("the turn was lost with one who has gone")
			}
		})
	}
}

// After a long piece of work nobody waits for ever.
func TestShare_Long(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		s := NewShare(20, 2)
		s.Begin(t.Context())
		time.Sleep(time.Minute)
		s.End()
		begun := time.Now()
		if !s.GoOn(t.Context()) || time.Since(begun) != mostRest {
			t.Errorf("the next one waited %v, want %v", time.Since(begun), mostRest)
		}
	})
}
