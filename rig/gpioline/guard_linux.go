package gpioline

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/capture"
	"makebreak/rig/guard"
	"makebreak/rig/i2cbus"
	"makebreak/rig/line"
	"makebreak/rig/task"
	"makebreak/rig/unit"
)

// The guard holds the drives' descriptors and those of the safe writes. When the program
// dies in a way that runs no more of its code, the guard makes the drives inactive and does
// the writes. A chip on a bus keeps its setting whatever becomes of the program. For drives
// the kernel alone cannot be trusted with that: on a Raspberry Pi's own kernel an output keeps
// its level after the program that held it has gone, unless strict_gpiod is set
// (raspberrypi/linux, pull request 6117).
//
// A program that stands still releases nothing either. So each drive has a timer of the
// kernel's, which both processes hold: the program starts it before it switches the drive
// on, and stops it once the drive is off. When it runs out the guard puts all at rest. The
// program sees the same timer, so it knows what happened as soon as it goes on.

// overdue is by how much a drive may be on for longer than its longest time before its guard
// takes the program for standing still.
const overdue = 20 * time.Millisecond

// watchOver has the program's guard watch over the drives and the safe writes, where there
// are any.
func (s *Set) watchOver(safe []SafeWrite) error {
	if len(s.drives())+len(safe) == 0 || unguarded {
		return nil
	}
	acts := releases(s.drives())
	for _, w := range safe {
		f, err := i2cbus.OpenAddress(w.Bus, w.Address)
		if err != nil {
			return fmt.Errorf("%s: %w", w.title(), err)
		}
		defer f.Close() // the guard has its own by then
		acts = append(acts, guard.Act{Descriptor: int(f.Fd()), Bytes: w.Bytes})
	}
	if err := s.startAlarms(); err != nil {
		return err
	}
	g, err := guard.Post()
	if err != nil {
		return err
	}
	w, err := g.Watch(acts, s.alarms(), s.guardSays)
	if err != nil {
		return err
	}
	s.mu.Lock()
	s.guard = w
	s.mu.Unlock()
	for _, fd := range s.alarms() {
		s.poll = append(s.poll, unix.PollFd{Fd: int32(fd), Events: unix.POLLIN})
	}
	s.poll = append(s.poll, unix.PollFd{Fd: int32(s.guard.Socket())}) // of which a hang-up is told unasked
	s.forget = task.AtFault(func(string) { _ = s.Release() })
	return nil
}

// unguarded leaves drives without a guard, for the test that shows what it is for.
var unguarded bool

// releases are the acts that make drives inactive.
func releases(drives []int) []guard.Act {
	inactive := make([]byte, 16)
	binary.NativeEndian.PutUint64(inactive[8:], 1) // the mask; lineValues
	var acts []guard.Act
	for _, fd := range drives {
		acts = append(acts, guard.Act{Descriptor: fd, Ioctl: setLineValues, Bytes: inactive})
	}
	return acts
}

// Guarded reports whether a guard releases the drives and does the safe writes if the
// program is killed.
func (s *Set) Guarded() bool { return s.guard != nil }

// startAlarms makes the timers of the drives that may not be on for ever.
func (s *Set) startAlarms() error {
	for i := range s.lines {
		h := &s.lines[i]
		if h.role != line.Drive || h.longest <= 0 {
			continue
		}
		fd, err := unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_CLOEXEC|unix.TFD_NONBLOCK)
		if err != nil {
			return fmt.Errorf("timer over the drive %s: %w", h.title, err)
		}
		h.alarm = fd
	}
	return nil
}

// alarms are the timers' descriptors.
func (s *Set) alarms() []int {
	var all []int
	for i := range s.lines {
		if a := s.lines[i].alarm; a != 0 {
			all = append(all, a)
		}
	}
	return all
}

func (s *Set) closeAlarms() error {
	var failed []error
	for i := range s.lines {
		if a := s.lines[i].alarm; a != 0 {
			failed = append(failed, unix.Close(a))
		}
	}
	return errors.Join(failed...)
}

// arm starts a drive's timer at the instant, unless it runs: a drive that is on counts from when
// it went on.
func (h *held) arm(at capture.Instant) error {
	if h.alarm == 0 || h.armed {
		return nil
	}
	end := at.Add(h.longest + overdue)
	to := unix.ItimerSpec{Value: unix.NsecToTimespec(int64(end))}
	if err := unix.TimerfdSettime(h.alarm, unix.TFD_TIMER_ABSTIME, &to, nil); err != nil {
		return fmt.Errorf("timer over the drive: %w", err)
	}
	h.armed = true
	return nil
}

// disarm stops a drive's timer, and reports whether it had run out.
func (h *held) disarm() (late bool, err error) {
	if h.alarm == 0 || !h.armed {
		return false, nil
	}
	var left unix.ItimerSpec
	if err := unix.TimerfdSettime(h.alarm, 0, &unix.ItimerSpec{}, &left); err != nil {
		return false, fmt.Errorf("timer over the drive: %w", err)
	}
	h.armed = false
	return left.Value.Nano() == 0, nil
}

// ranOut reports whether a drive's timer has run out.
func (h *held) ranOut() bool {
	if h.alarm == 0 || !h.armed {
		return false
	}
	var left unix.ItimerSpec
	return unix.TimerfdGettime(h.alarm, &left) == nil && left.Value.Nano() == 0
}

// stoodStill is the error where a drive's timer has run out.
func (h *held) stoodStill() error {
	return fail(h.title, "", fmt.Errorf("the program stood still while the drive was on: after %s (longest_on in the rig file) the guard put all drives and the supply at rest", unit.Time.Format(h.longest.Seconds())))
}

// guardSays releases the drives when the guard has ended before the program, or has put all at
// rest. It is called from the guard's goroutine.
func (s *Set) guardSays(why error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed || s.look() != nil {
		return // a timer has run out, which tells more
	}
	s.lose(fail("", "all drives and the supply were put at rest", why))
}

// lose releases the drives and lets none be switched on any more, and no wait go on; the lock
// is held.
func (s *Set) lose(why error) {
	if s.closed || s.lost.Load() != nil {
		return
	}
	s.lost.Store(&why)
	if err := s.release(); err != nil {
		why := errors.Join(why, err)
		s.lost.Store(&why)
	}
	s.wake.wake()
}

// lostBy returns why drives cannot be switched any more; nil: they can.
func (s *Set) lostBy() error {
	if why := s.lost.Load(); why != nil {
		return *why
	}
	return nil
}

// disturbed looks at what the last poll said of the timers and of the guard.
func (s *Set) disturbed() error {
	for i := len(s.index) + 1; i < len(s.poll); i++ {
		if s.poll[i].Revents == 0 {
			continue
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		if why := s.look(); why != nil {
			return why
		}
		// Of the guard only its end is told here. Its goroutine may learn of that later, once
		// this loop has let it run.
		if s.poll[i].Revents&unix.POLLHUP != 0 {
			s.lose(fail("", "all drives and the supply were put at rest", guard.ErrGone))
		}
	}
	return s.lostBy()
}

// look returns why drives cannot be switched any more, and sees to it that none is on then;
// the lock is held.
func (s *Set) look() error {
	for i := range s.lines {
		if h := &s.lines[i]; h.ranOut() {
			s.lose(h.stoodStill())
		}
	}
	if s.guard != nil && s.guard.Gone() {
		s.lose(fail("", "all drives and the supply were put at rest", guard.ErrGone))
	}
	return s.lostBy()
}
