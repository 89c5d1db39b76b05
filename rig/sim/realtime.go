package sim

import (
	"context"
	"time"
)

// pacer keeps the world from running ahead of the wall clock. It never hurries the
// world: however late the program is woken, in the world it is in time, so that a
// bench that is paced for a person measures the same as one that is not.
type pacer struct {
	began  time.Time
	wakeup chan struct{}
}

func newPacer() *pacer {
	return &pacer{began: time.Now(), wakeup: make(chan struct{}, 1)}
}

// wall returns the instant that it is by the wall clock.
func (p *pacer) wall() int64 { return int64(Start) + int64(time.Since(p.began)) }

// wake ends a sleep, because another goroutine wants something.
func (p *pacer) wake() {
	select {
	case p.wakeup <- struct{}{}:
	default:
	}
}

// sleep waits until the wall clock is at the instant, a wakeup comes or the
// context is done.
func (p *pacer) sleep(ctx context.Context, until int64) error {
	d := time.Duration(until - p.wall())
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-p.wakeup:
	case <-t.C:
	}
	return nil
}

// aheadMost is how far bus traffic may take the world ahead of the wall clock.
const aheadMost = int64(2 * time.Millisecond)

// pace holds a caller that does nothing but bus traffic.
func (w *World) pace() {
	if ahead := w.now - w.real.wall(); ahead > aheadMost {
		time.Sleep(time.Duration(ahead))
	}
}

// waitReal is Wait against the wall clock: what happens next happens once the wall
// clock is nearly there.
func (s *lineSet) waitReal(ctx context.Context, deadline int64) error {
	w := s.w
	for n := 1; ; n++ {
		w.listen()
		if len(s.edges) > 0 || w.now >= deadline {
			return nil
		}
		if n%lookEvery == 0 && ctx.Err() != nil {
			return ctx.Err() // where the world never catches up with the clock nothing sleeps
		}
		next := min(w.due, deadline)
		if next-w.real.wall() > aheadMost {
			if err := w.real.sleep(ctx, next-aheadMost/2); err != nil {
				return err
			}
			continue
		}
		if next == w.due {
			w.run(next)
		} else {
			w.now = next
		}
	}
}
