package live

import (
	"context"
	"math"
	"sync"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/behaviour"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/tally"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/task"
	"makebreak/rig/wiring"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/pace"
	"makebreak/sequences/runner"
)

const (
	// refresh is how often a state is made while somebody looks.
	refresh = 500 * time.Millisecond
	// turns is how many times in that time it is looked whether the bench's loop has had its
	// turn.
	turns = 25
	// settle is how long results stay as they are at least: they are read and drawn.
	settle = 2 * time.Second
	// stale is from when on a sample is not of now, and a rig not seen. The slowest converter
	// samples four outputs in turn, each every half second.
	stale = 2 * time.Second
	// linger is how long states are made though nobody waits for one: a page comes back.
	linger = 2 * time.Second
	// unwatched is how long after the last look captures are still copied for who looks next.
	unwatched = 10 * time.Minute
)

// Of says what a Hub shows.
type Of struct {
	Sequence *sequences.Sequence
	Rig      *wiring.Rig
	Unit     *wiring.Unit     // of several at the rig; nil: there is one
	Now      func() time.Time // the wall clock; nil: the system's
	Program  string           // version that runs now
	// Lower is called first of all on the goroutines that make states for who looks, and tell
	// them; nil: nothing is. They let the sampling go first.
	Lower func()
	// Work is held by whoever makes or tells something of any of the rig's units; nil: there is
	// one.
	Work *sync.Mutex
}

// A Hub takes in what happens in a run and makes states of it for who looks. What the run
// tells it never waits for who looks: the bench's loop is looked at by bench.Glances, and the
// goroutine that measures finds the hub's mutex held no longer than results take to be made,
// which happens once in two seconds at most, and only while somebody looks.
type Hub struct {
	of              Of
	whole           *wiring.Rig   // that the bench has
	refresh, settle time.Duration // the constants; tests want to see more
	glances         bench.Glances
	step            place // the bench's goroutine's
	// work is held by the one goroutine that makes or tells something for who looks. Each that
	// runs keeps one of the Go runtime's permits to run, of which the sampling loop needs one.
	work *sync.Mutex

	mu      sync.Mutex    // guards what follows
	state   *State        // the newest; nil: there is none yet
	number  uint64        // of the states so far
	news    chan struct{} // closed with the next state
	waiting int           // for the next state
	until   time.Time     // states are made without anybody waiting
	looked  time.Time     // when somebody did last, or the hub was made
	looking bool
	names   []string // of the outputs, in the order of a glance
	share   *share   // of the rig that is the unit's; nil: all is
	shared  state
}

