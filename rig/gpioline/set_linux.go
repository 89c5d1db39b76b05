package gpioline

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/capture"
	"makebreak/rig/guard"
	"makebreak/rig/line"
	"makebreak/rig/problem"
	"makebreak/rig/task"
)

// Set is the lines of one rig, held from Open to Close. It implements
// line.Set.
type Set struct {
	lines  []held
	poll   []unix.PollFd // the read lines, then the wake-up call, the timers and the guard
	index  []int         // of the line that a poll entry belongs to
	wake   *wakeup
	safe   []safeWrite
	guard  *guard.Watch          // nil: there is nothing to watch over
	forget func()                // the release at a fault of the program
	lost   atomic.Pointer[error] // why drives cannot be switched any more
	data   [eventsAt * eventLen]byte

	watched      context.Context // whose end wakes a wait
	stopWatching func() bool

	mu     sync.Mutex // over closed, and over the drives' descriptors
	closed bool
}

var _ line.Set = (*Set)(nil)

// held is one requested line.
type held struct {
	title  string // for messages: K1_NO (gpiochip0 line 5)
	role   line.Role
	fd     int
	chip   string
	offset int

	longest time.Duration // of a drive, 0: as long as it is told to
	alarm   int           // the descriptor of a timer of the kernel's that runs while the drive is on; 0: none
	armed   bool          // the timer runs, or has run out
}

// Open requests the lines. A line's index in reqs is its index everywhere. If
// one of them cannot be had, none is kept. The safe writes are done with every release
// of the drives.
func Open(reqs []Request, safe ...SafeWrite) (*Set, error) {
	s := &Set{}
	if err := s.open(reqs, safe); err != nil {
		return nil, errors.Join(problem.Of(problem.Rig, err), s.Close())
	}
	return s, nil
}

func (s *Set) open(reqs []Request, safe []SafeWrite) error {
	for _, r := range reqs {
		h, err := request(r, s.lines)
		if err != nil {
			return fmt.Errorf("%s: %w", lineTitle(r.Line), err)
		}
		s.lines = append(s.lines, h)
	}
	var err error
	if s.wake, err = newWakeup(); err != nil {
		return err
	}
	for i, h := range s.lines {
		if h.role != line.Drive {
			s.poll = append(s.poll, unix.PollFd{Fd: int32(h.fd), Events: unix.POLLIN})
			s.index = append(s.index, i)
		}
	}
	s.poll = append(s.poll, unix.PollFd{Fd: int32(s.wake.fd), Events: unix.POLLIN})
	if s.safe, err = openSafeWrites(safe); err != nil {
		return err
	}
	return s.watchOver(safe)
}

// request finds one line and asks the kernel for it.
func request(r Request, others []held) (held, error) {
	at, err := find(r.Line)
	if err != nil {
		return held{}, err
	}
	defer at.chip.close()
	h := held{
		title:   fmt.Sprintf("%s (%s line %d)", lineTitle(r.Line), at.chip.name, at.offset),
		role:    r.Role,
		chip:    at.chip.name,
		offset:  at.offset,
		longest: r.LongestOn,
	}
	for _, o := range others {
		if o.chip == h.chip && o.offset == h.offset {
			return held{}, fmt.Errorf("%s line %d is already taken by %s: %w", h.chip, h.offset, o.title, unix.EBUSY)
		}
	}
	req, err := newRequest(at.offset, r.Line, r.Role)
	if err != nil {
		return held{}, err
	}
	if err := ioctl(at.chip.fd, getLine, req); err != nil {
		return held{}, fmt.Errorf("%s line %d: %s%w", at.chip.name, at.offset, requestAdvice(at, err), err)
	}
	h.fd = int(req.fd)
	unix.CloseOnExec(h.fd)
	if err := unix.SetNonblock(h.fd, r.Role != line.Drive); err != nil {
		unix.Close(h.fd)
		return held{}, err
	}
	return h, nil
}

// requestAdvice says in plain words why the kernel did not give a line.
func requestAdvice(at place, err error) string {
	switch {
	case errors.Is(err, unix.EBUSY):
		who := "something that gives no name"
		if in, err := at.chip.info(at.offset); err == nil && in.Consumer != "" {
			who = fmt.Sprintf("%q", in.Consumer)
		}
		return fmt.Sprintf("in use by %s; end that program or driver, or wire another line: ", who)
	case errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOTTY):
		return "the kernel refuses the request (GPIO interface version 2 needs Linux 5.10 or later, and the line must be able to do what it is for): "
	case errors.Is(err, unix.ENXIO):
		return "the chip gives no interrupt for this line, so its edges cannot be timed; wire another line: "
	case errors.Is(err, unix.EPERM), errors.Is(err, unix.EACCES):
		return "the kernel keeps this line to itself: "
	}
	return removedAdvice(err)
}

// Now returns the present instant of CLOCK_MONOTONIC.
func (s *Set) Now() capture.Instant { return now() }

// longestSleep bounds one sleep, well inside what a 32 bit time structure holds.
const longestSleep = time.Hour

