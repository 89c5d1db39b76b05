package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"makebreak/rig/bench"
	"makebreak/rig/hardware"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/progress"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
	"makebreak/sequences/soak"
)

// tellEvery is how often a soak without a terminal says how far it is.
const tellEvery = 10 * time.Minute

// beginSoak begins a soak.
func (a *app) beginSoak(c *cobra.Command, name string, o *soakOpts) error {
	j, err := a.prepareSoak(c, name, o)
	if err != nil {
		return err
	}
	db, err := journal.Open(a.log)
	if err != nil {
		return problem.Of(problem.Storage, err)
	}
	defer db.Close()
	return a.soakIn(c.Context(), db, j, o)
}

// prepareSoak prepares a new soak, with what is noted with it.
func (a *app) prepareSoak(c *cobra.Command, name string, o *soakOpts) (job, error) {
	j, err := a.prepare(c, name, &o.runOpts)
	if err != nil {
		return j, err
	}
	return j, a.noteFields(c.Context(), &j, &o.runOpts)
}

// goOn goes on with the unit's soak of a sequence, or begins one where there is none. Two
// programs that are told to at once must not both begin one, so the first locks them.
func (a *app) goOn(c *cobra.Command, name string, o *soakOpts) error {
	seq, err := a.loadSequence(name)
	if err != nil {
		return err
	}
	if rig, err := a.rigFile(); err != nil {
		return err
	} else if rig != nil && len(rig.Units) > 0 && len(a.only) != 1 {
		return badUsage("--go-on: %w; --resume goes on with all of them", severalUnits(rig))
	}
	db, err := journal.Open(a.log)
	if err != nil {
		return problem.Of(problem.Storage, err)
	}
	defer db.Close()
	if err := db.LockUnit(a.unit, seq.Name); err != nil {
		return problem.Of(problem.Storage, err)
	}
	r, err := soak.Newest(db, a.unit, seq.Name)
	switch {
	case err != nil:
		return err
	case r != nil && r.Complete:
		if err := o.bench(r.Simulated); err != nil {
			return fmt.Errorf("run %s: %w", r.Run, err)
		}
		a.note("Run %s: %d of %d cycles are done, verdict %s; makebreak report %s writes its record", r.Run, r.Cycles, r.Cycles, r.Verdict.Name(), r.Run)
		a.verdict = r.Verdict
		soak.Told(fmt.Sprintf("run %s is complete", r.Run), a.note)
		return nil
	case r != nil:
		return a.resumeIn(c, db, r.Run, nil, o)
	}
	j, err := a.prepareSoak(c, name, o)
	if err != nil {
		return err
	}
	return a.soakIn(c.Context(), db, j, o)
}

// resumeSoak goes on with a soak in the log; a sequence may be named beside it.
func (a *app) resumeSoak(c *cobra.Command, sequence []string, o *soakOpts) error {
	var named *sequences.Sequence
	for _, name := range sequence {
		seq, err := a.loadSequence(name)
		if err != nil {
			return err
		}
		named = seq
	}
	db, err := a.openLogWith(journal.Open)
	if err != nil {
		return err
	}
	defer db.Close()
	return a.resumeIn(c, db, o.resume, named, o)
}

// soakIn begins a soak in a log.
func (a *app) soakIn(ctx context.Context, db *journal.DB, j job, o *soakOpts) error {
	if len(j.units) > 0 {
		return a.beginTogether(ctx, db, &j, o)
	}
	return a.soak(ctx, db, j, o, j.cycles, func(w soak.Work, b *bench.Bench) (*soak.Soak, error) {
		info := a.runInfo(&j, b)
		info.Soak = &o.keep
		return soak.Begin(db, info, w)
	})
}

// resumeIn goes on with a soak in a log, as it began.
func (a *app) resumeIn(c *cobra.Command, db *journal.DB, id string, named *sequences.Sequence, o *soakOpts) error {
	changed := c.Flags().Changed
	asked := soak.Asked{Sequence: named}
	if changed("unit") {
		asked.Unit = &a.unit
	}
	if changed("cycles") && !o.goOn { // it says what to begin where there is nothing to resume
		asked.Cycles = &o.cycles
	}
	if changed("seed") && !o.goOn {
		asked.Seed = &o.seed
	}
	mates, err := soak.Mates(db, id, a.only)
	if err != nil {
		return err
	}
	if len(mates) > 0 {
		return a.resumeTogether(c, db, mates, asked, o)
	}
	rec, seq, err := soak.Take(c.Context(), db, id, asked)
	if err != nil {
		return err
	}
	if at := journal.Noted(rec.Fields, positionField); at != "" {
		if len(a.only) > 0 && !slices.Contains(a.only, at) {
			return badUsage("--only %s: run %s was begun at unit %s, where it must go on", strings.Join(a.only, ","), words.Safe(rec.ID), words.Safe(at))
		}
		a.only = []string{at}
	}
	seq.Cycles = rec.Planned
	j := job{seq: seq}
	if j.rig, err = a.loadRig(seq); err != nil {
		return err
	}
	if err := soak.SameRig(rec, j.rig.Name, a.rigSource); err != nil {
		return err
	}
	if j.sim, err = o.simulation(c, j.rig); err != nil {
		return err
	}
	if rec.Seed != nil {
		if err := j.sim.Again(*rec.Seed, rec.Faults); err != nil {
			return fmt.Errorf("run %s: %w", words.Safe(rec.ID), err)
		}
		j.sim.Done = rec.Cycles
	}
	if err := a.calibrateFor(&j); err != nil {
		return err
	}
	a.readyBench(&j)
	a.unit = rec.Unit
	before, err := live.BeforeOf(rec)
	if err != nil {
		return problem.Of(problem.Storage, err)
	}
	j.before = []live.Before{before}
	return a.soak(c.Context(), db, j, o, rec.Planned-rec.Cycles, func(w soak.Work, _ *bench.Bench) (*soak.Soak, error) {
		s, err := soak.Resume(db, rec, w)
		if err == nil && slices.ContainsFunc([]string{"keep-first", "keep-last", "keep-every", "keep-bad"}, changed) {
			a.note("It keeps captures as it did from the beginning")
		}
		return s, err
	})
}

