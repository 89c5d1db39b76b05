// Package soak leads the life of a soak, a run of very many cycles that may be cut off and
// goes on: which captures are kept, what its figures come to, how a lost rig is waited for,
// and what it takes to go on with one. It also says what several boards' soaks show about
// their life, and what test a claim about the life needs.
package soak

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/tally"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/hardware"
	"makebreak/rig/machine"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
)

// MaxCycle is the highest number that a cycle can have.
const MaxCycle = math.MaxInt32

// Work is how a soak is done, and who hears of it.
type Work struct {
	Sequence *sequences.Sequence
	Bench    func() (*bench.Bench, error) // opens the bench, anew after it was lost
	Measurer func()                       // as in runner.Opts
	// Calibrations are as in runner.Opts.
	Calibrations []capture.Calibration
	Now          func() time.Time // the wall clock; nil: the system's
	StopOnFail   bool
	WaitForRig   time.Duration // how long a rig that does not answer is waited for; 0: not at all
	Lines        Lines         // when a line says how far it is
	Hear         Hearer
	Program      string // version, for the log
	// Shown has the cycles told to who shows them, beside what hears of them; nil: nobody does.
	Shown func(*runner.Opts)
	// Watch begins to watch the computer that a bench is on; nil: it is of no interest, as of
	// a simulated bench.
	Watch func(*bench.Bench) *machine.Watch
}

// now is the wall clock's time.
func (w *Work) now() time.Time {
	if w.Now == nil {
		return time.Now()
	}
	return w.Now()
}

// A Hearer hears how a soak gets on.
type Hearer interface {
	// Say takes a line for the person.
	Say(format string, args ...any)
	// Alive is a sign of life.
	Alive()
	// RigLost hears whether a rig that does not answer is waited for.
	RigLost(lost bool)
	// Interrupted hears that the soak goes on after an interruption.
	Interrupted()
	// Event hears of an event brought about, as runner.Opts.OnEvent does.
	Event(cycle int, event string)
	// Cycle hears of a cycle that has been stored.
	Cycle(*journal.Cycle)
	// Progress hears, beside each line, how many cycles are done and failed.
	Progress(done, planned, failed int)
}

// Lines say when a line tells how far a soak is: after each so many cycles or each so long;
// 0: not so.
type Lines struct {
	Cycles int
	Time   time.Duration
}

// Soak is a run of very many cycles at work.
type Soak struct {
	work     Work
	db       *journal.DB
	store    *runner.Store
	keeper   *Keeper
	sums     *sums
	cycles   cycles
	growth   growth
	lastLine time.Time       // when the latest line was
	gravest  analyze.Verdict // of the cycles of earlier programs
	watch    *machine.Watch
}

// cycles is how far a soak is, over all its sittings.
type cycles struct {
	planned int
	done    int // done from start to end
	next    int // number of the next one
	failed  int
}

// Begin begins a soak in a log. Its retention stands in the run's information.
func Begin(db *journal.DB, info journal.RunInfo, w Work) (*Soak, error) {
	run, err := db.Begin(info)
	if err != nil {
		return nil, problem.Of(problem.Storage, err)
	}
	t, err := tally.New()
	if err != nil {
		return nil, problem.Of(problem.Internal, err)
	}
	w.Hear.Say("Run %s: %s; if it is interrupted, makebreak soak --resume %s goes on", run.ID(), words.Count(info.Planned, "cycle"), run.ID())
	s := newSoak(db, run, *info.Soak, 0, t, w)
	s.cycles = cycles{planned: info.Planned, next: 1}
	s.growth.begin(db, 0)
	return s, nil
}

