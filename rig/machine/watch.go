package machine

import (
	"slices"
	"sync"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/task"
)

// lookEvery is how often a watch looks: the kernel's driver of a Raspberry Pi's supply does it
// every 2 s, and its alarm lasts until then.
const lookEvery = time.Second

// mostChanges bounds what a watch keeps of a supply that comes and goes.
const mostChanges = 100

// A Watch looks at a system while a run lasts.
type Watch struct {
	system System
	now    func() time.Time
	stop   chan struct{}
	done   chan struct{}

	mu      sync.Mutex
	last    map[capture.Fact]capture.MachineFact
	changes []capture.MachineFact
	kept    int
}

// NewWatch begins a watch of a system of which facts are known: they are the first that it has
// seen. The clock gives the time at which a change is seen.
func NewWatch(s System, known []capture.MachineFact, now func() time.Time) *Watch {
	w := newWatch(s, known, now)
	task.Go(w.work)
	return w
}

func newWatch(s System, known []capture.MachineFact, now func() time.Time) *Watch {
	w := &Watch{system: s, now: now, stop: make(chan struct{}), done: make(chan struct{}), last: map[capture.Fact]capture.MachineFact{}, changes: known}
	for _, m := range known {
		w.last[m.Fact] = m
	}
	return w
}

func (w *Watch) work() {
	defer close(w.done)
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		select {
		case <-w.stop:
			return
		case <-tick.C:
			w.look(append(w.system.supply(), w.system.clock()...))
		}
	}
}

// look keeps what has changed of what is watched: words, and what is so or not. Amounts go up
// and down all the time.
func (w *Watch) look(facts []capture.MachineFact) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, m := range facts {
		was, known := w.last[m.Fact]
		if m.Fact.Kind() == capture.Amount || known && was.Same(m) || w.kept == mostChanges {
			continue
		}
		m.At = w.now()
		w.last[m.Fact], w.changes = m, append(w.changes, m)
		w.kept++
	}
}

// Seen returns what has been seen since it was last asked for.
func (w *Watch) Seen() []capture.MachineFact {
	w.mu.Lock()
	defer w.mu.Unlock()
	seen := w.changes
	w.changes = nil
	return seen
}

// End ends the watch, looks at everything once more and returns what was not returned yet. The
// lock on memory is left out: it ends with the bench, which may be closed by now. End may be
// called again, and returns nothing then.
func (w *Watch) End() []capture.MachineFact {
	select {
	case <-w.stop:
		return nil
	default:
	}
	close(w.stop)
	<-w.done
	now := slices.DeleteFunc(w.system.Read(), func(m capture.MachineFact) bool { return m.Fact == capture.MemoryLock })
	return append(w.Seen(), At(now, w.now())...)
}

// At returns facts as seen at a time.
func At(facts []capture.MachineFact, t time.Time) []capture.MachineFact {
	for i := range facts {
		facts[i].At = t
	}
	return facts
}
