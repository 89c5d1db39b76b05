package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/tally"
	"makebreak/rig/bench"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
)

// soak is a soak at work.
type soak struct {
	app     *app
	o       *soakOpts
	db      *journal.DB
	rec     *journal.RunRecord // of a run that is resumed
	run     *journal.Run
	kept    *tray // of the run
	seq     *sequences.Sequence
	rig     *wiring.Rig
	sim     setup.Simulation
	keep    journal.Retention
	planned int
	whole   int // cycles done whole, over all sittings
	next    int // number of the next cycle

	keeper *runner.Keeper
	tally  *tally.Tally
	stored int // cycle of the last checkpoint
	watch  *watch
	notify *notifier
	failed int
	told   time.Time
	broken error // what keeps the sums from being kept

	began     time.Time
	beganAt   int   // whole cycles then
	beganSize int64 // of the log then
}

const (
	// checkpointEvery is how many cycles at most must be read again after a cut.
	checkpointEvery = 10_000
	// checkpointAgain is from how many cycles read at a start they are summed for good.
	checkpointAgain = 500
	// tellEvery is how often a soak without a terminal says how far it is.
	tellEvery = 10 * time.Minute
	// The waits for a lost rig begin with firstWait and double up to longestWait.
	firstWait   = 100 * time.Millisecond
	longestWait = 30 * time.Second
)

// start opens the bench, takes the run up with it, works until the end and reports.
func (s *soak) start(ctx context.Context, take func(*bench.Bench) error) error {
	if setup.Prompts(s.rig, s.seq) {
		return failed(exitUsage, errors.New("a soak runs unattended, and this sequence on this rig needs a person to bring its events about"))
	}
	if err := s.app.cautioned(ctx, s.rig, s.seq, s.o.yes); err != nil {
		return err
	}
	var err error
	if s.watch, err = s.app.newWatch(s.seq, s.planned-s.whole, &s.o.runOpts); err != nil {
		return err
	}
	defer s.watch.close()
	s.notify = newNotifier(s.app, s.seq)
	defer s.notify.stop()
	b, err := s.open(ctx, time.Now().Add(s.o.waitForRig))
	if err != nil {
		return err
	}
	if err := take(b); err != nil {
		return problem.Of(kindOf(err), errors.Join(err, unclosed(b.Close())))
	}
	s.watch.begin(s.run.ID(), s.app.unit, s.seq.Name)
	s.notify.ready(fmt.Sprintf("run %s, cycle %d of %d", s.run.ID(), s.next, s.planned))
	runErr := s.work(ctx, b)
	s.watch.end()
	s.notify.stopping()
	return s.end(runErr)
}

// begin begins a run.
func (s *soak) begin(b *bench.Bench) error {
	info := s.app.runInfo(s.seq, s.rig, s.sim, s.planned)
	info.Notes = notes(s.rig, unwatched(s.rig, s.seq, b))
	info.Soak = &s.keep
	run, err := s.db.Begin(info)
	if err != nil {
		return failed(exitLog, err)
	}
	s.run = run
	s.app.note("Run %s: %s; if it is interrupted, makebreak soak --resume %s goes on", run.ID(), words.Count(s.planned, "cycle", "cycles"), run.ID())
	return s.prepare(0, nil)
}

// resume takes a run up again.
func (s *soak) resume() error {
	sum, err := tallyOf(s.rec)
	if err != nil {
		return failed(exitLog, err)
	}
	stored, _, err := s.rec.Checkpoint()
	if err != nil {
		return failed(exitLog, err)
	}
	kept, _, err := s.rec.CaptureCounts()
	if err != nil {
		return failed(exitLog, err)
	}
	if s.run, err = s.db.Resume(s.rec.ID, time.Now()); err != nil {
		return failed(exitLog, err)
	}
	s.app.note("Run %s goes on with cycle %d; %d of %d are done", s.run.ID(), s.next, s.whole, s.planned)
	if s.o.keepChanged {
		s.app.note("It keeps captures as it did from the beginning")
	}
	if err := s.prepare(kept[journal.KeptBad]+kept[journal.KeptDrifted], sum); err != nil {
		return err
	}
	if s.tally.Last-stored < checkpointAgain {
		return nil
	}
	return failed(exitLog, s.checkpoint()) // so that the next start need not read these cycles again
}

