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
	t.Failed = &trend.Marks{}
	return t.draw(figures, func() *trend.Marks { return &trend.Marks{} })
}

// DrawSome is Draw for the figures of some of the cycles: what failed when is not known then,
// and no marks are left.
func (t *Tally) DrawSome(figures iter.Seq2[analyze.Measurement, error]) error {
	t.Failed = nil
	return t.draw(figures, func() *trend.Marks { return nil })
}

func (t *Tally) draw(figures iter.Seq2[analyze.Measurement, error], marks func() *trend.Marks) error {
	for _, x := range t.Rows {
		x.Bands, x.Failed = &trend.Bands{}, marks()
	}
	for m, err := range figures {
		if err != nil {
			return err
		}
		if x := t.index[Key{m.Signal, m.Quantity, m.Event}]; x != nil {
			x.mark(&m)
		}
		if t.Failed != nil && m.Verdict == analyze.Fail {
			t.Failed.Add(m.Cycle)
		}
	}
	return nil
}
