package gpioline

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/capture"
	"makebreak/rig/guard"
	"makebreak/rig/line"
	"makebreak/rig/problem"
)

func TestMain(m *testing.M) {
	unguarded = os.Getenv("GPIOLINE_TEST_UNGUARDED") != ""
	helperMain()
	os.Exit(m.Run())
}

// pipeSet is a set whose read lines are the ends of pipes: what is written
// into one is read as the kernel's events would be.
func pipeSet(t *testing.T, n int) (*Set, []int) {
	t.Helper()
	wakeup, err := newWakeup()
	if err != nil {
		t.Fatal(err)
	}
	s := &Set{wake: wakeup}
	var ends []int
	for i := range n {
		var p [2]int
		if err := unix.Pipe2(p[:], unix.O_CLOEXEC|unix.O_NONBLOCK); err != nil {
			t.Fatal(err)
		}
		s.lines = append(s.lines, held{title: "a pipe", role: line.Contact, fd: p[0]})
		s.poll = append(s.poll, unix.PollFd{Fd: int32(p[0]), Events: unix.POLLIN})
		s.index = append(s.index, i)
		ends = append(ends, p[1])
	}
	s.poll = append(s.poll, unix.PollFd{Fd: int32(wakeup.fd), Events: unix.POLLIN})
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s, ends
}

func send(t *testing.T, fd int, data []byte) {
	t.Helper()
	if n, err := unix.Write(fd, data); err != nil || n != len(data) {
		t.Fatalf("%d of %d bytes written: %v", n, len(data), err)
	}
}

func TestSet_Edges_ByLine(t *testing.T) {
	s, ends := pipeSet(t, 2)
	send(t, ends[1], event(10, eventRising, 5, 1, 1))
	send(t, ends[0], append(event(20, eventRising, 4, 1, 1), event(30, eventFall, 4, 2, 2)...))
	if err := s.Wait(t.Context(), s.Now().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	got, err := s.Edges([]line.Edge{{Seq: 99}})
	if err != nil {
		t.Fatal(err)
	}
	want := []line.Edge{
		{Seq: 99},
		{Line: 0, At: 20, Active: true, Seq: 1}, {Line: 0, At: 30, Seq: 2},
		{Line: 1, At: 10, Active: true, Seq: 1},
	}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%d: %+v, want %+v", i, got[i], want[i])
		}
	}
	if got, err := s.Edges(nil); len(got) != 0 || err != nil {
		t.Errorf("read again: %v, %v", got, err)
	}
}

// One line's unread edges come in full, across many reads.
func TestSet_Edges_FullQueue(t *testing.T) {
	s, ends := pipeSet(t, 1)
	for i := range QueueLen {
		send(t, ends[0], event(uint64(i), 1+uint32(i%2), 0, 0, uint32(i+1)))
	}
	got, err := s.Edges(nil)
	if err != nil || len(got) != QueueLen {
		t.Fatalf("%d edges, %v", len(got), err)
	}
	for i, e := range got {
		if e.Seq != uint32(i+1) {
			t.Fatalf("edge %d has number %d", i, e.Seq)
		}
	}
}

// A hung-up descriptor is how the kernel shows that a chip has gone
// (gpiolib-cdev.c, linereq_poll: EPOLLHUP | EPOLLERR).
func TestSet_Wait_Gone(t *testing.T) {
	s, ends := pipeSet(t, 2)
	unix.Close(ends[1])
	err := s.Wait(t.Context(), s.Now().Add(time.Hour))
	if !errors.Is(err, unix.ENODEV) || !strings.Contains(err.Error(), "unplugged") {
		t.Errorf("Wait: %v", err)
	}
	if _, err := s.Edges(nil); !errors.Is(err, unix.ENODEV) {
		t.Errorf("Edges: %v", err)
	}
}

func TestSet_Wait_Cancelled(t *testing.T) {
	s, _ := pipeSet(t, 1)
	ctx, cancel := context.WithCancel(t.Context())
	go cancel()
	if err := s.Wait(ctx, s.Now().Add(time.Hour)); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want cancelled", err)
	}
	if err := s.Wait(ctx, s.Now().Add(time.Hour)); !errors.Is(err, context.Canceled) {
		t.Errorf("called with a dead context: %v", err)
	}
}

