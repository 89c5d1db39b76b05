package process

import (
	"os"
	"os/signal"
	"sync"
	"syscall"
	"time"
)

// The guard's descriptors besides the standard ones.
const (
	Socket = 3 // messages, in packets
	Crash  = 4 // what the program tells of its crash
)

// ParentDies is the signal that the guard has the kernel send it when the program dies.
const ParentDies = syscall.SIGUSR1

// exitFailed is the guard's exit status where it cannot guard.
const exitFailed = 70

// again is how often the guard puts things at rest that a program which stands still or
// crashes might switch on once more.
const again = 20 * time.Millisecond

func init() {
	if len(os.Args) == 1 && os.Args[0] == Name {
		os.Exit(work())
	}
}

// guard is the guard's process at work.
type guard struct {
	poll    int
	watches map[int]*watch
	report  Report
	crash   []byte // what the program has told of its crash
	ended   bool   // as it should
}

// work is the guard's life, which ends with the program's.
func work() int {
	// What ends the program from the keyboard or the service manager must not end its guard
	// first.
	signal.Ignore(syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT, syscall.SIGPIPE, syscall.SIGTSTP)
	poll, err := syscall.EpollCreate1(syscall.EPOLL_CLOEXEC)
	if err != nil {
		return exitFailed
	}
	g := &guard{poll: poll, watches: map[int]*watch{}}
	dying, err := parentDies()
	if err != nil {
		return exitFailed
	}
	for _, fd := range []int{Socket, Crash, dying} {
		if err := g.await(fd, 0); err != nil {
			return exitFailed
		}
	}
	if err := syscall.SetNonblock(Crash, true); err != nil {
		return exitFailed
	}
	for g.turn() {
	}
	g.restAll()
	g.takeCrash()
	if !g.ended || len(g.crash) > 0 {
		g.report.write(g.crash, time.Now())
	}
	return 0
}

// parentDies returns a descriptor that can be read once the program begins to die, by the
// signal that it asked the kernel for when it started its guard. That comes before its
// descriptors are closed, which has to wait for each of its threads: one may be writing to a
// slow disk.
func parentDies() (int, error) {
	var p [2]int
	if err := syscall.Pipe2(p[:], syscall.O_CLOEXEC|syscall.O_NONBLOCK); err != nil {
		return 0, err
	}
	c := make(chan os.Signal, 1)
	signal.Notify(c, ParentDies)
	go func() {
		<-c
		_, _ = syscall.Write(p[1], []byte{1})
	}()
	return p[0], nil
}

// edge asks for what is new only: EPOLLET of the kernel's eventpoll.h, which syscall gives another
// sign on other machines.
const edge = 1 << 31

// await adds a descriptor to those that are waited for; how is edge or 0.
func (g *guard) await(fd int, how uint32) error {
	return syscall.EpollCtl(g.poll, syscall.EPOLL_CTL_ADD, fd, &syscall.EpollEvent{Events: syscall.EPOLLIN | how, Fd: int32(fd)})
}

// turn waits for what happens next and deals with it; false: the program has ended.
func (g *guard) turn() bool {
	var events [8]syscall.EpollEvent
	n, err := syscall.EpollWait(g.poll, events[:], g.patience())
	switch {
	case err == syscall.EINTR:
		return true
	case err != nil:
		return false
	case n == 0:
		g.restTripped()
	}
	for _, e := range events[:max(n, 0)] {
		switch fd := int(e.Fd); fd {
		case Socket:
			if !g.message() {
				return false
			}
		case Crash:
			if g.takeCrash() {
				g.tripAll()
			}
		default:
			g.alarm(fd)
		}
	}
	return true
}

// patience is how long to wait for what happens next, in milliseconds.
func (g *guard) patience() int {
	for _, w := range g.watches {
		if w.tripped {
			return int(again / time.Millisecond)
		}
	}
	return -1
}

