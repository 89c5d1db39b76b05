package setup

import (
	"makebreak/rig/bench"
	"makebreak/rig/commission"
	"makebreak/rig/problem"
	"makebreak/rig/sim"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// Terminal returns the terminal of an output that is to be calibrated, on hardware or on the
// simulated bench of the seed. The rig must be without corrections.
func Terminal(rig *wiring.Rig, output string, seed uint64) commission.Terminal {
	if rig.Simulated {
		return &simulatedTerminal{rig: rig, output: output, seed: seed}
	}
	return commission.RealTerminal(rig, output)
}

// simulatedTerminal is opened anew for each point, with the output low and high in turn.
type simulatedTerminal struct {
	rig    *wiring.Rig
	output string
	seed   uint64
	bench  *bench.Bench
}

func (t *simulatedTerminal) Bench(n int) (*bench.Bench, unit.Volts, error) {
	if err := t.Close(); err != nil {
		return nil, 0, err
	}
	high := n%2 == 1
	world, err := sim.NewWorld(t.rig, sim.Opts{Seed: t.seed, RealTime: true, Initial: map[string]bool{t.output: high}})
	if err != nil {
		return nil, 0, problem.Of(problem.Input, err)
	}
	lines, err := world.Lines(bench.Requests(t.rig))
	if err != nil {
		return nil, 0, problem.Of(problem.Input, err)
	}
	if t.bench, err = bench.Open(t.rig, world.Bus(), lines, bench.Opts{Outputs: []string{t.output}, Mode: wiring.Follow}); err != nil {
		return nil, 0, err
	}
	truth := world.Truth().Output(t.output) // with the supply as the bench has set it
	if high {
		return t.bench, unit.Volts(truth.High), nil
	}
	return t.bench, unit.Volts(truth.Low), nil
}

func (t *simulatedTerminal) Close() error {
	if t.bench == nil {
		return nil
	}
	b := t.bench
	t.bench = nil
	return commission.Closed(b.Close())
}
