package gpioline

import (
	"errors"
	"fmt"

	"makebreak/rig/capture"
	"makebreak/rig/line"
)

// Drive sets a drive. The instant is the middle between two readings of the
// clock around the kernel's call, and within is half their distance: the line
// changed somewhere in there, on a chip whose lines are set by the call itself.
func (s *Set) Drive(index int, active bool) (at capture.Instant, within int64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	h, err := s.at(index)
	if err != nil {
		return 0, 0, err
	}
	if h.role != line.Drive {
		return 0, 0, fail(h.title, "", fmt.Errorf("the line is a %s, not a drive: it is only read", h.role))
	}
	if active {
		if err := s.mayTurnOn(h); err != nil {
			return 0, 0, err
		}
	}
	before := now()
	err = setValue(h.fd, active)
	after := now()
	if err != nil {
		return 0, 0, fail(h.title, "set the drive", advised(removedAdvice(err), err))
	}
	if err := s.turned(h, active); err != nil {
		return 0, 0, err
	}
	spread := int64(after - before)
	return before + capture.Instant(spread/2), (spread + 1) / 2, nil
}

// mayTurnOn starts the drive's timer before it is switched on; the lock is held.
func (s *Set) mayTurnOn(h *held) error {
	if err := s.lostBy(); err != nil {
		return err
	}
	if err := h.arm(now()); err != nil {
		return fail(h.title, "set the drive", err)
	}
	return nil
}

// turned stops the timer of a drive that is off. Of one that is on it looks whether the guard
// has put all at rest since the timer was started: the program may have stood still in
// between. The lock is held.
func (s *Set) turned(h *held, on bool) error {
	if on {
		return s.look()
	}
	late, err := h.disarm()
	if err != nil {
		return fail(h.title, "set the drive", err)
	}
	if late {
		s.lose(h.stoodStill())
	}
	return s.lostBy()
}

// Release makes every drive inactive and does the safe writes. It may be called from any
// goroutine and any number of times; a drive that fails does not keep the others from
// being released.
func (s *Set) Release() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return nil
	}
	return s.release()
}

// release sets the drives inactive, then does the safe writes, which may take longer; the
// lock is held.
func (s *Set) release() error {
	var failed []error
	for i := range s.lines {
		h := &s.lines[i]
		if h.role != line.Drive {
			continue
		}
		if err := setValue(h.fd, false); err != nil {
			failed = append(failed, fail(h.title, "release the drive", advised(removedAdvice(err), err)))
			continue // and its timer runs on
		}
		late, err := h.disarm()
		if late && s.lost.Load() == nil {
			err = h.stoodStill()
			s.lost.Store(&err)
		}
		failed = append(failed, err)
	}
	return errors.Join(append(failed, runSafeWrites(s.safe))...)
}

// drives returns the drives' descriptors.
func (s *Set) drives() []int {
	var fds []int
	for _, h := range s.lines {
		if h.role == line.Drive {
			fds = append(fds, h.fd)
		}
	}
	return fds
}
