package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"io"
	"net"
	"os"
	"os/exec"
	"sync/atomic"
	"syscall"
	"time"

	"makebreak/rig/task"
	"makebreak/rig/web"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/site"
)

// A run's page is served by a process of its own, which hears of the run as any program does
// that serves its log. What clients cost is that process's: its memory to collect, its threads,
// the locks of its Go runtime. With the page in the run's own process a few conversions of 18,000
// were missed beside many clients, at whatever priority the page was made.

// pageCalled is what the process is called with, by which it knows what it is.
const pageCalled = "(page of a run)"

// pageListener is its descriptor of what it serves at.
const pageListener = 3

// pageWork is what it is to do, the first line of its standard input, as JSON.
type pageWork struct {
	Log     string // path
	Program string // version
	Address string // as typed
	web.Access
}

// pageProcess is the process as the run sees it.
type pageProcess struct {
	cmd   *exec.Cmd
	in    io.Closer     // its standard input, with whose end it ends
	ended chan struct{} // closed when it has
	over  atomic.Bool   // the run has asked it to
}

// startPage starts the process that serves at a listener. Lower is what its first thread, and
// with it all others, are started by, so that they run when no other one wants to; nil: they
// are like any.
func (a *app) startPage(at *web.Listener, work pageWork, lower func()) (*pageProcess, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	tcp, is := at.Listener.(*net.TCPListener)
	if !is {
		return nil, errors.New("must be an address of TCP")
	}
	f, err := tcp.File()
	if err != nil {
		return nil, err
	}
	defer f.Close()
	told, err := json.Marshal(work)
	if err != nil {
		return nil, err
	}
	p := &pageProcess{cmd: exec.Command(self), ended: make(chan struct{})}
	p.cmd.Args = []string{"makebreak", pageCalled}
	p.cmd.ExtraFiles = []*os.File{f}
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // Ctrl-C is for the run
	in, err := p.cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	said, err := p.cmd.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := startedBy(lower, p.cmd); err != nil {
		return nil, err
	}
	p.in = in
	task.Go(func() { p.passOn(said, a.note) })
	if _, err := in.Write(append(told, '\n')); err != nil {
		p.close()
		return nil, err
	}
	return p, nil
}

// startedBy starts a process on a thread that has been lowered: it inherits that.
func startedBy(lower func(), cmd *exec.Cmd) error {
	if lower == nil {
		return cmd.Start()
	}
	done := make(chan error, 1)
	task.Go(func() {
		lower()
		done <- cmd.Start()
	})
	return <-done
}

// passOn tells what the process says, until it ends.
func (p *pageProcess) passOn(said io.Reader, note func(string, ...any)) {
	defer close(p.ended)
	lines := bufio.NewScanner(said)
	for lines.Scan() {
		note("%s", lines.Text())
	}
	_, _ = io.Copy(io.Discard, said) // a line too long to be read
	_ = p.cmd.Wait()                 // what was wrong it has said
	if !p.over.Load() {
		note("The page has ended before the run, which goes on")
	}
}

// pageEnd is how long the process may take to end: answers under way have a second.
const pageEnd = 3 * time.Second

// close ends the process.
func (p *pageProcess) close() {
	p.over.Store(true)
	_ = p.in.Close() // it may have ended before
	select {
	case <-p.ended:
	case <-time.After(pageEnd):
		_ = p.cmd.Process.Kill()
		<-p.ended
	}
}

// isPage reports whether this process serves a run's page.
func isPage() bool { return len(os.Args) == 2 && os.Args[1] == pageCalled }

// servePage is such a process's life, which ends with the run's. What asks a program to end is
// for the run, which ends this one.
func servePage() (status int) {
	lines := bufio.NewReader(os.Stdin)
	told, err := lines.ReadBytes('\n')
	if err != nil {
		return exitInternal // the run has gone
	}
	errs := safely(os.Stderr)
	a := &app{streams: streams{err: errs}}
	var work pageWork
	if err := json.Unmarshal(told, &work); err != nil {
		a.note("page: %v", err)
		return exitInternal
	}
	if err := a.servePage(work, lines); err != nil {
		a.note("page: %v", err)
		return exitStatus("", err)
	}
	return exitPass
}

// servePage serves the log until there is nothing left to read.
func (a *app) servePage(work pageWork, until io.Reader) error {
	f := os.NewFile(pageListener, "listener")
	l, err := net.FileListener(f)
	if err != nil {
		return err
	}
	_ = f.Close() // it was copied
	var s *site.Site
	board := live.NewBoard(work.Log, func(f func(*journal.DB) error) error { return s.Read(f) })
	s, err = site.New(site.Opts{Log: work.Log, Now: live.NewPage(board), Beside: true, Program: work.Program, Failed: a.note})
	if err != nil {
		return readFailed(err)
	}
	server, err := web.ServeAt(l, web.Opts{Address: work.Address, Access: work.Access, Failed: func(err error) { a.note("page: %v", err) }}, s)
	if err != nil {
		return errors.Join(err, s.Close())
	}
	_, _ = io.Copy(io.Discard, until)
	_ = server.Close() // what is still being read is cut off
	return s.Close()
}