func (s *soak) prepare(bad int, sum *tally.Tally) (err error) {
	s.keeper, s.kept = runner.NewKeeper(s.keep, bad), &tray{run: s.run}
	if s.tally = sum; sum == nil {
		if s.tally, err = tally.New(); err != nil {
			return failed(exitInternal, err)
		}
	}
	s.stored = s.tally.Last
	s.failed = int(s.tally.Outcomes.Summary().Failures.Outside)
	s.began, s.beganAt, s.told = time.Now(), s.whole, time.Now()
	if s.beganSize, err = s.db.Size(); err != nil {
		return failed(exitLog, err)
	}
	return nil
}

// open opens the bench. One that does not answer is tried again until the deadline.
func (s *soak) open(ctx context.Context, deadline time.Time) (*bench.Bench, error) {
	for wait := firstWait; ; wait = min(2*wait, longestWait) {
		b, err := s.app.openBench(s.rig, s.seq, s.sim)
		left := time.Until(deadline)
		if err == nil || kindOf(err) != problem.Rig || left <= 0 {
			return b, err
		}
		if wait == firstWait {
			s.app.note("%s; waiting up to %s for the rig", plain(err), left.Round(time.Second))
		}
		s.notify.alive()
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(min(wait, left)):
		}
	}
}

// work runs cycle after cycle until all are done or the rig is lost for good.
func (s *soak) work(ctx context.Context, b *bench.Bench) error {
	var lost patience
	for {
		outcome, err := runner.Run(ctx, b, s.seq, runner.Opts{First: s.next, Last: s.next + s.planned - s.whole - 1, StopOnFail: s.o.stopOnFail,
			Now: time.Now, Recorder: s.kept, Keep: s.keeper.Keep, Desk: setup.Measurer(s.rig), OnCycle: s.cycle, OnEvent: s.event})
		err = errors.Join(err, unclosed(b.Close()))
		s.whole += outcome.Cycles
		s.next = max(s.next, outcome.Last+1)
		if s.whole >= s.planned || !errors.Is(err, bench.ErrLost) || errors.Is(err, bench.ErrNobody) || s.o.waitForRig == 0 {
			return err
		}
		if b, err = s.wait(ctx, &lost, err, outcome.Cycles > 0); err != nil {
			return err
		}
	}
}

// patience is how long a rig that comes and goes is still waited for.
type patience struct {
	deadline time.Time
	pause    time.Duration
}

// wait waits for a rig that was lost and records the interruption. The time for it
// begins anew only after a whole cycle, and the pauses grow, lest a rig that
// comes and never does a cycle be tried without end.
func (s *soak) wait(ctx context.Context, p *patience, why error, worked bool) (*bench.Bench, error) {
	stopped := time.Now()
	if p.deadline.IsZero() || worked {
		*p = patience{stopped.Add(s.o.waitForRig), firstWait}
		s.app.note("Cycle %d: %s; waiting up to %s for the rig", s.next-1, plain(why), s.o.waitForRig)
	}
	left := time.Until(p.deadline)
	if left <= 0 {
		return nil, why
	}
	s.notify.alive()
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-time.After(min(p.pause, left)):
	}
	p.pause = min(2*p.pause, longestWait)
	b, err := s.open(ctx, p.deadline)
	if err != nil {
		return nil, err
	}
	gap := journal.Interruption{After: s.next - 1, Stopped: stopped, Resumed: time.Now(), Reason: plain(why)}
	if err := s.run.Interrupted(gap); err != nil {
		return nil, errors.Join(err, unclosed(b.Close()))
	}
	s.app.note("The rig is back; going on with cycle %d", s.next)
	return b, nil
}

func (s *soak) event(cycle int, event string) {
	s.notify.alive()
	s.watch.event(cycle, event)
}

// cycle takes in a cycle that has been stored.
func (s *soak) cycle(c *journal.Cycle) {
	s.notify.alive()
	s.watch.cycle(c)
	if c.Complete && c.Verdict == analyze.Fail {
		s.failed++
	}
	if s.broken == nil {
		s.broken = s.sum(c)
	}
	s.tell(c)
}

