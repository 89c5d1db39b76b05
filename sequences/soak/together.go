package soak

import (
	"context"
	"errors"
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/hardware"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
)

// Together is the soaks of several units at one rig that are made at the same time. Each is a run
// of its own, with its own cycles, sums and end.
type Together struct {
	Rig   *wiring.Rig // with the units
	Units []*wiring.Unit
	Soaks []*Soak // of the units, by their places
	// OnEvent and OnCycle are as in runner.Together.
	OnEvent func(cycle int, event string)
	OnCycle func(analyze.Verdict, capture.Counts)
	// OnEnd is called with a unit's place and why its soak has ended, as runner.Part's is; nil: nothing is.
	OnEnd func(int, error)
}

// Run runs the soaks until all are done, the context is done or the rig is lost for good. A unit
// that ends early ends no other. It closes the bench, and returns how each soak ended.
func (t *Together) Run(ctx context.Context, b *bench.Bench) []error {
	first := t.Soaks[0]
	for _, s := range t.Soaks[1:] {
		s.growth.size = math.MaxInt64 // the log is that of all; the first tells of it
	}
	errs := make([]error, len(t.Soaks))
	going := make([]int, len(t.Soaks)) // places of those that are not done
	for i := range going {
		going[i] = i
	}
	var lost retry
	for {
		first.watchBench(b)
		ended := runner.RunTogether(ctx, b, t.sitting(going))
		closeErr := hardware.CloseBench(b)
		var waits []int
		worked := false
		for k, i := range going {
			c, e := &t.Soaks[i].cycles, ended[k]
			c.done += e.Cycles
			c.next = max(c.next, e.Last+1)
			worked = worked || e.Cycles > 0
			errs[i] = errors.Join(e.Err, closeErr)
			if c.done < c.planned && errors.Is(e.Err, bench.ErrLost) && !errors.Is(e.Err, bench.ErrNobody) {
				waits = append(waits, i)
			}
		}
		if len(waits) == 0 || first.work.WaitForRig == 0 || ctx.Err() != nil {
			return errs
		}
		var err error
		if b, err = t.wait(ctx, &lost, errs, waits, worked); err != nil {
			for _, i := range waits {
				errs[i] = err
			}
			return errs
		}
		going = waits
	}
}

// sitting is what the soaks at some places do until something ends them.
func (t *Together) sitting(going []int) runner.Together {
	r := runner.Together{Rig: t.Rig, Sequence: t.Soaks[0].work.Sequence, OnEvent: t.event, OnCycle: t.OnCycle}
	var stores []*runner.Store
	for _, i := range going {
		s := t.Soaks[i]
		stores = append(stores, s.store)
		c := &s.cycles
		opts := runner.Opts{First: c.next, Last: c.next + c.planned - c.done - 1, StopOnFail: s.work.StopOnFail, Now: s.work.now,
			Calibrations: s.work.Calibrations, Recorder: s.store, Keep: s.keeper.Keep, Measurer: s.work.Measurer, OnCycle: s.cycle}
		if s.work.Shown != nil {
			s.work.Shown(&opts)
		}
		r.Parts = append(r.Parts, runner.Part{Unit: t.Units[i], Opts: opts, OnEnd: func(err error) {
			if t.OnEnd != nil {
				t.OnEnd(i, err)
			}
		}})
	}
	if going[0] != 0 {
		stores[0].Machine = t.Soaks[0].store.Machine // the first one watches the computer for all
	}
	r.Store = func(cycles [][]*journal.Cycle) error { return runner.AppendAll(stores, cycles) }
	return r
}

func (t *Together) event(cycle int, event string) {
	t.Soaks[0].work.Hear.Alive()
	if t.OnEvent != nil {
		t.OnEvent(cycle, event)
	}
}

// wait waits for the rig as for a single soak, and records the interruption with each that waits.
func (t *Together) wait(ctx context.Context, lost *retry, errs []error, waits []int, worked bool) (*bench.Bench, error) {
	s := t.Soaks[waits[0]]
	stopped := s.work.now()
	for _, i := range waits[1:] { // the first one tells by itself
		t.Soaks[i].work.Hear.RigLost(true)
	}
	b, err := s.wait(ctx, lost, errs[waits[0]], worked)
	if err != nil {
		return nil, err
	}
	for _, i := range waits[1:] {
		gap := journal.Interruption{After: t.Soaks[i].cycles.next - 1, Stopped: stopped, Resumed: s.work.now(), Reason: errs[i].Error(), Ending: capture.EndingOf(errs[i])}
		if err := t.Soaks[i].store.Run.Interrupted(gap); err != nil {
			return nil, errors.Join(problem.Of(problem.Storage, err), hardware.CloseBench(b))
		}
		t.Soaks[i].work.Hear.RigLost(false)
		t.Soaks[i].work.Hear.Interrupted()
	}
	return b, nil
}

// Mates lists the runs that can go on of those that were made at the same time as a run, itself
// among them, in the order in which they began; those of the units named, or of all. There are none
// where the run was of one unit, or where none of them can go on.
func Mates(db *journal.DB, id string, units []string) ([]string, error) {
	rec, err := db.Find(id)
	if err != nil {
		return nil, err
	}
	mark := journal.Noted(rec.Fields, journal.TogetherField)
	if mark == "" || rec.Soak == nil {
		return nil, nil
	}
	runs, err := db.Runs()
	if err != nil {
		return nil, problem.Of(problem.Storage, err)
	}
	var mates []string
	for _, r := range slices.Backward(runs) {
		if r.Soak && !r.Complete && !r.State.Partial() && journal.Noted(r.Fields, journal.TogetherField) == mark &&
			(len(units) == 0 || slices.Contains(units, journal.Noted(r.Fields, journal.PositionField))) {
			mates = append(mates, r.Run)
		}
	}
	return mates, nil
}