// Resume goes on with a soak that Take has taken.
func Resume(db *journal.DB, rec *journal.RunRecord, w Work) (*Soak, error) {
	storage := func(err error) (*Soak, error) { return nil, problem.Of(problem.Storage, err) }
	t, err := Tally(rec)
	if err != nil {
		return storage(err)
	}
	stored, _, err := rec.Checkpoint()
	if err != nil {
		return storage(err)
	}
	kept, _, err := rec.CaptureCounts()
	if err != nil {
		return storage(err)
	}
	last, err := rec.Last()
	if err != nil {
		return storage(err)
	}
	run, err := db.Resume(rec.ID, w.now(), w.Program)
	if err != nil {
		return storage(err)
	}
	s := newSoak(db, run, *rec.Soak, kept[journal.KeptBad]+kept[journal.KeptDrifted], t, w)
	s.gravest = rec.Gravest
	s.cycles = cycles{planned: rec.Planned, done: rec.Cycles, next: last + 1, failed: int(t.Outcomes.Summary().Failures.Outside)}
	w.Hear.Interrupted()
	w.Hear.Say("Run %s goes on with cycle %d; %d of %d are done", run.ID(), s.cycles.next, s.cycles.done, s.cycles.planned)
	s.growth.begin(db, s.cycles.done)
	if t.Last-stored >= checkpointAgain {
		s.sums.err = s.sums.checkpoint() // so that the next start need not read these cycles again
	}
	return s, nil
}

func newSoak(db *journal.DB, run *journal.Run, keep journal.Retention, bad int, t *tally.Tally, w Work) *Soak {
	return &Soak{work: w, db: db, store: &runner.Store{Run: run}, keeper: NewKeeper(keep, bad),
		sums: &sums{run: run, tally: t, stored: t.Last}, lastLine: time.Now()}
}

// ID returns the run's.
func (s *Soak) ID() string { return s.store.Run.ID() }

// Sums returns what the figures come to, over all sittings. They belong to the goroutine that
// calls OnCycle while the soak runs.
func (s *Soak) Sums() *tally.Tally { return s.sums.tally }

// Info returns what the run is of.
func (s *Soak) Info() journal.RunInfo { return s.store.Run.Info() }

// Next returns the number of the next cycle, and how many are planned.
func (s *Soak) Next() (next, planned int) { return s.cycles.next, s.cycles.planned }

// Gravest returns the verdict of what earlier programs have done of it.
func (s *Soak) Gravest() analyze.Verdict { return s.gravest }

// Unstored returns the cycles that were measured and that the log could not take.
func (s *Soak) Unstored() []*journal.Cycle { return s.store.Unstored }

// Run runs cycle after cycle until all are done, the context is done or the rig is lost for
// good. It closes the bench.
func (s *Soak) Run(ctx context.Context, b *bench.Bench) error {
	var lost retry
	for {
		s.watchBench(b)
		c := &s.cycles
		opts := runner.Opts{First: c.next, Last: c.next + c.planned - c.done - 1,
			StopOnFail: s.work.StopOnFail, Now: s.work.now, Calibrations: s.work.Calibrations, Recorder: s.store, Keep: s.keeper.Keep, Measurer: s.work.Measurer,
			OnCycle: s.cycle, OnEvent: s.event}
		if s.work.Shown != nil {
			s.work.Shown(&opts)
		}
		outcome, err := runner.Run(ctx, b, s.work.Sequence, opts)
		err = errors.Join(err, hardware.CloseBench(b))
		c.done += outcome.Cycles
		c.next = max(c.next, outcome.Last+1)
		if c.done >= c.planned || !errors.Is(err, bench.ErrLost) || errors.Is(err, bench.ErrNobody) || s.work.WaitForRig == 0 {
			return err
		}
		if b, err = s.wait(ctx, &lost, err, outcome.Cycles > 0); err != nil {
			return err
		}
	}
}

// watchBench watches the computer from now on, with what is known of a bench that was opened,
// perhaps anew. What the watch before has seen is stored with the next cycle.
func (s *Soak) watchBench(b *bench.Bench) {
	if s.work.Watch == nil {
		return
	}
	before := s.endWatch()
	s.watch = s.work.Watch(b)
	seen := s.watch.Seen
	s.store.Machine = func() []capture.MachineFact {
		all := append(before, seen()...)
		before = nil
		return all
	}
}

