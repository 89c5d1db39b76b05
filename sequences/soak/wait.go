package soak

import (
	"context"
	"errors"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/hardware"
	"makebreak/rig/problem"
	"makebreak/sequences/journal"
)

// The pauses between two attempts at a lost rig begin with firstPause and double up to
// longestPause.
const (
	firstPause   = 100 * time.Millisecond
	longestPause = 30 * time.Second
)

// Open opens the bench. One that does not answer is tried again for as long as the work
// allows.
func (w *Work) Open(ctx context.Context) (*bench.Bench, error) {
	return w.openUntil(ctx, time.Now().Add(w.WaitForRig))
}

func (w *Work) openUntil(ctx context.Context, deadline time.Time) (*bench.Bench, error) {
	for pause := firstPause; ; pause = min(2*pause, longestPause) {
		b, err := w.Bench()
		if err == nil && pause > firstPause {
			w.Hear.RigLost(false)
		}
		remaining := time.Until(deadline)
		if err == nil || problem.KindOf(err) != problem.Rig && !errors.Is(err, bench.ErrLost) || remaining <= 0 {
			return b, err
		}
		if pause == firstPause {
			w.Hear.RigLost(true)
			w.Hear.Say("%s; waiting up to %s for the rig", err, remaining.Round(time.Second))
		}
		w.Hear.Alive()
		if err := sleep(ctx, min(pause, remaining)); err != nil {
			return nil, err
		}
	}
}

func sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}

// retry is how long a rig that comes and goes is still waited for.
type retry struct {
	deadline time.Time
	pause    time.Duration
}

// wait waits for a rig that was lost and records the interruption. The time for it begins
// anew only after a whole cycle, and the pauses grow, lest a rig that comes and never does
// a cycle be tried without end.
func (s *Soak) wait(ctx context.Context, r *retry, why error, worked bool) (*bench.Bench, error) {
	stopped := s.work.now()
	s.work.Hear.RigLost(true)
	if r.deadline.IsZero() || worked {
		*r = retry{time.Now().Add(s.work.WaitForRig), firstPause}
		s.work.Hear.Say("Cycle %d: %s; waiting up to %s for the rig", s.cycles.next-1, why, s.work.WaitForRig)
	}
	remaining := time.Until(r.deadline)
	if remaining <= 0 {
		return nil, why
	}
	s.work.Hear.Alive()
	if err := sleep(ctx, min(r.pause, remaining)); err != nil {
		return nil, err
	}
	r.pause = min(2*r.pause, longestPause)
	b, err := s.work.openUntil(ctx, r.deadline)
	if err != nil {
		return nil, err
	}
	gap := journal.Interruption{After: s.cycles.next - 1, Stopped: stopped, Resumed: s.work.now(), Reason: why.Error(), Ending: capture.EndingOf(why)}
	if err := s.store.Run.Interrupted(gap); err != nil {
		return nil, errors.Join(problem.Of(problem.Storage, err), hardware.CloseBench(b))
	}
	s.work.Hear.RigLost(false)
	s.work.Hear.Interrupted()
	s.work.Hear.Say("The rig is back; going on with cycle %d", s.cycles.next)
	return b, nil
}
