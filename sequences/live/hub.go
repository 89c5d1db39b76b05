package live

import (
	"math"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/task"
	"makebreak/rig/wiring"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
)

const (
	// refresh is how often a state is made while somebody looks.
	refresh = 250 * time.Millisecond
	// turn is how often it is looked whether the bench's loop has had its turn.
	turn = 10 * time.Millisecond
	// settle is how long results stay as they are at least: they are read and drawn.
	settle = time.Second
	// stale is from when on a sample is not of now, and a rig not seen. The slowest converter
	// samples four outputs in turn, each every half second.
	stale = 2 * time.Second
)

// Of says what a Hub shows.
type Of struct {
	Sequence *sequences.Sequence
	Rig      *wiring.Rig
	Now      func() time.Time // the wall clock; nil: the system's
	Program  string           // version that runs now
}

// A Hub takes in what happens in a run and makes states of it for who looks. What the run
// tells it never waits for who looks: the bench's loop is looked at by bench.Glances, and the
// goroutine that measures finds the hub's mutex held for microseconds at most.
type Hub struct {
	of      Of
	glances bench.Glances
	step    place // the bench's goroutine's

	state atomic.Pointer[State]

	mu       sync.Mutex // guards what follows
	watchers map[*Watcher]struct{}
	looking  bool
	names    []string // of the outputs, in the order of a glance
	shared   state
}

// state is what the run has told so far.
type state struct {
	begun    bool
	info     journal.RunInfo
	done     int
	counts   [len(analyze.Verdicts)]int
	stored   int
	gravest  analyze.Verdict
	said     string
	end      *End
	pace     pace
	rows     rows
	symptoms diagnose.Gathering
	changed  bool // since results were made
	results  *Results
	made     time.Time // results were
	taken    time.Time // the capture shown was
	pending  pending
	shown    *Shown
}

// pending is a capture of a cycle that has not been stored yet.
type pending struct {
	cycle   int // 0: none
	capture []byte
}

// New returns a hub for a run.
func New(of Of) *Hub {
	if of.Now == nil {
		of.Now = time.Now
	}
	h := &Hub{of: of, watchers: map[*Watcher]struct{}{}}
	h.shared.rows.index = map[rowKey]int{}
	return h
}

// Glances is what the bench is to be opened with.
func (h *Hub) Glances() *bench.Glances { return &h.glances }

// Before is what a run that goes on has done already.
type Before struct {
	Done, Stored int // as in State
	Counts       [len(analyze.Verdicts)]int
	Gravest      analyze.Verdict
	Symptoms     diagnose.Gathering
}

// BeforeOf reads from the log what a run has done.
func BeforeOf(rec *journal.RunRecord) (b Before, err error) {
	b.Done, b.Gravest = rec.Cycles, rec.Gravest
	for i, v := range analyze.Verdicts {
		if b.Counts[i], err = rec.CyclesWith(v); err != nil {
			return b, err
		}
	}
	if b.Stored, err = rec.Last(); err != nil {
		return b, err
	}
	for s, err := range rec.Symptoms() {
		if err != nil {
			return b, err
		}
		b.Symptoms.Add(s)
	}
	return b, nil
}

// Begin says which run it is, what it has done already, and which outputs its bench samples.
func (h *Hub) Begin(info journal.RunInfo, b Before, sampled []string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.names = sampled
	s := &h.shared
	s.begun, s.info, s.done, s.stored, s.counts, s.gravest, s.symptoms = true, info, b.Done, b.Stored, b.Counts, b.Gravest, b.Symptoms
	s.changed = true
	s.pace.add(time.Now(), s.done)
}

// Hears has a run tell the hub what happens in it.
func (h *Hub) Hears(o *runner.Opts) {
	o.OnStep, o.OnCapture = h.Step, h.Capture
	event, cycle := o.OnEvent, o.OnCycle
	o.OnEvent = func(n int, name string) {
		h.Event()
		if event != nil {
			event(n, name)
		}
	}
	o.OnCycle = func(c *journal.Cycle) {
		h.Cycle(c)
		if cycle != nil {
			cycle(c)
		}
	}
}

