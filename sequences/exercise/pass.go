package exercise

import (
	"context"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/hardware"
	"makebreak/rig/problem"
	"makebreak/rig/sim"
	"makebreak/sequences"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
)

// specimen is one bench as it stands before a trainee: a definition's unit with its hidden
// state, and what has been changed on it.
type specimen struct {
	def     *Definition
	seed    uint64
	faults  []sim.Fault
	changes []sim.Change // made on it, in their order
	meter   uint64       // seed of the meter that is held to it
	take    uint64       // how often the bench was set going before: noise and bounce differ
}

// ErrState says that a bench cannot have its hidden state, without naming it.
var ErrState error = problem.New(problem.Internal, "the drawn bench cannot be made; check the exercise with makebreak exercise check")

// simulation is the specimen as the simulated bench takes it.
func (s *specimen) simulation() setup.Simulation {
	return setup.Simulation{Seed: s.seed, Faults: s.faults, Changes: s.changes, Sealed: true, Take: s.take}
}

// halt is where a pass stops for somebody to look: before any event, and at the end of the
// state after an event, each time that it came before, from 0.
type halt func(before int, event string, w *sim.World, c *capture.Capture) error

// pass goes through the sequence and returns what is measured, as a run does. It has no log
// and calls at, where that is not nil, at the end of each state.
func (s *specimen) pass(ctx context.Context, cycles int, at halt) ([]analyze.Measurement, error) {
	seq := s.def.Sequence
	b, world, err := setup.Simulated(s.def.Rig, seq, s.simulation(), bench.Opts{})
	if err != nil {
		return nil, ErrState
	}
	p := &passing{bench: b, seq: seq, world: world, at: at, came: map[string]int{}}
	err = p.run(ctx, cycles)
	if closeErr := hardware.CloseBench(b); err == nil {
		err = closeErr
	}
	return p.figures, err
}

// passing is a pass under way.
type passing struct {
	bench   *bench.Bench
	seq     *sequences.Sequence
	world   *sim.World
	at      halt
	figures []analyze.Measurement
	came    map[string]int // how often each event has come
}

func (p *passing) run(ctx context.Context, cycles int) error {
	c, err := p.bench.NewCapture()
	if err != nil {
		return err
	}
	c.Thin()
	meter, err := diagnose.NewExaminer(&p.seq.Plan, c)
	if err != nil {
		return err
	}
	if err := p.bench.Record(ctx, c, p.bench.Now().Add(p.seq.Baseline)); err != nil {
		return err
	}
	if err := p.halt(0, "", c); err != nil {
		return err
	}
	for n := 1; n <= cycles; n++ {
		if err := p.cycle(ctx, c); err != nil {
			return err
		}
		meter.SetCycle(n)
		for i, e := range c.Events {
			to := c.End
			if i+1 < len(c.Events) {
				to = c.Events[i+1].At
			}
			meter.State(c, e, to)
		}
		p.figures = append(p.figures, meter.Take().Measurements...)
		next := c.Continue()
		c.Recycle()
		c = next
	}
	return nil
}

// cycle passes once through the sequence's steps.
func (p *passing) cycle(ctx context.Context, c *capture.Capture) error {
	for _, step := range p.seq.Steps {
		e, err := runner.Act(ctx, p.bench, c, step)
		if err != nil {
			return err
		}
		if err := p.bench.Record(ctx, c, e.At.Add(step.Hold)); err != nil {
			return err
		}
		if err := p.halt(p.came[step.Event], step.Event, c); err != nil {
			return err
		}
		p.came[step.Event]++
	}
	return nil
}

func (p *passing) halt(before int, event string, c *capture.Capture) error {
	if p.at == nil {
		return nil
	}
	return p.at(before, event, p.world, c)
}
