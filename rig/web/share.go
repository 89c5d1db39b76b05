package web

import (
	"context"
	"sync"
	"time"
)

// A Share lets work for clients be done one after the other. Together it takes a part of a
// processor at most, so that sampling has the rest. Only a piece of work that takes long may take
// more: the next one waits for ten seconds at most.
type Share struct {
	part    int // works take one part in so many
	waiting int // that may wait for their turn
	turn    chan struct{}
	mu      sync.Mutex // guards what follows
	wait    int        // that wait
	begun   time.Time  // the work under way was
	rest    time.Time  // before which none begins
}

// NewShare returns a share of one part in so many of a processor, 1: all of one, for which so
// many may wait.
func NewShare(part, waiting int) *Share {
	return &Share{part: part, waiting: waiting, turn: make(chan struct{}, 1)}
}

// Begin waits for the turn of a piece of work, which End ends. False: too many wait, or the
// context has ended.
func (s *Share) Begin(ctx context.Context) bool {
	return !s.full() && s.GoOn(ctx)
}

// full reports whether as many wait as may.
func (s *Share) full() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.wait >= s.waiting
}

// GoOn is Begin for work that has begun and let others have a turn, however many wait.
func (s *Share) GoOn(ctx context.Context) bool { return s.take(ctx, nil) }

// take waits for a turn. Ready says of one that has come to it that it need not rest; nil: it
// must.
func (s *Share) take(ctx context.Context, ready func() bool) bool {
	s.mu.Lock()
	s.wait++
	s.mu.Unlock()
	defer func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.wait--
	}()
	select {
	case s.turn <- struct{}{}:
	case <-ctx.Done():
		return false
	}
	if ready != nil && ready() || s.rested(ctx) {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.begun = time.Now()
		return true
	}
	<-s.turn
	return false
}

// rested waits until work may begin; false: the context has ended.
func (s *Share) rested(ctx context.Context) bool {
	s.mu.Lock()
	rest := time.Until(s.rest)
	s.mu.Unlock()
	if rest <= 0 {
		return ctx.Err() == nil
	}
	wait := time.NewTimer(rest)
	defer wait.Stop()
	select {
	case <-wait.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// mostRest is how long others wait at most after a piece of work.
const mostRest = 10 * time.Second

// End gives the turn to the next.
func (s *Share) End() {
	s.mu.Lock()
	s.rest = time.Now().Add(min(mostRest, time.Duration(s.part-1)*time.Since(s.begun)))
	s.mu.Unlock()
	<-s.turn
}
