package guard

import (
	"errors"
	"fmt"
	"os"
	"runtime"
	"runtime/debug"
	"sync"
	"syscall"
	"time"

	"makebreak/rig/guard/process"
	"makebreak/rig/task"
)

// patience is how long the guard may take for an answer, and to end.
const patience = 20 * time.Second

// ErrGone says that the guard has ended before the program.
var ErrGone = errors.New("the guard over the drives has ended, killed or crashed")

// ErrRested says that the guard has put all at rest by itself: the program stood still, or
// began to crash.
var ErrRested = errors.New("the guard over the drives put all at rest")

// A Guard is the program's second process.
type Guard struct {
	process *os.Process
	socket  int
	crash   *os.File // what is written there is in the report
	forget  func()   // the report of a panic

	mu      sync.Mutex
	numbers int
	watches map[int]*Watch
	gone    bool
	ended   chan struct{} // closed once it is gone
	reaped  chan struct{} // closed once nothing of it is left
}

// A Watch is what the guard puts at rest when it must.
type Watch struct {
	guard  *Guard
	number int
	answer chan string
	lost   func(error)
}

var (
	only   sync.Mutex
	posted *Guard // the one that the program has
	kept   Report // where it is to report; an empty path: nowhere
)

// Post returns the program's guard, which it starts where none is at work.
func Post() (*Guard, error) {
	only.Lock()
	defer only.Unlock()
	return post()
}

// post does so; the lock is held.
func post() (*Guard, error) {
	if posted != nil && !posted.isGone() {
		return posted, nil
	}
	g, err := start()
	if err == nil && kept.Path != "" {
		err = g.send(process.KeepMessage(kept), nil)
	}
	if err != nil {
		return nil, fmt.Errorf("guard over the drives: %w", err)
	}
	posted = g
	return g, nil
}

// Keep has the program's guard, and any that follows it, write a report if the program does
// not end as it should.
func Keep(r Report) error {
	only.Lock()
	defer only.Unlock()
	kept = r
	g, err := post()
	if err != nil {
		return err
	}
	return g.send(process.KeepMessage(r), nil)
}

// Dismiss ends the guard, where one is at work: the program ends as it should. It returns
// when the guard has ended.
func Dismiss() {
	only.Lock()
	defer only.Unlock()
	if posted == nil {
		return
	}
	posted.dismiss()
	posted = nil
}

// EndWell tells the guard, where one is at work, that the program now ends as it should. It
// waits for nothing.
func EndWell() {
	if !only.TryLock() {
		return
	}
	defer only.Unlock()
	if posted != nil {
		_ = posted.send([]byte{process.End}, nil) // one that has gone needs no word
	}
}

// Tell adds to the report that the guard will write, where one is at work.
func Tell(text string) {
	if !only.TryLock() {
		return
	}
	defer only.Unlock()
	if posted != nil {
		posted.Tell(text)
	}
}

// start starts the guard from a thread of its own, which then waits for what it says. It must
// live as long as the program: when that thread dies the kernel tells the guard.
func start() (*Guard, error) {
	g := &Guard{watches: map[int]*Watch{}, ended: make(chan struct{}), reaped: make(chan struct{})}
	started := make(chan error)
	task.Go(func() {
		runtime.LockOSThread()
		err := g.spawn()
		started <- err
		if err == nil {
			g.listen()
		}
	})
	if err := <-started; err != nil {
		return nil, err
	}
	g.forget = task.AtFault(g.Tell)
	return g, nil
}

// spawn starts the process.
func (g *Guard) spawn() error {
	ends, err := syscall.Socketpair(syscall.AF_UNIX, syscall.SOCK_SEQPACKET|syscall.SOCK_CLOEXEC, 0)
	if err != nil {
		return err
	}
	theirs := os.NewFile(uintptr(ends[1]), "socket")
	defer theirs.Close()
	report, crash, err := os.Pipe()
	if err != nil {
		return errors.Join(err, syscall.Close(ends[0]))
	}
	defer report.Close()
	null, err := os.OpenFile(os.DevNull, os.O_RDWR, 0)
	if err != nil {
		return errors.Join(err, syscall.Close(ends[0]), crash.Close())
	}
	defer null.Close()
	// The link leads to this very program even if its file has been replaced.
	g.process, err = os.StartProcess("/proc/self/exe", []string{process.Name}, &os.ProcAttr{
		Dir: "/", Env: []string{}, Files: []*os.File{null, null, null, theirs, report},
		Sys: &syscall.SysProcAttr{Setsid: true, Pdeathsig: process.ParentDies},
	})
	if err != nil {
		return errors.Join(err, syscall.Close(ends[0]), crash.Close())
	}
	g.socket, g.crash = ends[0], crash
	fd := int(crash.Fd())
	err = debug.SetCrashOutput(crash, debug.CrashOptions{})
	// The pipe of a guard that stands still fills. A crash must not wait for it.
	return errors.Join(err, syscall.SetNonblock(fd, true))
}