// sum adds the cycle to the sums and stores them now and then.
func (s *soak) sum(c *journal.Cycle) error {
	if err := addCycle(s.tally, c); err != nil {
		return err
	}
	if c.N-s.stored < checkpointEvery {
		return nil
	}
	return s.checkpoint()
}

func (s *soak) checkpoint() error {
	state, err := s.tally.MarshalBinary()
	if err != nil {
		return err
	}
	if err := s.run.Checkpoint(s.tally.Last, state); err != nil {
		return err
	}
	s.stored = s.tally.Last
	return nil
}

// tell says how far the soak is.
func (s *soak) tell(c *journal.Cycle) {
	byNumber := s.o.tellEvery > 0 && c.N%s.o.tellEvery == 0
	byTime := s.o.tellEvery == 0 && s.watch.bar == nil && time.Since(s.told) >= tellEvery
	if !byNumber && !byTime {
		return
	}
	s.told = time.Now()
	done := s.tally.Whole
	word := verdictWord(string(c.Verdict))
	if !c.Complete {
		word = "cut short"
	}
	s.app.note("cycle %d: %s (%d of %d done, %d failed)", c.N, word, done, s.planned, s.failed)
	s.notify.status(fmt.Sprintf("cycle %d of %d, %d failed", done, s.planned, s.failed))
}

// end stores how the soak ended and reports it.
func (s *soak) end(runErr error) error {
	another := errors.Is(runErr, journal.ErrHaveCycle) || errors.Is(runErr, journal.ErrTaken)
	if another {
		return failed(exitLog, errors.Join(runErr, fmt.Errorf("another program goes on with run %s", s.run.ID())))
	}
	if s.broken == nil && s.tally.Last > s.stored {
		s.broken = s.checkpoint()
	}
	if s.broken != nil && runErr == nil {
		s.app.note("The figures' sums could not be stored, a report will take longer: %s", plain(s.broken))
	}
	if n := s.keeper.Left(); n > 0 {
		s.app.note("Cycles that did not pass or drifted and kept no capture, beyond the %d of --keep-bad: %d", s.keep.Bad, n)
	}
	if runErr == nil || s.whole >= s.planned {
		s.tellSize()
	}
	verdict := analyze.NoVerdict
	rec, err := s.db.Find(s.run.ID()) // its verdict is that of all cycles until it is finished
	if err == nil {
		verdict = rec.Verdict
	}
	end := journal.RunEnd{Ended: time.Now(), Verdict: verdict, Complete: runErr == nil, Reason: whyIncomplete(runErr)}
	if err := errors.Join(err, s.run.Finish(end)); err != nil && runErr == nil {
		runErr = failed(exitLog, err)
	}
	if runErr != nil && !errors.Is(runErr, runner.ErrStopped) && !errors.Is(runErr, journal.ErrGone) {
		defer s.app.note("makebreak soak --resume %s goes on with cycle %d", s.run.ID(), s.next)
	}
	return s.app.finish(s.db, s.kept, runErr, s.watch)
}

// tellSize says how much of the log a cycle takes, and how long a gigabyte lasts.
func (s *soak) tellSize() {
	size, err := s.db.Size()
	n := s.whole - s.beganAt
	if err != nil || n == 0 || size <= s.beganSize {
		return
	}
	each := float64(size-s.beganSize) / float64(n)
	length := s.seq.Duration()
	days := 1e9 / each * length.Seconds() / 86400
	s.app.note("The log grew by %.0f bytes a cycle; at %s a cycle, a gigabyte lasts %.1f days", each, length, days)
	if took := time.Since(s.began).Seconds(); took > 0 {
		s.app.note("%s in %.1f s, %.0f a second", words.Count(n, "cycle", "cycles"), took, float64(n)/took)
	}
}

// addCycle adds a cycle with its figures to a sum.
func addCycle(t *tally.Tally, c *journal.Cycle) error {
	for i := range c.Measurements {
		if err := t.Add(&c.Measurements[i]); err != nil {
			return err
		}
	}
	return t.AddCycle(c.N, c.Verdict, c.Complete)
}
