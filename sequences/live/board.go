package live

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/task"
	"makebreak/rig/wiring"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/site"
)

// lookEvery is how often a log is looked at for runs, while somebody looks at them.
const lookEvery = time.Second

// A Board shows the runs of a log that programs are at now; where there is none, the newest
// run as it ended. Which ones those are the runs' locks say, so that a program that was killed
// is not shown as running.
type Board struct {
	log  string
	read func(func(*journal.DB) error) error

	// What look has read and need not read again.
	plans map[string]*analyze.Plan // of the runs under way, by UUID
	last  []Run                    // that have ended, the newest and those made with it; empty: not known

	mu      sync.Mutex // guards what follows
	runs    []Run
	number  uint64
	news    chan struct{} // closed with the next change
	looking bool
	waiting int
	until   time.Time
	heard   map[string]*hearing // by UUID
}

// hearing is a program that is listened to.
type hearing struct {
	state  *State // nil: it has told nothing yet
	cancel context.CancelFunc
	failed time.Time // it could not be heard; zero: it is being
}

// NewBoard returns the board of a log, which is read through a function.
func NewBoard(log string, read func(func(*journal.DB) error) error) *Board {
	return &Board{log: log, read: read, news: make(chan struct{}), heard: map[string]*hearing{}}
}

// Next implements Source.
func (b *Board) Next(ctx context.Context, since uint64) ([]Run, uint64, error) {
	b.mu.Lock()
	if since == 0 && !b.looking {
		since = b.number // which is old
	}
	b.waiting++
	defer func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.waiting--
		b.until = time.Now().Add(linger)
	}()
	for b.number <= since {
		if !b.looking {
			b.looking = true
			task.Go(b.look)
		}
		news := b.news
		b.mu.Unlock()
		select {
		case <-news:
		case <-ctx.Done():
			return nil, 0, ctx.Err()
		}
		b.mu.Lock()
	}
	defer b.mu.Unlock()
	return b.runs, b.number, nil
}

// look looks at the log while somebody waits for news, and a while longer.
func (b *Board) look() {
	for first := true; ; first = false {
		found, ended := b.find()
		b.mu.Lock()
		if b.waiting == 0 && time.Now().After(b.until) {
			for _, h := range b.heard {
				h.cancel()
			}
			clear(b.heard)
			b.looking = false
			b.mu.Unlock()
			return
		}
		b.listenTo(found)
		if first {
			b.awaitHeard(time.Now().Add(dialTime))
		}
		if b.show(found, ended) || first {
			b.tell()
		}
		b.mu.Unlock()
		time.Sleep(lookEvery)
	}
}

// awaitHeard waits until each program that is listened to has told something or could not be
// heard, so that the first who looks sees what happens. Callers have the mutex.
func (b *Board) awaitHeard(end time.Time) {
	for time.Now().Before(end) {
		waits := false
		for _, h := range b.heard {
			waits = waits || h.state == nil && h.failed.IsZero()
		}
		if !waits {
			return
		}
		b.mu.Unlock()
		time.Sleep(refresh / turns)
		b.mu.Lock()
	}
}

// found is a run that a program is at now.
type found struct {
	journal.RunSummary
	plan *analyze.Plan
}

// find reads from the log which runs are under way; where there is none, how the newest
// and those made with it ended. A log that cannot be read has none: the rest of the page says what is wrong with it.
func (b *Board) find() (under []found, ended []Run) {
	var uuids []string
	for _, path := range journal.Sockets(b.log) {
		uuids = append(uuids, journal.UUIDOfSocket(path))
	}
	_ = b.read(func(db *journal.DB) error {
		busy, err := db.UnderWay(uuids)
		if err != nil {
			return err
		}
		plans := map[string]*analyze.Plan{} // only of these, however many runs there have been
		for _, s := range busy {
			plan, known := b.planOf(db, s.UUID)
			if known {
				plans[s.UUID] = plan
			}
			under = append(under, found{s, plan})
		}
		b.plans = plans
		if len(under) == 0 {
			ended, err = b.newest(db)
		}
		return err
	})
	return under, ended
}