// alarm deals with an alarm that went off, or with the program's dying.
func (g *guard) alarm(fd int) {
	for _, w := range g.watches {
		for _, a := range w.alarms {
			if a == fd {
				g.trip(w)
				return
			}
		}
	}
	_ = syscall.EpollCtl(g.poll, syscall.EPOLL_CTL_DEL, fd, nil)
	g.tripAll()
}

// tripAll puts everything at rest, from now on again and again.
func (g *guard) tripAll() {
	for _, w := range g.watches {
		g.trip(w)
	}
}

// trip puts things at rest, from now on again and again, and tells the program once: it may be
// about to go on.
func (g *guard) trip(w *watch) {
	if w.tripped {
		return
	}
	w.tripped = true
	_ = w.rest() // it is done again
	_ = syscall.Sendmsg(Socket, AnswerMessage(Rested, ""), nil, nil, syscall.MSG_DONTWAIT|syscall.MSG_NOSIGNAL)
}

func (g *guard) restTripped() {
	for _, w := range g.watches {
		if w.tripped {
			_ = w.rest() // nobody can be told
		}
	}
}

// restAll puts everything at rest, each beside the others: one may be on a bus that is held.
func (g *guard) restAll() {
	var all sync.WaitGroup
	for _, w := range g.watches {
		all.Add(1)
		go func() {
			defer all.Done()
			_ = w.rest()
		}()
	}
	all.Wait()
}

// takeCrash takes what the program tells of its crash, as far as there is room, and reports
// whether it tells of one.
func (g *guard) takeCrash() bool {
	var b [4096]byte
	for {
		n, err := syscall.Read(Crash, b[:])
		switch {
		case err == syscall.EINTR:
			continue
		case err != nil:
			return len(g.crash) > 0
		case n == 0: // the other end is closed
			_ = syscall.EpollCtl(g.poll, syscall.EPOLL_CTL_DEL, Crash, nil)
			return len(g.crash) > 0
		}
		g.crash = append(g.crash, b[:min(n, max(0, longestReport-len(g.crash)))]...)
	}
}

// message deals with one message; false: the program has ended.
func (g *guard) message() bool {
	b, rights := make([]byte, LongestMessage), make([]byte, syscall.CmsgSpace(MostDescriptors*4))
	n, oobn, _, _, err := syscall.Recvmsg(Socket, b, rights, syscall.MSG_CMSG_CLOEXEC)
	switch {
	case err == syscall.EINTR || err == syscall.EAGAIN:
		return true
	case err != nil || n == 0:
		return false
	}
	m, descriptors := b[1:n], received(rights[:oobn])
	switch b[0] {
	case Watch:
		g.watch(m, descriptors)
	case Unwatch:
		g.unwatch(m)
	case Keep:
		r := reader{m: m}
		g.report = Report{Path: r.text(), Program: r.text(), Run: r.text()}
	case End:
		g.ended = true
	}
	return true
}

// received returns the descriptors that came with a message.
func received(rights []byte) (all []int) {
	messages, err := syscall.ParseSocketControlMessage(rights)
	if err != nil {
		return nil
	}
	for _, m := range messages {
		if fds, err := syscall.ParseUnixRights(&m); err == nil {
			all = append(all, fds...)
		}
	}
	return all
}

// watch begins to watch over what a message says.
func (g *guard) watch(m []byte, descriptors []int) {
	number, w, err := readWatch(m, descriptors)
	if err == nil {
		g.watches[number] = w
		for _, fd := range w.alarms {
			if err == nil {
				err = g.await(fd, edge)
			}
		}
	}
	g.answer(number, err)
}

// unwatch ends that, and puts it at rest.
func (g *guard) unwatch(m []byte) {
	r := reader{m: m}
	number := r.number()
	w, ok := g.watches[number]
	if !ok {
		g.answer(number, nil)
		return
	}
	delete(g.watches, number)
	err := w.rest()
	w.close()
	g.answer(number, err)
}

func (g *guard) answer(number int, err error) {
	failed := ""
	if err != nil {
		failed = err.Error()
	}
	_, _ = syscall.Write(Socket, AnswerMessage(number, failed)) // a program that has gone is noticed by reading
}
