package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"makebreak/rig/bench"
	"makebreak/rig/hardware"
	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
	"makebreak/sequences/live"
	"makebreak/sequences/progress"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
	"makebreak/sequences/soak"
)

// beginTogether begins soaks of several units at one rig, and runs them.
func (a *app) beginTogether(ctx context.Context, db *journal.DB, j *job, o *soakOpts) error {
	serials, err := a.serialsOf(ctx, j.units)
	if err != nil {
		return err
	}
	mark := a.mark()
	return a.soakTogether(ctx, db, j, o, j.cycles, func(i int, w soak.Work, b *bench.Bench) (*soak.Soak, error) {
		u := j.units[i]
		return soak.Begin(db, a.unitInfo(j, b, u, serials[u.Name], mark, &o.keep), w)
	})
}

// resumeTogether goes on with soaks of several units that began at the same time.
func (a *app) resumeTogether(c *cobra.Command, db *journal.DB, ids []string, asked soak.Asked, o *soakOpts) error {
	if len(a.unitFlags) > 0 && !o.goOn { // by which the run was found
		return badUsage("the units' serials stand in the log; leave --unit out, and name some of the units with --only")
	}
	rig, err := a.rigFile()
	if err != nil {
		return err
	}
	j := &job{rig: rig}
	var recs []*journal.RunRecord
	var faults []string
	for _, id := range ids {
		rec, seq, err := soak.Take(c.Context(), db, id, asked)
		if err != nil {
			return err
		}
		j.seq = seq
		if rig == nil {
			return problem.Of(problem.Input, fmt.Errorf("run %s: it was made on a rig with several units; name its file with --rig", words.Safe(rec.ID)))
		}
		if err := soak.SameRig(rec, rig.Name, a.rigSource); err != nil {
			return err
		}
		u := rig.Unit(journal.Noted(rec.Fields, positionField))
		if u == nil {
			return problem.Of(problem.Input, fmt.Errorf("run %s: the rig has no unit %q", words.Safe(rec.ID), journal.Noted(rec.Fields, positionField)))
		}
		before, err := live.BeforeOf(rec)
		if err != nil {
			return problem.Of(problem.Storage, err)
		}
		j.units, recs, j.before = append(j.units, u), append(recs, rec), append(j.before, before)
		j.cycles = max(j.cycles, rec.Planned-rec.Cycles)
		j.sim.Done = max(j.sim.Done, rec.Cycles)
		for _, f := range rec.Faults {
			if !slices.Contains(faults, f) {
				faults = append(faults, f)
			}
		}
	}
	if err := a.readyAgain(c, j, recs[0], faults, o); err != nil {
		return err
	}
	return a.soakTogether(c.Context(), db, j, o, j.cycles, func(i int, w soak.Work, _ *bench.Bench) (*soak.Soak, error) {
		return soak.Resume(db, recs[i], w)
	})
}

// readyAgain readies a job that goes on as it began.
func (a *app) readyAgain(c *cobra.Command, j *job, rec *journal.RunRecord, faults []string, o *soakOpts) (err error) {
	cautions, err := fit(j.seq, j.rig, j.units)
	if err != nil {
		return problem.Of(problem.Input, err)
	}
	j.seq.Cautions = append(j.seq.Cautions, cautions...)
	done := j.sim.Done
	if j.sim, err = o.simulation(c, j.rig); err != nil {
		return err
	}
	j.sim.Done = done
	if rec.Seed != nil {
		if err := j.sim.Again(*rec.Seed, faults); err != nil {
			return fmt.Errorf("run %s: %w", words.Safe(rec.ID), err)
		}
	}
	return a.readyUnits(j)
}