// Step says that a step's event, counted from 0, is being brought about. It is called on the
// bench's goroutine, as Event is.
func (h *Hub) Step(cycle, step int) {
	h.step = place{cycle: cycle, step: step, waiting: true}
	h.glances.SetPlace(h.step.packed())
}

// Event says that it has been.
func (h *Hub) Event() {
	h.step.waiting = false
	h.glances.SetPlace(h.step.packed())
}

// Capture takes in a cycle that is measured and not yet stored. One a second is shown.
func (h *Hub) Capture(c *journal.Cycle, x *capture.Capture) {
	h.mu.Lock()
	due := time.Since(h.shared.taken) >= settle
	if due {
		h.shared.taken = time.Now()
	}
	h.mu.Unlock()
	if !due {
		return
	}
	cut := x.Around(runner.Around)
	b, err := cut.MarshalBinary()
	cut.Recycle()
	if err != nil {
		return // it is told of where the capture is stored
	}
	h.mu.Lock()
	h.shared.pending = pending{c.N, b}
	h.mu.Unlock()
}

// Cycle takes in a cycle that has been stored.
func (h *Hub) Cycle(c *journal.Cycle) {
	now := time.Now()
	h.mu.Lock()
	defer h.mu.Unlock()
	s := &h.shared
	s.stored, s.gravest, s.changed = c.N, s.gravest.Worse(c.Verdict), true
	if c.Complete {
		s.done++
		s.counts[c.Verdict.Gravity()]++
	}
	s.pace.add(now, s.done)
	for _, x := range c.Symptoms {
		s.symptoms.Add(x)
	}
	for i := range c.Measurements {
		s.rows.add(&c.Measurements[i], s.info.Soak != nil)
	}
	if s.pending.cycle == c.N {
		s.shown = shownOf(c, s.pending.capture)
		s.pending = pending{}
	}
}

// shownOf is a cycle with its capture.
func shownOf(c *journal.Cycle, b []byte) *Shown {
	x := &Shown{Cycle: c.N, Verdict: analyze.RunVerdict(c.Complete, c.Verdict), Whole: c.Complete, Capture: b}
	for i := range c.Measurements {
		x.Figures = append(x.Figures, figureOf(&c.Measurements[i]))
	}
	return x
}

// Say takes the last line for the person.
func (h *Hub) Say(text string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.shared.said = text
}

// End says how the run ended. Who looks gets to see it.
func (h *Hub) End(e End) {
	h.mu.Lock()
	h.shared.end = &e
	h.shared.made = time.Time{}
	s := h.snapshot()
	h.mu.Unlock()
	h.publish(s)
}

// A place is where in its sequence the bench is.
type place struct {
	cycle, step int
	waiting     bool
}

// packed is the place in one word, so that it is told whole: the cycle, then 16 bits for the
// step from 1, then one that says that its event is waited for.
func (p place) packed() uint64 {
	w := uint64(p.cycle)<<17 | uint64(min(p.step+1, math.MaxUint16))<<1
	if p.waiting {
		w |= 1
	}
	return w
}

func unpacked(w uint64) place {
	return place{cycle: int(w >> 17), step: int(w>>1&math.MaxUint16) - 1, waiting: w&1 == 1}
}

// pace is how quickly cycles get done: marks of the last minute, or of the last cycles where
// they take longer.
type pace struct{ marks []mark }

type mark struct {
	at   time.Time
	done int
}

const mostMarks = 60

func (p *pace) add(at time.Time, done int) {
	n := len(p.marks)
	if n > 1 && at.Sub(p.marks[n-2].at) < time.Second {
		p.marks[n-1] = mark{at, done} // the newest one moves along
		return
	}
	if n == mostMarks {
		p.marks = slices.Delete(p.marks, 0, 1)
	}
	p.marks = append(p.marks, mark{at, done})
}