// listen takes the guard's answers until it ends.
func (g *Guard) listen() {
	b := make([]byte, process.LongestMessage)
	for {
		n, err := syscall.Read(g.socket, b)
		switch {
		case err == syscall.EINTR:
			continue
		case err != nil || n == 0:
			g.went()
			return
		}
		if number, failed, err := process.Answer(b[:n]); err == nil {
			g.answered(number, failed)
		}
	}
}

func (g *Guard) answered(number int, failed string) {
	g.mu.Lock()
	w := g.watches[number]
	g.mu.Unlock()
	switch {
	case number == process.Rested:
		g.tell(ErrRested)
	case w != nil:
		w.answer <- failed
	}
}

// tell tells who has something watched that it is not as it was left any more: each on a
// goroutine of its own, as one may be waiting for an answer.
func (g *Guard) tell(why error) {
	g.mu.Lock()
	var lost []func(error)
	for _, w := range g.watches {
		lost = append(lost, w.lost)
	}
	g.mu.Unlock()
	for _, f := range lost {
		task.Go(func() { f(why) })
	}
	runtime.Gosched() // they run now, not once the runtime sees that this thread waits for the kernel
}

// went notes that the guard has ended.
func (g *Guard) went() {
	g.mu.Lock()
	g.gone = true
	close(g.ended)
	g.mu.Unlock()
	g.tell(ErrGone)
	_, _ = g.process.Wait()
	close(g.reaped)
}

func (g *Guard) isGone() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.gone
}

// Tell adds to the report that there will be.
func (g *Guard) Tell(text string) { _, _ = g.crash.WriteString(text) } // a guard that has gone writes none

// Watch has the guard do the acts when the program ends, and when one of the alarms can be
// read: descriptors of timers of the kernel. Lost is called, from another goroutine, if the guard
// ends first, with ErrGone, and once it has done the acts by itself, with ErrRested.
func (g *Guard) Watch(acts []Act, alarms []int, lost func(error)) (*Watch, error) {
	w := &Watch{guard: g, answer: make(chan string, 2), lost: lost}
	var descriptors []int
	for _, a := range acts {
		descriptors = append(descriptors, a.Descriptor)
	}
	descriptors = append(descriptors, alarms...)
	if len(descriptors) > process.MostDescriptors {
		return nil, fmt.Errorf("%d lines and timers: must be at most %d", len(descriptors), process.MostDescriptors)
	}
	g.mu.Lock()
	g.numbers++
	w.number = g.numbers
	g.watches[w.number] = w
	g.mu.Unlock()
	err := g.send(process.WatchMessage(w.number, acts, len(alarms)), descriptors)
	if err == nil {
		err = w.await()
	}
	if err != nil {
		w.forget()
		return nil, fmt.Errorf("guard over the drives: %w", err)
	}
	return w, nil
}

// await waits for the guard's answer.
func (w *Watch) await() error {
	late := time.NewTimer(patience)
	defer late.Stop()
	select {
	case failed := <-w.answer:
		if failed != "" {
			return errors.New(failed)
		}
		return nil
	case <-w.guard.ended:
		return ErrGone
	case <-late.C:
		_ = w.guard.process.Kill()
		return errors.New("it does not answer")
	}
}

func (w *Watch) forget() {
	w.guard.mu.Lock()
	defer w.guard.mu.Unlock()
	delete(w.guard.watches, w.number)
}

// Gone reports whether the guard has ended.
func (w *Watch) Gone() bool { return w.guard.isGone() }

// Socket is a descriptor that hangs up when the guard ends.
func (w *Watch) Socket() int { return w.guard.socket }

// Close ends the watch: the guard does the acts once more and gives its descriptors back. A
// guard that has gone has been told of before.
func (w *Watch) Close() error {
	if w == nil {
		return nil
	}
	err := w.guard.send(process.UnwatchMessage(w.number), nil)
	if err == nil {
		err = w.await()
	}
	w.forget()
	if err != nil && !w.guard.isGone() {
		return fmt.Errorf("guard over the drives: %w", err)
	}
	return nil
}

// send sends a message, with descriptors.
func (g *Guard) send(m []byte, descriptors []int) error {
	var rights []byte
	if len(descriptors) > 0 {
		rights = syscall.UnixRights(descriptors...)
	}
	for {
		err := syscall.Sendmsg(g.socket, m, rights, nil, syscall.MSG_NOSIGNAL)
		switch {
		case err == syscall.EINTR:
			continue
		case err == syscall.EPIPE || err == syscall.ECONNRESET:
			return ErrGone
		}
		return err
	}
}

// dismiss ends the guard as at the program's end.
func (g *Guard) dismiss() {
	if g.forget != nil {
		g.forget()
	}
	_ = g.send([]byte{process.End}, nil) // one that has gone needs no word
	_ = debug.SetCrashOutput(nil, debug.CrashOptions{})
	_ = g.crash.Close()
	_ = syscall.Shutdown(g.socket, syscall.SHUT_WR)
	select {
	case <-g.reaped:
	case <-time.After(patience):
		_ = g.process.Kill()
	}
}