// soakTogether opens the bench, lets the soaks begin with it, runs them to their ends and reports
// them.
func (a *app) soakTogether(ctx context.Context, db *journal.DB, j *job, o *soakOpts, cycles int, begin func(i int, w soak.Work, b *bench.Bench) (*soak.Soak, error)) error {
	if err := a.soakCautioned(ctx, j, j.rig.For(j.units[0]), o, cycles); err != nil {
		return err
	}
	shown, err := a.show(j, cycles, &o.runOpts)
	if err != nil {
		return err
	}
	defer shown.Close()
	looking, err := a.onlookers(j, &o.runOpts)
	if err != nil {
		return err
	}
	defer looking.close()
	a.reportEnd(db.Path(), "soak "+j.seq.Name)
	notify := soak.NewNotifier(j.seq, a.note)
	defer notify.Stop()
	works := a.unitWorks(j, o, shown, notify)
	b, err := works[0].Open(ctx)
	if err != nil {
		return err
	}
	all := soak.Together{Rig: j.rig, Units: j.units, OnEvent: shown.Event, OnCycle: shown.Ended, OnEnd: func(i int, err error) {
		lost := errors.Is(err, bench.ErrLost)
		if shown.Unit(i).RigLost(lost); !lost || o.waitForRig == 0 {
			shown.Unit(i).End()
			looking.runs[i].end(a.now(), err)
		} else {
			j.hubs[i].Say(fmt.Sprintf("%v; waiting until the others are done, then for the rig", err))
		}
	}}
	for i := range works {
		s, err := begin(i, works[i], b)
		if err != nil {
			return problem.Of(problem.KindOf(err), errors.Join(err, hardware.CloseBench(b)))
		}
		all.Soaks = append(all.Soaks, s)
		shown.Unit(i).Begin(s.Info(), s.Gravest())
		j.hubs[i].Follow(s.Sums())
		looking.runs[i].begin(s.Info(), j.doneBefore(i), b)
	}
	first := all.Soaks[0]
	a.reportEnd(db.Path(), first.ID())
	shown.Started(first.Info().Planned)
	next, planned := first.Next()
	notify.Ready(fmt.Sprintf("run %s and %d beside it, cycle %d of %d", first.ID(), len(all.Soaks)-1, next, planned))
	errs := all.Run(ctx, b)
	shown.End()
	notify.Stopping()
	return joined(a.endTogether(db, &all, errs, shown, looking), shown.WriteFile())
}

// endTogether stores how the soaks ended, and reports them.
func (a *app) endTogether(db *journal.DB, all *soak.Together, errs []error, shown *progress.Shown, looking *onlookers) error {
	var runs []unitRun
	goesOn := ""
	for i, s := range all.Soaks {
		ended := s.End(errs[i], whyIncomplete(errs[i]))
		looking.runs[i].end(a.now(), errs[i])
		if errors.Is(errs[i], journal.ErrHaveCycle) || errors.Is(errs[i], journal.ErrTaken) {
			return ended
		}
		if ended != nil && !errors.Is(ended, runner.ErrStopped) && !errors.Is(ended, journal.ErrGone) {
			goesOn = s.ID()
		}
		runs = append(runs, unitRun{unit: all.Units[i], id: s.ID(), shown: shown.Unit(i), unstored: s.Unstored(), err: ended})
	}
	if goesOn != "" {
		defer a.note("makebreak soak --resume %s goes on with all units that are not done", goesOn)
	}
	return a.finishUnits(db, runs, nil)
}

// unitWorks say how the soak of each unit is done. What is the bench's stands in each.
func (a *app) unitWorks(j *job, o *soakOpts, shown *progress.Shown, notify *soak.Notifier) []soak.Work {
	works := make([]soak.Work, len(j.units))
	for i, u := range j.units {
		works[i] = soak.Work{Sequence: j.seq, Bench: func() (*bench.Bench, error) { return a.openTogether(j) }, Calibrations: seenBy(u, j.calibrations), Now: a.now,
			Measurer: setup.Measurer(j.rig), StopOnFail: o.stopOnFail, WaitForRig: o.waitForRig, Lines: soak.Lines{Cycles: o.tellEvery},
			Hear: &unitHearer{app: a, unit: u.Name, first: i == 0, hub: j.hubs[i], shown: shown.Unit(i), notify: notify}, Program: version(), Shown: j.hubs[i].Hears}
		if o.tellEvery == 0 && !shown.Drawn() {
			works[i].Lines.Time = tellEvery
		}
	}
	works[0].Watch = a.watch(j)
	return works
}

// unitHearer tells how the soak of one of several units gets on. What is the bench's is told by the
// first one's.
type unitHearer struct {
	app    *app
	unit   string
	first  bool
	hub    *live.Hub
	shown  *progress.Unit
	notify *soak.Notifier
}

func (h *unitHearer) Say(format string, args ...any) {
	h.app.note("%s: %s", h.unit, fmt.Sprintf(format, safeArgs(args)...))
	h.hub.Say(fmt.Sprintf(format, args...))
}
func (h *unitHearer) Alive()                 { h.notify.Alive() }
func (h *unitHearer) RigLost(lost bool)      { h.shown.RigLost(lost) }
func (h *unitHearer) Interrupted()           { h.shown.Interrupted() }
func (h *unitHearer) Event(int, string)      {}
func (h *unitHearer) Cycle(c *journal.Cycle) { h.shown.Cycle(c) }

func (h *unitHearer) Progress(done, planned, failed int) {
	if h.first {
		h.notify.Status(fmt.Sprintf("unit %s: cycle %d of %d, %d failed", h.unit, done, planned, failed))
	}
}
