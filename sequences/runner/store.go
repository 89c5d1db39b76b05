package runner

import (
	"makebreak/rig/capture"
	"makebreak/sequences/journal"
)

// A Store hands cycles on to a run in the log and keeps those that the log could not take,
// so that what was measured of them can still be told.
type Store struct {
	Run      *journal.Run
	Unstored []*journal.Cycle
	// Sealed leaves out what was seen beside the figures, which names what is wrong: the
	// verdicts stay.
	Sealed bool
	// Machine gives what has been seen of the computer at a real bench since it was last
	// asked; nil: nobody watches it.
	Machine func() []capture.MachineFact
}

// Append stores cycles. After an error they are in Unstored.
func (s *Store) Append(cycles ...*journal.Cycle) error {
	s.ready(cycles, s.machine(len(cycles)))
	err := s.Run.Append(cycles...)
	if err != nil {
		s.Unstored = cycles
	}
	return err
}

// AppendAll stores cycles of several runs in one log, by the runs' places: all of them or none.
// What is seen of the computer, which one of the stores gives, is stored with each run. After an
// error the cycles are in each store's Unstored.
func AppendAll(stores []*Store, cycles [][]*journal.Cycle) error {
	runs := make([]*journal.Run, len(stores))
	n := 0
	for _, own := range cycles {
		n += len(own)
	}
	var seen []capture.MachineFact
	for _, s := range stores {
		seen = append(seen, s.machine(n)...)
	}
	for i, s := range stores {
		runs[i] = s.Run
		s.ready(cycles[i], seen)
	}
	err := journal.AppendAll(runs, cycles)
	if err != nil {
		for i, s := range stores {
			s.Unstored = cycles[i]
		}
	}
	return err
}

// machine is what has been seen of the computer, where there are cycles to store it with.
func (s *Store) machine(cycles int) []capture.MachineFact {
	if s.Machine == nil || cycles == 0 {
		return nil
	}
	return s.Machine()
}

// ready adds to cycles what is stored with them, and takes from them what is not.
func (s *Store) ready(cycles []*journal.Cycle, seen []capture.MachineFact) {
	if len(cycles) > 0 {
		cycles[0].Machine = append(cycles[0].Machine, seen...)
	}
	if s.Sealed {
		for _, c := range cycles {
			c.Symptoms = nil
		}
	}
}
