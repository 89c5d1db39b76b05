package runner

import "makebreak/sequences/journal"

// A Store hands cycles on to a run in the log and keeps those that the log could not take,
// so that what was measured of them can still be told.
type Store struct {
	Run      *journal.Run
	Unstored []*journal.Cycle
}

// Append stores cycles. After an error they are in Unstored.
func (s *Store) Append(cycles ...*journal.Cycle) error {
	err := s.Run.Append(cycles...)
	if err != nil {
		s.Unstored = cycles
	}
	return err
}