// Wait returns when an edge waits to be read, when the deadline has come or
// when the context is done, then with its error. A chip that has gone is an
// error for which errors.Is(err, unix.ENODEV) holds.
func (s *Set) Wait(ctx context.Context, deadline capture.Instant) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if s.closed {
		return errClosed
	}
	s.watch(ctx)
	for {
		left := min(deadline.Sub(now()), longestSleep)
		n, err := s.pollFor(max(left, 0))
		if err != nil {
			return fail("", "wait for edges", err)
		}
		if s.wake.consume(&s.poll[len(s.index)]) {
			n--
			if err := ctx.Err(); err != nil {
				return err
			}
		}
		if err := s.disturbed(); err != nil {
			return err
		}
		if n > 0 {
			return s.pollErr()
		}
		if now() >= deadline {
			return nil
		}
	}
}

// watch arranges that the context's end wakes a wait. A loop waits with the same context
// some thousand times a second: it is arranged once, not each time, since what it takes
// in memory would have to be collected while conversions wait to be fetched.
func (s *Set) watch(ctx context.Context) {
	if s.watched == ctx {
		return
	}
	if s.stopWatching != nil {
		s.stopWatching()
	}
	s.watched, s.stopWatching = ctx, context.AfterFunc(ctx, task.Covered(s.wake.wake))
}

// pollFor waits for events or the wake-up call, once, and returns how many
// descriptors have something. A signal ends it early, with 0.
func (s *Set) pollFor(d time.Duration) (int, error) {
	ts := unix.NsecToTimespec(int64(d))
	n, err := unix.Ppoll(s.poll, &ts, nil)
	if errors.Is(err, unix.EINTR) {
		for i := range s.poll {
			s.poll[i].Revents = 0
		}
		return 0, nil
	}
	return n, err
}

// pollErr returns what the last poll said of lines that cannot be read any
// more.
func (s *Set) pollErr() error {
	for k, i := range s.index {
		if s.poll[k].Revents&(unix.POLLERR|unix.POLLHUP|unix.POLLNVAL) != 0 {
			return fail(s.lines[i].title, "", advised(removedAdvice(unix.ENODEV), unix.ENODEV))
		}
	}
	return nil
}

// Edges appends the edges that wait to be read, oldest first by line, and
// returns at once. Edges read before an error are kept.
func (s *Set) Edges(buf []line.Edge) ([]line.Edge, error) {
	if s.closed {
		return buf, errClosed
	}
	n, err := s.pollFor(0)
	if err != nil {
		return buf, fail("", "look for edges", err)
	}
	if n == 0 {
		return buf, nil
	}
	for k, i := range s.index {
		if s.poll[k].Revents&unix.POLLIN == 0 {
			continue
		}
		if buf, err = s.read(buf, i); err != nil {
			return buf, fail(s.lines[i].title, "", advised(removedAdvice(err), err))
		}
	}
	return buf, s.pollErr()
}

// read takes at most one queue's worth of edges of one line, so that a line
// that never rests cannot hold up the others.
func (s *Set) read(buf []line.Edge, index int) ([]line.Edge, error) {
	for range QueueLen / eventsAt {
		n, err := unix.Read(s.lines[index].fd, s.data[:])
		switch {
		case errors.Is(err, unix.EAGAIN):
			return buf, nil
		case errors.Is(err, unix.EINTR):
			continue
		case err != nil:
			return buf, err
		}
		if buf, err = appendEvents(buf, index, s.data[:n]); err != nil || n < len(s.data) {
			return buf, err
		}
	}
	return buf, nil
}

// Active returns the present state of a line, polarity applied. Edges that led
// to it may still wait to be read.
func (s *Set) Active(index int) (bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	h, err := s.at(index)
	if err != nil {
		return false, err
	}
	active, err := getValue(h.fd)
	if err != nil {
		return false, fail(h.title, "", advised(removedAdvice(err), err))
	}
	return active, nil
}

// at returns the line with the index; the lock is held.
func (s *Set) at(index int) (*held, error) {
	if s.closed {
		return nil, errClosed
	}
	if index < 0 || index >= len(s.lines) {
		return nil, problem.Of(problem.Internal, fmt.Errorf("line %d asked for: the set has %d lines", index, len(s.lines)))
	}
	return &s.lines[index], nil
}

var errClosed = fail("", "", fmt.Errorf("the lines have been given back: %w", os.ErrClosed))

// fail returns an error of the rig; place or op may be empty.
func fail(place, op string, err error) error {
	return &problem.Error{Kind: problem.Rig, Place: place, Op: op, Err: err}
}

// advised puts advice, which may be empty, before an error.
func advised(advice string, err error) error { return fmt.Errorf("%s%w", advice, err) }

// Close makes every drive inactive, does the safe writes and gives the lines back. It may
// be called again, without effect.
func (s *Set) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return nil
	}
	failed := []error{s.release()}
	s.closed = true
	if s.stopWatching != nil {
		s.stopWatching()
	}
	for _, h := range s.lines {
		if err := unix.Close(h.fd); err != nil {
			failed = append(failed, fail(h.title, "give the line back", err))
		}
	}
	if s.forget != nil {
		s.forget()
	}
	failed = append(failed, s.guard.Close(), s.closeAlarms(), s.wake.close(), closeSafeWrites(s.safe))
	return errors.Join(failed...)
}