// planOf is what the sequence of a run under way demands, read once. False: it could not be
// read this time.
func (b *Board) planOf(db *journal.DB, uuid string) (*analyze.Plan, bool) {
	if p, known := b.plans[uuid]; known {
		return p, true
	}
	rec, err := db.Find(uuid)
	if err != nil {
		return nil, false
	}
	return planIn(rec), true
}

// planIn is what a run's sequence demands; nil: this program cannot parse it.
func planIn(rec *journal.RunRecord) *analyze.Plan {
	seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource))
	if err != nil {
		return nil
	}
	return &seq.Plan
}

// newest is how the newest run ended, and those that were made with it, read once; empty: there is
// none.
func (b *Board) newest(db *journal.DB) ([]Run, error) {
	all, err := db.Search(journal.Search{Most: 1})
	if err != nil || len(all.Runs) == 0 {
		return nil, err
	}
	if mark := journal.Noted(all.Runs[0].Fields, journal.TogetherField); mark != "" {
		if all, err = db.Search(journal.Search{Field: journal.TogetherField + "=" + mark, Most: wiring.MostUnits}); err != nil {
			return nil, err
		}
	}
	if slices.EqualFunc(b.last, all.Runs, func(last Run, s journal.RunSummary) bool {
		return last.RunID == s.UUID && last.Stored == s.Cycles && last.End.Verdict == s.Verdict
	}) {
		return b.last, nil
	}
	var ended []Run
	for _, s := range all.Runs {
		rec, err := db.Find(s.UUID)
		if err != nil {
			return nil, err
		}
		r, err := endedRun(rec, planIn(rec), s.Cycles)
		if err != nil {
			return nil, err
		}
		ended = append(ended, *r)
	}
	b.last = ended
	return ended, nil
}

// endedRun is a run that nobody is at, as the log has it.
func endedRun(rec *journal.RunRecord, plan *analyze.Plan, stored int) (*Run, error) {
	s := &State{Run: rec.ID, RunID: rec.UUID, Unit: rec.Unit, Position: journal.Noted(rec.Fields, journal.PositionField), Together: journal.Noted(rec.Fields, journal.TogetherField), By: rec.By, Sequence: rec.Sequence, Rig: rec.Rig, Program: rec.Program,
		Simulated: rec.Seed != nil, Faults: rec.Faults, Soak: rec.Soak != nil, Began: rec.Started, Planned: rec.Planned, Done: rec.Cycles,
		Stored: stored, Verdict: rec.Gravest, PerHour: Number(math.NaN()), Lost: true,
		End: &End{At: rec.Ended, Verdict: rec.Verdict, Complete: rec.Complete, Reason: rec.WhyIncomplete()}}
	if !rec.Complete && s.End.Reason == "" {
		s.End.Reason = "its program ended without a word"
	}
	for i, v := range analyze.Verdicts {
		var err error
		if s.Counts[i], err = rec.CyclesWith(v); err != nil {
			return nil, err
		}
	}
	if plan != nil {
		var all diagnose.Gathering
		for x, err := range rec.Symptoms() {
			if err != nil {
				return nil, err
			}
			all.Add(x)
		}
		s.Results = &Results{Number: 1, Cycle: stored, Findings: all.Findings(plan, rec.Cycles, nil)}
	}
	return &Run{State: s, Plan: plan, Record: site.RecordAt(rec.ID)}, nil
}

// listenTo listens to the programs that are at runs now, and to no other. Callers have the
// mutex.
func (b *Board) listenTo(under []found) {
	for _, f := range under {
		h := b.heard[f.UUID]
		if h != nil && (h.failed.IsZero() || time.Since(h.failed) < linger) {
			continue
		}
		b.listen(f.UUID)
	}
	for uuid, h := range b.heard {
		if !slices.ContainsFunc(under, func(f found) bool { return f.UUID == uuid }) {
			h.cancel()
			delete(b.heard, uuid)
		}
	}
}