// endWatch ends the watch and returns what has not been stored of it.
func (s *Soak) endWatch() []capture.MachineFact {
	if s.watch == nil {
		return nil
	}
	left := s.store.Machine()
	s.store.Machine = nil
	return append(left, s.watch.End()...)
}

func (s *Soak) event(cycle int, event string) {
	s.work.Hear.Alive()
	s.work.Hear.Event(cycle, event)
}

// cycle takes in a cycle that has been stored.
func (s *Soak) cycle(c *journal.Cycle) {
	s.work.Hear.Alive()
	s.work.Hear.Cycle(c)
	if c.Complete && c.Verdict == analyze.Fail {
		s.cycles.failed++
	}
	s.sums.add(c)
	s.tell(c)
}

// tell says how far the soak is.
func (s *Soak) tell(c *journal.Cycle) {
	l := s.work.Lines
	if !(l.Cycles > 0 && c.N%l.Cycles == 0) && !(l.Time > 0 && time.Since(s.lastLine) >= l.Time) {
		return
	}
	s.lastLine = time.Now()
	result := analyze.RunVerdict(c.Complete, c.Verdict).Name()
	done, n := s.sums.tally.Complete, s.cycles
	s.work.Hear.Say("cycle %d: %s (%d of %d done, %d failed)", c.N, result, done, n.planned, n.failed)
	s.work.Hear.Progress(done, n.planned, n.failed)
}

// End stores how the soak ended: its sums and the state of its run. An error that ended it
// comes back, with what else went wrong.
func (s *Soak) End(err error, reason string) error {
	hear := s.work.Hear
	if errors.Is(err, journal.ErrHaveCycle) || errors.Is(err, journal.ErrTaken) {
		return problem.Of(problem.Storage, errors.Join(err, fmt.Errorf("another program goes on with run %s", s.ID())))
	}
	if failed := s.sums.end(); failed != nil && err == nil {
		hear.Say("The figures' sums could not be stored, a report will take longer: %s", failed)
	}
	if n := s.keeper.NotKept(); n > 0 {
		hear.Say("Cycles that did not pass or drifted and kept no capture, beyond the %d of --keep-bad: %d", s.keeper.policy.Bad, n)
	}
	if err == nil || s.cycles.done >= s.cycles.planned {
		s.growth.tell(s.db, s.cycles.done, s.work.Sequence.Duration(), hear.Say)
	}
	gravest := analyze.NoVerdict
	rec, findErr := s.db.Find(s.ID())
	if findErr == nil {
		gravest = rec.Gravest
	}
	end := journal.RunEnd{Ended: s.work.now(), Gravest: gravest, Complete: err == nil, Reason: reason, Ending: capture.EndingOf(err), Machine: s.endWatch()}
	if finishErr := errors.Join(findErr, s.store.Run.Finish(end)); finishErr != nil && err == nil {
		err = problem.Of(problem.Storage, finishErr)
	}
	return err
}

// growth is how much of the log a sitting has taken.
type growth struct {
	began time.Time
	done  int   // cycles done then
	size  int64 // of the log then, in bytes
}

// begin remembers how far the log is. Where that is not known nothing is told later: a run
// that has begun does not fail for it.
func (g *growth) begin(db *journal.DB, done int) {
	size, err := db.Size()
	if err != nil {
		size = math.MaxInt64
	}
	*g = growth{time.Now(), done, size}
}

// tell says how much of the log a cycle takes, and how long a gigabyte lasts.
func (g *growth) tell(db *journal.DB, done int, cycle time.Duration, say func(format string, args ...any)) {
	size, err := db.Size()
	n := done - g.done
	if err != nil || n == 0 || size <= g.size {
		return
	}
	each := float64(size-g.size) / float64(n) // bytes
	days := 1e9 / each * cycle.Seconds() / 86400
	say("The log grew by %.0f bytes a cycle; at %s a cycle, a gigabyte lasts %.1f days", each, unit.Time.Format(cycle.Seconds()), days)
	if took := time.Since(g.began).Seconds(); took > 0 {
		say("%s in %.1f s, %.0f a second", words.Count(n, "cycle"), took, float64(n)/took)
	}
}
