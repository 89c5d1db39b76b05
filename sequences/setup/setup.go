// Package setup readies a bench for a sequence: the real rig, or the simulated bench with
// a unit that is programmed as the sequence expects.
package setup

import (
	"fmt"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/bench"
	"makebreak/rig/hardware"
	"makebreak/rig/problem"
	"makebreak/rig/realtime"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences"
)

// A Simulation says how the simulated bench is to be.
type Simulation struct {
	Seed   uint64 // the same seed gives the same bench
	Faults []sim.Fault
	// Changes are what a person has changed on the bench since, in order.
	Changes  []sim.Change
	RealTime bool // let it take as long as a real one
	// Done is how many cycles of a run the same bench has done before: its wear goes on.
	Done int
	// Unit is the unit on the bench; nil: one that does what the sequence expects. Of it only
	// what it is programmed to do, and its relays, are taken.
	Unit *sim.Opts
	// Take tells one run on the same bench from the others before it: what differs from time to
	// time differs, its parts and faults do not. 0 is the first.
	Take uint64
	// Sealed says that the bench's state is hidden from whoever tests it: nothing names its
	// faults or its seed.
	Sealed bool
}

// Planted lists the faults as Plant takes them.
func (s *Simulation) Planted() []string {
	if s.Sealed {
		return []string{report.Sealed}
	}
	texts := []string{}
	for _, f := range s.Faults {
		texts = append(texts, f.String())
	}
	return texts
}

// Plant sets the faults by their texts, NAME[=VALUE][@PLACE].
func (s *Simulation) Plant(texts []string) error {
	s.Faults = nil
	for _, text := range texts {
		f, err := sim.ParseFault(text)
		if err != nil {
			return err
		}
		s.Faults = append(s.Faults, f)
	}
	return nil
}

// Open opens the bench of a rig for a sequence, simulated or real. Outputs and Mode of the
// options are those that the sequence needs. A bench with a person at it is in real time.
func Open(rig *wiring.Rig, seq *sequences.Sequence, s Simulation, opts bench.Opts) (*bench.Bench, error) {
	if !rig.Simulated {
		opts.Outputs, opts.Mode = seq.Sampled(rig), seq.Sample
		return hardware.OpenBench(rig, opts)
	}
	b, _, err := Simulated(rig, seq, s, opts)
	return b, err
}

// Simulated is Open for a simulated bench, with the world that it is in.
func Simulated(rig *wiring.Rig, seq *sequences.Sequence, s Simulation, opts bench.Opts) (*bench.Bench, *sim.World, error) {
	opts.Outputs, opts.Mode = seq.Sampled(rig), seq.Sample
	if opts.Prompter != nil {
		s.RealTime = true // a person cannot keep up with virtual time
	}
	unit := Unit(rig, seq)
	if u := s.Unit; u != nil {
		unit.Programme, unit.Initial, unit.Relays = u.Programme, u.Initial, u.Relays
		unit.Arming, unit.LastArming = u.Arming, u.LastArming
	}
	unit.Seed, unit.RealTime, unit.Faults, unit.Changes = s.Seed, s.RealTime, s.Faults, s.Changes
	unit.Operated = s.Done * operations(seq)
	unit.Take = s.Take + uint64(s.Done) // a soak goes on, and does not begin again
	world, err := sim.NewWorld(rig, unit)
	if err != nil {
		return nil, nil, problem.Of(problem.Usage, err) // of a fault that this bench cannot have
	}
	lines, err := world.Lines(bench.Requests(rig))
	if err != nil {
		return nil, nil, problem.Of(problem.Input, err)
	}
	opts.Act = world.Act
	b, err := bench.Open(rig, world.Bus(), lines, opts)
	return b, world, err
}

// DrawnUnit is a unit that is programmed at random, as a panel that nobody knows.
func DrawnUnit(rig *wiring.Rig, seed uint64) *sim.Opts {
	rules := sim.DrawProgramme(rig, seed)
	return &sim.Opts{Programme: rules, Initial: sim.AtRest(rules)}
}

// Rest is a sequence that brings nothing about, for looking at all outputs in turn, also
// those of a chip that follows one output in a run.
func Rest() *sequences.Sequence {
	return &sequences.Sequence{Plan: analyze.Plan{OthersUnmoved: true}, Sample: wiring.Sweep}
}

// Measurer returns what the goroutine that measures and stores does first: beside a real
// bench it lets the sampling go first; nil on the simulated bench.
func Measurer(rig *wiring.Rig) func() {
	if rig.Simulated {
		return nil
	}
	return realtime.LowerPriority
}

// Again makes the simulated bench the one that a run began with. A service says the same
// faults each time it starts; others would be another unit, of the kind Usage.
func (s *Simulation) Again(seed uint64, faults []string) error {
	if asked := s.Planted(); len(asked) > 0 && !slices.Equal(asked, faults) {
		return problem.Of(problem.Usage, fmt.Errorf("the faults of its simulated bench stand in the log (%s), and --fault says others (%s); leave --fault out",
			words.List(faults), words.List(asked)))
	}
	s.Seed = seed
	if err := s.Plant(faults); err != nil {
		return problem.Of(problem.Storage, fmt.Errorf("its faults in the log cannot be planted again: %w", err))
	}
	return nil
}

// Prompts reports whether the sequence has events that a person must bring about.
func Prompts(rig *wiring.Rig, seq *sequences.Sequence) bool {
	for _, event := range seq.Causes() {
		if c := rig.Cause(event); c != nil && c.Drive == "" {
			return true
		}
	}
	return false
}

// Acts reports whether the sequence lets the rig act on the unit by itself. A rig with a
// converter that sets the unit's supply does from the start.
func Acts(rig *wiring.Rig, seq *sequences.Sequence) bool {
	if rig.ProgrammedSupply() != nil || slices.ContainsFunc(seq.Steps, func(s sequences.Step) bool { return s.Supply != nil }) {
		return true
	}
	for _, event := range seq.Causes() {
		if c := rig.Cause(event); c != nil && c.Drive != "" {
			return true
		}
	}
	return false
}