// A ring that came too late for its own wait must not end the next one early.
func TestSet_Wait_StaleWake(t *testing.T) {
	s, _ := pipeSet(t, 1)
	s.wake.wake()
	deadline := s.Now().Add(20 * time.Millisecond)
	if err := s.Wait(t.Context(), deadline); err != nil {
		t.Fatal(err)
	}
	if now := s.Now(); now < deadline {
		t.Errorf("back %v before the deadline", deadline.Sub(now))
	}
}

func TestSet_Wait_Deadline(t *testing.T) {
	s, _ := pipeSet(t, 1)
	for _, d := range []time.Duration{-time.Hour, 0, time.Nanosecond, 3 * time.Millisecond} {
		deadline := s.Now().Add(d)
		if err := s.Wait(t.Context(), deadline); err != nil {
			t.Fatal(err)
		}
		if now := s.Now(); now < deadline {
			t.Errorf("deadline in %v: back %v early", d, deadline.Sub(now))
		}
	}
}

// The clock is CLOCK_MONOTONIC: it agrees with the kernel's own account of the
// time since the machine started, less what it slept (/proc/uptime counts that
// too, so only order is compared).
func TestSet_Now(t *testing.T) {
	s, _ := pipeSet(t, 0)
	var before, after unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &before); err != nil {
		t.Fatal(err)
	}
	got := s.Now()
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &after); err != nil {
		t.Fatal(err)
	}
	if got < capture.Instant(before.Nano()) || got > capture.Instant(after.Nano()) {
		t.Errorf("%d not between %d and %d", got, before.Nano(), after.Nano())
	}
}