// state is what the run has told so far.
type state struct {
	begun     bool
	info      journal.RunInfo
	done      int
	counts    [len(analyze.Verdicts)]int
	stored    int
	gravest   analyze.Verdict
	said      string
	end       *End
	pace      pace.Pace
	rows      rows
	behaviour *behaviour.Builder
	symptoms  diagnose.Gathering
	changed   bool // since results were made
	results   *Results
	made      time.Time // results were
	taken     time.Time // the capture shown was
	// sums are a soak's, which belong to the goroutine that measures; nil: it is none.
	sums    *tally.Tally
	taking  []pendingCourse // taken of them, and not made yet
	summed  time.Time       // when they were
	courses []Course        // made of them
	pending pending
	shown   *Shown
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
	if of.Work == nil {
		of.Work = &sync.Mutex{}
	}
	h := &Hub{of: of, whole: of.Rig, work: of.Work, refresh: refresh, settle: settle, news: make(chan struct{}), looked: time.Now()}
	if of.Unit != nil {
		h.of.Rig = of.Rig.For(of.Unit)
	}
	h.shared.rows.index = map[rowKey]int{}
	h.shared.behaviour = behaviour.New(&of.Sequence.Plan)
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

// Begin says which run it is, what it has done already, and which outputs its bench samples, by
// the rig's names.
func (h *Hub) Begin(info journal.RunInfo, b Before, sampled []string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.names = sampled
	if h.of.Unit != nil {
		h.share, h.names = shareOf(h.whole, h.of.Unit, sampled)
	}
	s := &h.shared
	s.begun, s.info, s.done, s.stored, s.counts, s.gravest, s.symptoms = true, info, b.Done, b.Stored, b.Counts, b.Gravest, b.Symptoms
	s.changed = true
	s.pace.Add(time.Now(), s.done)
}

// Follow gives the hub the sums of a soak, of which it draws courses: those of the cycles that
// earlier programs did, too. They are read where OnCycle is called, and in End.
func (h *Hub) Follow(t *tally.Tally) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.shared.sums, h.shared.taking, h.shared.changed = t, coursesOf(t), true
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

// Capture takes in a cycle that is measured and not yet stored. One every two seconds is shown,
// and copied for that, unless nobody has looked for a while.
func (h *Hub) Capture(c *journal.Cycle, x *capture.Capture) {
	h.mu.Lock()
	due := time.Since(h.shared.taken) >= h.settle && (h.waiting > 0 || time.Since(h.looked) < unwatched)
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
	s.pace.Add(now, s.done)
	for _, x := range c.Symptoms {
		s.symptoms.Add(x)
	}
	for i := range c.Measurements {
		s.rows.add(&c.Measurements[i])
		s.behaviour.Add(&c.Measurements[i])
	}
	if s.sums != nil && (h.waiting > 0 || now.Before(h.until)) && now.Sub(s.summed) >= h.settle {
		s.summed, s.taking = now, coursesOf(s.sums)
	}
	if s.pending.cycle == c.N {
		s.shown = shownOf(c, s.pending.capture)
		s.pending = pending{}
	}
}

// shownOf is a cycle with its capture.
func shownOf(c *journal.Cycle, b []byte) *Shown {
	x := &Shown{Cycle: c.N, Capture: b}
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

// End says how the run ended, in the last state.
func (h *Hub) End(at time.Time, complete bool, reason string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	e := End{At: at, Verdict: analyze.RunVerdict(complete, h.shared.gravest), Complete: complete, Reason: reason}
	h.shared.made = time.Time{}
	if h.shared.sums != nil {
		h.shared.courses, h.shared.changed = madeOf(coursesOf(h.shared.sums)), true
	}
	s := h.snapshot()
	h.shared.end, s.End, s.Left = &e, &e, 0
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

// snapshot is a state of what the run has told, without what the bench's loop knows. Callers
// have the mutex.
func (h *Hub) snapshot() *State {
	s := &h.shared
	now := h.of.Now()
	x := &State{Run: s.info.ID, RunID: s.info.UUID, Unit: s.info.Unit, Position: journal.Noted(s.info.Fields, journal.PositionField), Together: journal.Noted(s.info.Fields, journal.TogetherField), By: s.info.By, Sequence: h.of.Sequence.Name, Rig: h.of.Rig.Name, Program: h.of.Program,
		Simulated: h.of.Rig.Simulated, Faults: s.info.Faults, Soak: s.info.Soak != nil, Began: s.info.Started, At: now, Planned: s.info.Planned,
		Done: s.done, Counts: s.counts, Stored: s.stored, Verdict: s.gravest, PerHour: Number(math.NaN()), Said: s.said}
	if each := s.pace.Each(); each > 0 {
		x.PerHour = Number(float64(time.Hour) / float64(each))
		x.Left = time.Duration(max(0, s.info.Planned-s.done)) * each
	}
	if s.changed && time.Since(s.made) >= h.settle {
		s.made, s.changed = time.Now(), false
		n := 1
		if s.results != nil {
			n = s.results.Number + 1
		}
		s.results = &Results{Number: n, Cycle: s.stored, Findings: s.symptoms.Findings(&h.of.Sequence.Plan, s.done, nil), Figures: s.rows.figures(), Behaviour: behaviourOf(s.behaviour.Table()), Courses: s.courses, Last: s.shown}
	}
	x.Results = s.results
	return x
}

// Next returns a state newer than the one of the number since, with its number, and waits for
// it; 0: one of now. Who is slow misses those between. The error is the context's.
func (h *Hub) Next(ctx context.Context, since uint64) (*State, uint64, error) {
	h.mu.Lock()
	if since == 0 && !h.looking && h.shared.end == nil {
		since = h.number // which is old
	}
	h.waiting++
	defer func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		h.waiting--
		h.looked = time.Now()
		h.until = h.looked.Add(linger)
	}()
	for h.number <= since || h.state == nil {
		if !h.looking && h.shared.end == nil {
			h.looking = true
			task.Go(h.look)
		}
		news := h.news
		h.mu.Unlock()
		select {
		case <-news:
		case <-ctx.Done():
			return nil, 0, ctx.Err()
		}
		h.mu.Lock()
	}
	defer h.mu.Unlock()
	return h.state, h.number, nil
}

// Watched reports whether somebody has looked within the last moments.
func (h *Hub) Watched() bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.waiting > 0 || time.Now().Before(h.until)
}

// look makes states while somebody waits for them, and a while longer, until the run ends.
func (h *Hub) look() {
	h.lower()
	g := &bench.Glance{}
	out := false // it is the loop's
	var seen sight
	for {
		began := time.Now()
		h.mu.Lock()
		if h.shared.end != nil || h.waiting == 0 && began.After(h.until) && !out { // a glance that is asked for is waited for
			h.looking = false
			h.mu.Unlock()
			return
		}
		h.mu.Unlock()
		h.work.Lock()
		h.makeCourses()
		h.mu.Lock()
		s, names, share := h.snapshot(), h.names, h.share // before the rig is looked at: no cycle is stored that has not begun
		h.mu.Unlock()
		h.work.Unlock()
		for time.Since(began) < h.refresh {
			if !out {
				h.glances.Ask(g)
				out, seen.fresh = true, true
			}
			if got := h.glances.Take(); got != nil {
				out = false
				if seen.add(share.of(got), h.of.Now(), time.Now()); seen.fresh {
					break
				}
				continue // it was asked for before what the run has told by now
			}
			time.Sleep(h.refresh / turns)
		}
		seen.fresh = seen.fresh && !out
		h.work.Lock()
		seen.into(s, &h.of, names)
		h.mu.Lock()
		h.publish(s)
		h.mu.Unlock()
		h.work.Unlock()
		time.Sleep(h.refresh - time.Since(began))
	}
}

// makeCourses makes the courses that were taken, without keeping the measuring waiting.
func (h *Hub) makeCourses() {
	h.mu.Lock()
	taken := h.shared.taking
	h.shared.taking = nil
	h.mu.Unlock()
	if taken == nil {
		return
	}
	courses := madeOf(taken)
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.shared.end == nil { // else they are made for good
		h.shared.courses = courses
	}
}

// lower is called first of all on a goroutine that works for who looks.
func (h *Hub) lower() {
	if h.of.Lower != nil {
		h.of.Lower()
	}
}

// publish makes a state the newest one. Once the run has ended there is no other. Callers
// have the mutex.
func (h *Hub) publish(s *State) {
	if h.shared.end != nil && s.End == nil {
		return
	}
	h.state = s
	h.number++
	close(h.news)
	h.news = make(chan struct{})
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