// each is how long a cycle takes; 0: not known yet.
func (p *pace) each() time.Duration {
	if len(p.marks) < 2 {
		return 0
	}
	first, last := p.marks[0], p.marks[len(p.marks)-1]
	if last.done <= first.done {
		return 0
	}
	return last.at.Sub(first.at) / time.Duration(last.done-first.done)
}

// snapshot is a state of what the run has told, without what the bench's loop knows. Callers
// have the mutex.
func (h *Hub) snapshot() *State {
	s := &h.shared
	now := h.of.Now()
	x := &State{Run: s.info.ID, RunID: s.info.UUID, Unit: s.info.Unit, By: s.info.By, Sequence: h.of.Sequence.Name, Rig: h.of.Rig.Name, Program: h.of.Program,
		Simulated: h.of.Rig.Simulated, Faults: s.info.Faults, Soak: s.info.Soak != nil, Began: s.info.Started, At: now, Planned: s.info.Planned,
		Done: s.done, Counts: s.counts, Stored: s.stored, Verdict: s.gravest, PerHour: Number(math.NaN()), Said: s.said}
	if each := s.pace.each(); each > 0 {
		x.PerHour = Number(float64(time.Hour) / float64(each))
		x.Left = time.Duration(max(0, s.info.Planned-s.done)) * each
	}
	if s.changed && time.Since(s.made) >= settle {
		s.made, s.changed = time.Now(), false
		n := 1
		if s.results != nil {
			n = s.results.Number + 1
		}
		s.results = &Results{Number: n, Cycle: s.stored, Findings: s.symptoms.Findings(&h.of.Sequence.Plan, s.done, nil), Figures: s.rows.figures(), Last: s.shown}
	}
	x.Results = s.results
	return x
}

// A Watcher looks at a run.
type Watcher struct {
	hub *Hub
	c   chan struct{}
}

// Watch begins to look. The first state comes within a refresh.
func (h *Hub) Watch() *Watcher {
	w := &Watcher{hub: h, c: make(chan struct{}, 1)}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.watchers[w] = struct{}{}
	if !h.looking {
		h.looking = true
		task.Go(h.look)
	}
	return w
}

// Changed has something to read after each new state. Who is slow misses those between.
func (w *Watcher) Changed() <-chan struct{} { return w.c }

// State is the newest state; nil: there is none yet.
func (w *Watcher) State() *State { return w.hub.state.Load() }

// Close ends the looking.
func (w *Watcher) Close() {
	w.hub.mu.Lock()
	defer w.hub.mu.Unlock()
	delete(w.hub.watchers, w)
}

// look makes states while somebody looks.
func (h *Hub) look() {
	g := &bench.Glance{}
	out := false // it is the loop's
	var seen sight
	for {
		began := time.Now()
		h.mu.Lock()
		if len(h.watchers) == 0 && !out { // one that is asked for is waited for
			h.looking = false
			h.mu.Unlock()
			return
		}
		s, names := h.snapshot(), h.names // before the rig is looked at: no cycle is stored that has not begun
		h.mu.Unlock()
		if !out {
			h.glances.Ask(g)
			out = true
		}
		for time.Since(began) < refresh {
			if got := h.glances.Take(); got != nil {
				out = false
				seen.add(got, h.of.Now(), time.Now())
				break
			}
			time.Sleep(turn)
		}
		seen.into(s, &h.of, names)
		h.publish(s)
		time.Sleep(refresh - time.Since(began))
	}
}

// publish makes a state the newest one. Where the run has ended meanwhile it says so.
func (h *Hub) publish(s *State) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if end := h.shared.end; end != nil {
		s.End, s.Left, s.Seen, s.Outputs, s.Lines, s.Cautions, s.Step = end, 0, false, nil, nil, nil, Step{}
	}
	h.state.Store(s)
	for w := range h.watchers {
		select {
		case w.c <- struct{}{}:
		default:
		}
	}
}

// roleOf is a line's role by its place among a glance's lines.
func roleOf(rig *wiring.Rig, i int) line.Role {
	switch contacts, references := len(rig.Contacts), len(rig.References); {
	case i < contacts:
		return line.Contact
	case i < contacts+references:
		return line.Reference
	}
	return line.Drive
}
