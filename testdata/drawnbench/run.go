package drawnbench

import (
	"context"
	"fmt"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
)

// Run is what a run on a drawn bench showed, and what the simulator knows of it.
type Run struct {
	Verdict  analyze.Verdict
	Rows     []analyze.Measurement
	Symptoms []analyze.Symptom
	Findings []analyze.Finding
	Counts   capture.Counts
	// Converters is what each converter has of the counts.
	Converters []capture.ConverterCounts
	Cycles     int   // that came to their end
	Err        error // why it ended early; nil: it did not
	Faults     []sim.Fault

	Truth  *sim.Truth
	Events []sim.TruthEvent // the named ones, in order
}

// Run runs the sequence on the bench with faults, as the product does: the unit is programmed as
// the sequence expects, in virtual time.
func (b *Bench) Run(ctx context.Context, faults []sim.Fault) (*Run, error) {
	opts := b.opts(faults)
	r := &Run{Faults: faults}
	opts.OnTruth = func(e sim.TruthEvent) {
		if e.Name != "" {
			r.Events = append(r.Events, cloned(e))
		}
	}
	world, err := sim.NewWorld(b.Rig, opts)
	if err != nil {
		return nil, err
	}
	lines, err := world.Lines(bench.Requests(b.Rig))
	if err != nil {
		return nil, err
	}
	rig, err := bench.Open(b.Rig, world.Bus(), lines, bench.Opts{Outputs: b.Seq.Sampled(b.Rig), Mode: b.Seq.Sample})
	if err != nil {
		return nil, err
	}
	day := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	outcome, err := runner.Run(ctx, rig, b.Seq, runner.Opts{First: 1, Last: b.Cycles, Now: func() time.Time { return day },
		OnCycle: func(c *journal.Cycle) {
			r.Symptoms = append(r.Symptoms, c.Symptoms...)
			for _, m := range c.Measurements {
				m.Budget = nil
				r.Rows = append(r.Rows, m)
			}
		}})
	r.Verdict, r.Counts, r.Converters, r.Cycles, r.Err = analyze.RunVerdict(err == nil, outcome.Gravest), outcome.Counts, outcome.Converters, outcome.Cycles, err
	r.Truth = world.Truth()
	if err := rig.Close(); err != nil && r.Err == nil {
		return nil, fmt.Errorf("seed %d: %w", b.Seed, err)
	}
	r.Findings = diagnose.Findings(&b.Seq.Plan, r.Symptoms, max(1, r.Cycles))
	return r, nil
}

// opts are what the simulated bench is made with.
func (b *Bench) opts(faults []sim.Fault) sim.Opts {
	opts := setup.Unit(b.Rig, b.Seq)
	opts.Seed, opts.Faults, opts.Unit, opts.Weights = b.Seed, faults, b.unit, b.weights
	return opts
}

// cloned is an event that the simulator may not write over any more.
func cloned(e sim.TruthEvent) sim.TruthEvent {
	e.Crossings, e.Edges = slices.Clone(e.Crossings), slices.Clone(e.Edges)
	e.Changes, e.WireOff = slices.Clone(e.Changes), slices.Clone(e.WireOff)
	return e
}
