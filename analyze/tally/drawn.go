package tally

import (
	"iter"

	"makebreak/analyze"
	"makebreak/analyze/trend"
)

// Drawn reports whether the tally has all that its pictures need. One that an earlier program
// has begun has not.
func (t *Tally) Drawn() bool {
	if t.Failed == nil {
		return false
	}
	for _, x := range t.Rows {
		if x.Bands == nil || x.Failed == nil {
			return false
		}
	}
	return true
}

// Draw makes anew what the pictures need, from all figures of the run by rising cycle.
// Nothing else is changed. Cycles that failed are told by their figures then.
func (t *Tally) Draw(figures iter.Seq2[analyze.Measurement, error]) error {
	for _, x := range t.Rows {
		x.Bands, x.Failed = &trend.Bands{}, &trend.Marks{}
	}
	t.Failed = &trend.Marks{}
	for m, err := range figures {
		if err != nil {
			return err
		}
		if x := t.index[Key{m.Signal, m.Quantity, m.Event}]; x != nil {
			x.mark(&m)
		}
		if m.Verdict == analyze.Fail {
			t.Failed.Add(m.Cycle)
		}
	}
	return nil
}