func TestSet_Close_Twice(t *testing.T) {
	s, _ := pipeSet(t, 1)
	for range 2 {
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Wait(t.Context(), 0); !errors.Is(err, os.ErrClosed) {
		t.Errorf("Wait: %v", err)
	}
	if _, err := s.Edges(nil); !errors.Is(err, os.ErrClosed) {
		t.Errorf("Edges: %v", err)
	}
	if _, err := s.Active(0); !errors.Is(err, os.ErrClosed) {
		t.Errorf("Active: %v", err)
	}
	if _, _, err := s.Drive(0, true); !errors.Is(err, os.ErrClosed) {
		t.Errorf("Drive: %v", err)
	}
	if err := s.Release(); err != nil {
		t.Errorf("Release: %v", err)
	}
}

// A pipe is no drive: releasing fails, for each of them, and the errno is kept.
func TestSet_Release_GoesOn(t *testing.T) {
	s, _ := pipeSet(t, 2)
	s.lines[0].role, s.lines[0].title = line.Drive, "D1"
	s.lines[1].role, s.lines[1].title = line.Drive, "D2"
	err := s.Release()
	if !errors.Is(err, unix.ENOTTY) || !strings.Contains(err.Error(), "D1") || !strings.Contains(err.Error(), "D2") {
		t.Errorf("%v", err)
	}
	s.lines[0].role, s.lines[1].role = line.Contact, line.Contact
}

// What Close could not do is told, each of it, with the kind that ends the program by the
// rig's status: a drive that may have stayed on, a line that was not given back, a guard that
// failed, a bus that did not close.
func TestSet_Close_Errors(t *testing.T) {
	s, ends := pipeSet(t, 2)
	s.lines[0].role, s.lines[0].title = line.Drive, "SIREN (gpiochip0 line 5)"
	if err := unix.Close(s.lines[1].fd); err != nil {
		t.Fatal(err)
	}
	s.lines[1].fd, s.lines[1].title = -1, "K1_NO (gpiochip0 line 6)"
	bus := &fakeBus{closeErr: errors.New("the bus does not close")}
	s.safe = []safeWrite{{SafeWrite{Address: 0x60, Bytes: []byte{1}}, bus}}
	s.guard = failingGuard(t)
	err := s.Close()
	for _, want := range []string{
		"SIREN (gpiochip0 line 5): release the drive: ",
		"K1_NO (gpiochip0 line 6): give the line back: ",
		"guard over the drives: bad file descriptor",
		"the bus does not close",
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v\nlacks %q", err, want)
		}
	}
	if problem.KindOf(err) != problem.Rig || !errors.Is(err, unix.ENOTTY) || !errors.Is(err, unix.EBADF) {
		t.Errorf("kind %v of %v", problem.KindOf(err), err)
	}
	if string(bus.wrote) != "\x01" {
		t.Errorf("the safe state was written as % X", bus.wrote)
	}
	if _, err := unix.Write(ends[0], []byte{1}); !errors.Is(err, unix.EPIPE) {
		t.Errorf("the drive's line was not given back: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Errorf("closed again: %v", err)
	}
}

// failingGuard is a guard that cannot do its act.
func failingGuard(t *testing.T) *guard.Watch {
	t.Helper()
	unwritable, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer unwritable.Close()
	g, err := guard.Post()
	if err != nil {
		t.Fatal(err)
	}
	w, err := g.Watch([]guard.Act{{Descriptor: int(unwritable.Fd()), Bytes: []byte{1}}}, nil, func(error) {})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func TestSet_WrongLine(t *testing.T) {
	s, _ := pipeSet(t, 1)
	for _, index := range []int{-1, 1} {
		if _, err := s.Active(index); err == nil {
			t.Errorf("Active(%d) gave no error", index)
		}
	}
	if _, _, err := s.Drive(0, true); err == nil || !strings.Contains(err.Error(), "contact") {
		t.Errorf("driving a contact: %v", err)
	}
}

// The set allocates nothing while it watches, once the caller's buffer is
// large enough.
func TestSet_Edges_Allocations(t *testing.T) {
	s, ends := pipeSet(t, 4)
	buf := make([]line.Edge, 0, 16)
	one := event(1, 1, 0, 1, 1)
	if n := testing.AllocsPerRun(100, func() {
		for _, fd := range ends {
			_, _ = unix.Write(fd, one)
		}
		buf, _ = s.Edges(buf[:0])
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
	if len(buf) != 4 {
		t.Errorf("%d edges, want 4", len(buf))
	}
}

// Without any GPIO chip the message says so, and what to look at.
func TestOpen_NoChip(t *testing.T) {
	if nodes, _ := filepath.Glob("/dev/gpiochip*"); len(nodes) > 0 {
		t.Skip("this machine has GPIO chips; the kernel bench checks the messages with chips")
	}
	for _, l := range []line.Line{
		{Name: "K1_NO", Chip: "gpiochip0", Number: 3},
		{Name: "K1_NO", LineName: "GPIO3", Number: -1},
	} {
		_, err := Open([]Request{{Line: l, Role: line.Contact}})
		if !errors.Is(err, unix.ENOENT) || !strings.HasPrefix(err.Error(), "K1_NO: no GPIO chip") {
			t.Errorf("%v", err)
		}
		if problem.KindOf(err) != problem.Rig {
			t.Errorf("kind %v of %v", problem.KindOf(err), err)
		}
	}
	if chips, err := Inventory(); len(chips) != 0 || err != nil {
		t.Errorf("inventory: %v, %v", chips, err)
	}
}

func TestOpen_NoLines(t *testing.T) {
	s, err := Open(nil)
	if err != nil {
		t.Fatal(err)
	}
	if s.Guarded() {
		t.Error("a guard over no drives")
	}
	if err := s.Wait(t.Context(), s.Now().Add(time.Millisecond)); err != nil {
		t.Error(err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// timedSet is a set with one drive that has been on for longer than it may.
func timedSet(t *testing.T) *Set {
	t.Helper()
	s, _ := pipeSet(t, 1)
	s.lines[0].longest = time.Second
	s.lines[0].role = line.Drive
	if err := s.startAlarms(); err != nil {
		t.Fatal(err)
	}
	s.lines[0].role = line.Contact // a pipe, which cannot be set
	s.poll = append(s.poll, unix.PollFd{Fd: int32(s.lines[0].alarm), Events: unix.POLLIN})
	// No longer ago than need be: a machine that has just started has no instant a minute ago.
	if err := s.lines[0].arm(now().Add(-s.lines[0].longest - overdue - time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	return s
}

// A program that stood still while a drive was on learns of it with the next wait, and can
// switch nothing on any more.
func TestSet_StoodStill(t *testing.T) {
	s := timedSet(t)
	bus := &fakeBus{}
	s.safe = []safeWrite{{SafeWrite{Bytes: []byte{7}}, bus}}
	err := s.Wait(t.Context(), s.Now().Add(time.Hour))
	if err == nil || problem.KindOf(err) != problem.Rig || !strings.Contains(err.Error(), "a pipe: the program stood still while the drive was on: after 1 s (longest_on") {
		t.Fatalf("%v", err)
	}
	if string(bus.wrote) != "\x07" {
		t.Errorf("the safe write was % X", bus.wrote)
	}
	if again := s.Wait(t.Context(), s.Now().Add(time.Hour)); again == nil {
		t.Error("the next wait goes on")
	}
	s.lines[0].role = line.Drive
	defer func() { s.lines[0].role = line.Contact }()
	if _, _, on := s.Drive(0, true); !errors.Is(on, err) {
		t.Errorf("switched on: %v", on)
	}
}

// A timer that has been stopped in time has not run out, and says so; one that ran out before
// says that, too.
func TestHeld_Disarm(t *testing.T) {
	s := timedSet(t)
	h := &s.lines[0]
	if late, err := h.disarm(); !late || err != nil {
		t.Errorf("stopped too late: %v, %v", late, err)
	}
	if err := h.arm(now()); err != nil {
		t.Fatal(err)
	}
	if h.ranOut() {
		t.Error("ran out at once")
	}
	if err := h.arm(now().Add(-time.Minute)); err != nil || h.ranOut() {
		t.Errorf("a drive that is on counts from when it went on: %v", err)
	}
	if late, err := h.disarm(); late || err != nil {
		t.Errorf("stopped in time: %v, %v", late, err)
	}
	if late, err := h.disarm(); late || err != nil {
		t.Errorf("stopped twice: %v, %v", late, err)
	}
}

// The end of the guard ends a wait, and lets nothing be switched on any more.
func TestSet_GuardWent(t *testing.T) {
	s, _ := pipeSet(t, 1)
	bus := &fakeBus{}
	s.safe = []safeWrite{{SafeWrite{Bytes: []byte{7}}, bus}}
	ended := make(chan error)
	go func() { ended <- s.Wait(context.Background(), s.Now().Add(time.Hour)) }()
	s.guardSays(guard.ErrGone)
	if err := <-ended; !errors.Is(err, guard.ErrGone) || problem.KindOf(err) != problem.Rig {
		t.Errorf("%v", err)
	}
	if string(bus.wrote) != "\x07" {
		t.Errorf("the safe write was % X", bus.wrote)
	}
}

// The loop learns of the guard's end by itself: whoever else is told may not get to run.
func TestSet_GuardHangsUp(t *testing.T) {
	s, _ := pipeSet(t, 1)
	ends, err := unix.Socketpair(unix.AF_UNIX, unix.SOCK_SEQPACKET|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(ends[0])
	s.poll = append(s.poll, unix.PollFd{Fd: int32(ends[0])})
	if err := s.Wait(t.Context(), s.Now().Add(time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	unix.Close(ends[1])
	if err := s.Wait(t.Context(), s.Now().Add(time.Hour)); !errors.Is(err, guard.ErrGone) {
		t.Errorf("%v", err)
	}
}

func BenchmarkSet_Edges(b *testing.B) {
	wakeup, err := newWakeup()
	if err != nil {
		b.Fatal(err)
	}
	s := &Set{wake: wakeup}
	var ends []int
	for i := range 8 {
		var p [2]int
		if err := unix.Pipe2(p[:], unix.O_CLOEXEC|unix.O_NONBLOCK); err != nil {
			b.Fatal(err)
		}
		s.lines = append(s.lines, held{role: line.Contact, fd: p[0]})
		s.poll = append(s.poll, unix.PollFd{Fd: int32(p[0]), Events: unix.POLLIN})
		s.index = append(s.index, i)
		ends = append(ends, p[1])
	}
	s.poll = append(s.poll, unix.PollFd{Fd: int32(wakeup.fd), Events: unix.POLLIN})
	defer s.Close()
	one := event(1, 1, 0, 1, 1)
	buf := make([]line.Edge, 0, 16)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := unix.Write(ends[0], one); err != nil {
			b.Fatal(err)
		}
		if err := s.Wait(b.Context(), s.Now().Add(time.Second)); err != nil {
			b.Fatal(err)
		}
		if buf, err = s.Edges(buf[:0]); err != nil || len(buf) != 1 {
			b.Fatal(len(buf), err)
		}
	}
}
