package exercise

import (
	"context"
	"errors"
	"time"

	"makebreak/rig/bench"
	"makebreak/rig/calibration"
	"makebreak/rig/capture"
	"makebreak/rig/hardware"
	"makebreak/rig/problem"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
)

// Info adds to what the log keeps of a run what it is to hold of one in an exercise: nothing
// that the bench could be made again from, and that it was sealed.
func (t *Trial) Info(info journal.RunInfo) journal.RunInfo {
	info.By, info.Fields = t.Trainee, t.Fields
	if t.Rig.Simulated {
		info.Seed, info.Faults = &t.Seed, t.Simulation.Planted()
	}
	return info
}

// Logged returns a runner that shows nothing meanwhile, for the simulated bench.
func Logged(db *journal.DB, now func() time.Time, program string) Runner {
	return func(ctx context.Context, t *Trial) error {
		b, err := setup.Open(t.Rig, t.Sequence, t.Simulation, bench.Opts{})
		if err != nil {
			return ErrState
		}
		run, err := db.Begin(t.Info(journal.RunInfo{Sequence: t.Sequence.Name, SequenceSource: string(t.Sequence.Source), Rig: t.Rig.Name,
			Started: now(), Planned: t.Sequence.Cycles, Program: program, Calibrations: capture.CalibrationsOf(calibration.Uncalibrated(t.Rig), b.Sampled())}))
		if err != nil {
			return errors.Join(err, hardware.CloseBench(b))
		}
		if err := t.Began(run.ID()); err != nil {
			return errors.Join(err, hardware.CloseBench(b), run.Finish(journal.RunEnd{Ended: now(), Reason: err.Error()}))
		}
		outcome, err := runner.Run(ctx, b, t.Sequence, runner.Opts{First: 1, Last: t.Sequence.Cycles, Now: now, Calibrations: calibration.Uncalibrated(t.Rig), Recorder: &runner.Store{Run: run, Sealed: true}})
		err = errors.Join(err, hardware.CloseBench(b))
		end := journal.RunEnd{Ended: now(), Gravest: outcome.Gravest, Complete: err == nil}
		if err != nil {
			end.Reason = err.Error()
		}
		if errors.Is(err, context.Canceled) {
			end.Reason, err = "interrupted", problem.Of(problem.Interrupted, err)
		}
		return errors.Join(err, run.Finish(end))
	}
}