// listen begins to listen to the program that is at a run. Callers have the mutex.
func (b *Board) listen(uuid string) {
	ctx, cancel := context.WithCancel(context.Background())
	h := &hearing{cancel: cancel}
	b.heard[uuid] = h
	task.Go(func() {
		defer cancel()
		socket, err := journal.Socket(b.log, uuid)
		if err == nil {
			_ = hear(ctx, socket, func(s *State) { b.hear(h, uuid, s) })
		}
		b.mu.Lock()
		defer b.mu.Unlock()
		h.failed = time.Now()
	})
}

// hear takes in what a program tells of its run.
func (b *Board) hear(h *hearing, uuid string, s *State) {
	if s.RunID != uuid {
		return // it is another's socket
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.heard[uuid] != h {
		return // another took its place
	}
	h.state = s
	for i := range b.runs {
		if b.runs[i].RunID != uuid {
			continue
		}
		runs := slices.Clone(b.runs)
		runs[i] = runOf(s, runs[i].Plan)
		b.runs = runs
		b.tell()
	}
}

// runOf is a run as its program tells it.
func runOf(s *State, plan *analyze.Plan) Run {
	r := Run{State: s, Plan: plan}
	if s.End != nil {
		r.Record = site.RecordAt(s.Run)
	}
	return r
}

// show makes the runs that are shown, and reports whether they differ from those before in
// more than what their programs tell. Callers have the mutex.
func (b *Board) show(under []found, ended []Run) bool {
	var runs []Run
	for _, f := range under {
		h := b.heard[f.UUID]
		if h.state != nil && h.failed.IsZero() || h.state != nil && h.state.End != nil {
			runs = append(runs, runOf(h.state, f.plan))
			continue
		}
		runs = append(runs, fromLog(&f.RunSummary, f.plan, !h.failed.IsZero()))
	}
	if len(under) == 0 {
		runs = append(runs, ended...)
	}
	// Runs that are made at the same time began one right after the other, in the rig file's order.
	slices.SortStableFunc(runs, func(x, y Run) int { return cmp.Or(x.Began.Compare(y.Began), cmp.Compare(x.RunID, y.RunID)) })
	same := slices.EqualFunc(runs, b.runs, func(x, y Run) bool {
		return x.RunID == y.RunID && x.Stored == y.Stored && (x.End == nil) == (y.End == nil) && x.Doubt == y.Doubt && cmp.Compare(x.Verdict, y.Verdict) == 0
	})
	b.runs = runs
	return !same
}

// fromLog is a run under way of which its program tells nothing.
func fromLog(r *journal.RunSummary, plan *analyze.Plan, silent bool) Run {
	s := &State{Run: r.Run, RunID: r.UUID, Unit: r.Unit, Position: journal.Noted(r.Fields, journal.PositionField), Together: journal.Noted(r.Fields, journal.TogetherField), Sequence: r.Sequence, Simulated: r.Simulated, Soak: r.Soak, Began: r.Started, At: time.Now(),
		Planned: r.Planned, Done: r.Cycles, Stored: r.Cycles, PerHour: Number(math.NaN()), Lost: true}
	if r.Verdict == analyze.Fail { // a pass of it would be none
		s.Verdict = r.Verdict
	}
	x := Run{State: s, Plan: plan, Record: site.RecordAt(r.Run)}
	if silent {
		x.Doubt = "The program that runs this test does not answer: its levels are not known here. What is shown is from the log."
	}
	return x
}

// tell tells who waits that there is news. Callers have the mutex.
func (b *Board) tell() {
	b.number++
	close(b.news)
	b.news = make(chan struct{})
}