// soakCautioned refuses a soak that needs a person, has the cautions accepted, and warns of
// calibrations that fall due before it ends. The view is the rig as a unit sees it.
func (a *app) soakCautioned(ctx context.Context, j *job, view *wiring.Rig, o *soakOpts, cycles int) error {
	if err := o.bench(j.rig.Simulated); err != nil {
		return err
	}
	if setup.Prompts(view, j.seq) {
		return badUsage("a soak runs unattended, and this sequence on this rig needs a person to bring its events about")
	}
	if err := a.cautioned(ctx, view, j.seq, o.yes); err != nil {
		return err
	}
	if !j.rig.Simulated || j.sim.RealTime { // else it takes next to no time
		for _, text := range soak.DueBefore(j.calibrations, a.now().Add(time.Duration(cycles)*j.seq.Duration())) {
			a.note("Warning: %s", text)
		}
	}
	return nil
}

// soak opens the bench, lets the soak begin with it, runs it to its end and reports it.
func (a *app) soak(ctx context.Context, db *journal.DB, j job, o *soakOpts, cycles int, begin func(soak.Work, *bench.Bench) (*soak.Soak, error)) error {
	if err := a.soakCautioned(ctx, &j, j.rig, o, cycles); err != nil {
		return err
	}
	shown, err := a.show(&j, cycles, &o.runOpts)
	if err != nil {
		return err
	}
	defer shown.Close()
	looking, err := a.onlookers(&j, &o.runOpts)
	if err != nil {
		return err
	}
	defer looking.close()
	a.reportEnd(db.Path(), "soak "+j.seq.Name)
	hear := &soakHearer{app: a, hub: j.hubs[0], shown: shown, notify: soak.NewNotifier(j.seq, a.note)}
	defer hear.notify.Stop()
	w := soak.Work{Sequence: j.seq, Bench: j.open, Calibrations: j.calibrations, Now: a.now,
		Measurer: setup.Measurer(j.rig), StopOnFail: o.stopOnFail, WaitForRig: o.waitForRig, Lines: soak.Lines{Cycles: o.tellEvery}, Hear: hear, Program: version(), Watch: a.watch(&j), Shown: j.hubs[0].Hears}
	if o.tellEvery == 0 && !shown.Drawn() {
		w.Lines.Time = tellEvery
	}
	b, err := w.Open(ctx)
	if err != nil {
		return err
	}
	s, err := begin(w, b)
	if err != nil {
		return problem.Of(problem.KindOf(err), errors.Join(err, hardware.CloseBench(b)))
	}
	next, planned := s.Next()
	a.reportEnd(db.Path(), s.ID())
	shown.Begin(s.Info(), s.Gravest())
	j.hubs[0].Follow(s.Sums())
	looking.runs[0].begin(s.Info(), j.doneBefore(0), b)
	hear.notify.Ready(fmt.Sprintf("run %s, cycle %d of %d", s.ID(), next, planned))
	runErr := s.Run(ctx, b)
	shown.End()
	hear.notify.Stopping()
	ended := s.End(runErr, whyIncomplete(runErr))
	looking.runs[0].end(a.now(), runErr)
	if errors.Is(runErr, journal.ErrHaveCycle) || errors.Is(runErr, journal.ErrTaken) {
		return ended
	}
	if ended != nil && !errors.Is(ended, runner.ErrStopped) && !errors.Is(ended, journal.ErrGone) {
		next, _ := s.Next()
		defer a.note("makebreak soak --resume %s goes on with cycle %d", s.ID(), next)
	}
	return a.finish(db, s.ID(), s.Unstored(), ended, shown)
}

// soakHearer tells the person, the progress and systemd how a soak gets on.
type soakHearer struct {
	app    *app
	hub    *live.Hub
	shown  *progress.Shown
	notify *soak.Notifier
}

func (h *soakHearer) Say(format string, args ...any) {
	h.app.note(format, args...)
	h.hub.Say(fmt.Sprintf(format, args...))
}
func (h *soakHearer) Alive()                        { h.notify.Alive() }
func (h *soakHearer) RigLost(lost bool)             { h.shown.RigLost(lost) }
func (h *soakHearer) Interrupted()                  { h.shown.Interrupted() }
func (h *soakHearer) Event(cycle int, event string) { h.shown.Event(cycle, event) }
func (h *soakHearer) Cycle(c *journal.Cycle)        { h.shown.Cycle(c) }

func (h *soakHearer) Progress(done, planned, failed int) {
	h.notify.Status(fmt.Sprintf("cycle %d of %d, %d failed", done, planned, failed))
}
