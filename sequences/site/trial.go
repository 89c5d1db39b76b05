package site

import (
	"context"
	"errors"
	"fmt"

	"makebreak/rig/bench"
	"makebreak/rig/hardware"
	"makebreak/rig/problem"
	"makebreak/sequences/exercise"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
)

// try runs a sequence on a trainee's simulated bench and logs it. It returns the run's name, as
// soon as there is one also with an error.
func (p *practice) try(ctx context.Context, t *exercise.Trial) (run string, err error) {
	if !t.Rig.Simulated { // it acts on nothing else, whatever it is given
		return "", problem.New(problem.Internal, "an exercise acts on a simulated bench only")
	}
	b, err := setup.Open(t.Rig, t.Sequence, t.Simulation, bench.Opts{})
	if err != nil {
		return "", err
	}
	p.mu.Lock()
	db := p.db
	p.mu.Unlock()
	logged, err := db.Begin(journal.RunInfo{By: t.Trainee, Sequence: t.Sequence.Name, SequenceSource: string(t.Sequence.Source), Rig: t.Rig.Name,
		Started: p.opts.Now(), Planned: t.Sequence.Cycles, Program: p.site.opts.Program, Seed: &t.Seed, Faults: t.Simulation.Planted(), Fields: t.Fields})
	if err != nil {
		return "", errors.Join(problem.Of(problem.Storage, err), hardware.CloseBench(b))
	}
	outcome, err := runner.Run(ctx, b, t.Sequence, runner.Opts{First: 1, Last: t.Sequence.Cycles, Now: p.opts.Now, Recorder: &runner.Store{Run: logged}})
	err = errors.Join(err, hardware.CloseBench(b))
	end := journal.RunEnd{Ended: p.opts.Now(), Gravest: outcome.Gravest, Complete: err == nil}
	if err != nil {
		end.Reason = "the run was cut short"
		err = fmt.Errorf("run %s: %w", logged.ID(), err)
	}
	return logged.ID(), errors.Join(err, problem.Of(problem.Storage, logged.Finish(end)))
}
