package live

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"makebreak/rig/task"
	"makebreak/sequences/journal"
)

// Programs that serve a log hear of its runs through sockets beside it, one a run. Each
// connection gets states, one a line as JSON. Nothing is read from it.

const (
	// mostHearers is how many connections are served at once.
	mostHearers = 8
	// hearTime is how long a hearer may take for a state, and dialTime a socket to answer.
	hearTime = 5 * time.Second
	dialTime = time.Second
	// mostLine is how long a state may be, in bytes.
	mostLine = 8 << 20
	// mostPath is how long the path of a socket may be on any system, in bytes.
	mostPath = 100
	// format is the form of the states that are told.
	format = 1
)

// message is a state as it is told. Results are left out where they are as before.
type message struct {
	Format int `json:"format"`
	*State
}

// A Told tells other programs what happens in a run.
type Told struct {
	hub    *Hub
	path   string
	l      *net.UnixListener
	ctx    context.Context
	cancel context.CancelFunc
	conns  chan struct{} // a place for each
	all    sync.WaitGroup
}

// Tell begins to tell of a run in a log, at a socket beside it. Sockets that programs left
// there which did not end as they should are removed. A run goes on without it: the error
// says why nobody hears of it.
func Tell(h *Hub, log, uuid string) (*Told, error) {
	removeStale(log)
	path, err := journal.Socket(log, uuid)
	if err != nil {
		return nil, err
	}
	l, err := listen(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", filepath.Base(path), err)
	}
	t := &Told{hub: h, path: path, l: l, conns: make(chan struct{}, mostHearers)}
	t.ctx, t.cancel = context.WithCancel(context.Background())
	t.all.Add(1)
	task.Go(t.accept)
	return t, nil
}

// listen makes the socket for its user alone. It has its name only once it can be asked, so
// that one that does not answer is left over.
func listen(path string) (*net.UnixListener, error) {
	short, end, err := within(path)
	if err != nil {
		return nil, err
	}
	defer end()
	made := short + "~"
	_ = os.Remove(made) // of a program that was killed just here
	l, err := net.ListenUnix("unix", &net.UnixAddr{Name: made, Net: "unix"})
	if err != nil {
		return nil, err
	}
	l.SetUnlinkOnClose(false) // its name is another
	if err := errors.Join(os.Chmod(made, 0o600), os.Rename(made, short)); err != nil {
		return nil, errors.Join(err, l.Close(), os.Remove(made))
	}
	return l, nil
}

// within returns a path that is short enough for a socket, until end.
func within(path string) (short string, end func() error, err error) {
	if len(path)+1 <= mostPath {
		return path, func() error { return nil }, nil
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return "", nil, err
	}
	short = fmt.Sprintf("/proc/self/fd/%d/%s", dir.Fd(), filepath.Base(path))
	if len(short)+1 > mostPath {
		return "", nil, errors.Join(syscall.ENAMETOOLONG, dir.Close())
	}
	return short, dir.Close, nil
}

// removeStale removes the sockets beside a log that nobody answers at.
func removeStale(log string) {
	for _, path := range journal.Sockets(log) {
		info, err := os.Lstat(path)
		if err != nil || info.Mode().Type() != os.ModeSocket {
			continue
		}
		c, err := dial(path)
		if err == nil {
			_ = c.Close()
		} else if errors.Is(err, syscall.ECONNREFUSED) {
			_ = os.Remove(path) // another program may have been quicker
		}
	}
}

func dial(path string) (net.Conn, error) {
	short, end, err := within(path)
	if err != nil {
		return nil, err
	}
	defer end()
	return net.DialTimeout("unix", short, dialTime)
}

func (t *Told) accept() {
	defer t.all.Done()
	for {
		c, err := t.l.AcceptUnix()
		if err != nil {
			return // it is closed; what else could be wrong ends the telling alone
		}
		select {
		case t.conns <- struct{}{}:
		default:
			_ = c.Close() // as many as may hear do
			continue
		}
		t.all.Add(1)
		task.Go(func() {
			defer func() { <-t.conns; t.all.Done() }()
			defer c.Close()
			t.tell(c)
		})
	}
}

// tell tells one hearer of the run until it ends or the hearer has gone.
func (t *Told) tell(c *net.UnixConn) {
	if !own(c) {
		return
	}
	t.hub.lower()
	ctx, cancel := context.WithCancel(t.ctx)
	defer cancel()
	task.Go(func() { // who has gone is noticed also while nothing happens
		_, _ = c.Read(make([]byte, 1))
		cancel()
	})
	results := 0
	for since := uint64(0); ; {
		s, number, err := t.hub.Next(ctx, since)
		if err != nil {
			return
		}
		since = number
		told := *s
		if r := s.Results; r != nil && r.Number == results {
			told.Results = nil
		} else if r != nil {
			results = r.Number
		}
		t.hub.work.Lock()
		line, err := json.Marshal(message{format, &told})
		t.hub.work.Unlock()
		if err != nil || c.SetWriteDeadline(time.Now().Add(hearTime)) != nil {
			return
		}
		if _, err := c.Write(append(line, '\n')); err != nil || s.End != nil {
			return
		}
	}
}

// Close ends the telling. Who hears has been told of the run's end where it has ended.
func (t *Told) Close() {
	_ = os.Remove(t.path) // first: who finds it may ask
	_ = t.l.Close()
	ended := make(chan struct{})
	task.Go(func() { t.all.Wait(); close(ended) })
	select {
	case <-ended:
	case <-time.After(hearTime / 10):
	}
	t.cancel()
}

// errFormat says that another version tells of a run in another form.
var errFormat = errors.New("the program of another version tells of it in another form")

// hear hears of a run until it ends, the context does, or the program that tells of it has
// gone. Each state is complete.
func hear(ctx context.Context, socket string, heard func(*State)) error {
	c, err := dial(socket)
	if err != nil {
		return err
	}
	defer c.Close()
	stop := context.AfterFunc(ctx, task.Covered(func() { _ = c.Close() }))
	defer stop()
	if u, is := c.(*net.UnixConn); !is || !own(u) {
		return errors.New("it is another user's")
	}
	lines := bufio.NewScanner(c)
	lines.Buffer(make([]byte, 0, 64<<10), mostLine)
	var results *Results
	for lines.Scan() {
		var m message
		if err := json.Unmarshal(lines.Bytes(), &m); err != nil {
			return err
		}
		if m.Format != format || m.State == nil {
			return errFormat
		}
		if m.Results == nil {
			m.Results = results
		}
		results = m.Results
		heard(m.State)
	}
	return lines.Err()
}
