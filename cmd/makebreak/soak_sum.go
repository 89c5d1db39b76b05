package main

import (
	"iter"
	"math"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/analyze/tally"
	"makebreak/sequences/journal"
)

// tallyOf returns what a soak's figures come to: what was stored of it, and the
// cycles since from the log. Sums that cannot be read are made again from the
// figures, which are what counts.
func tallyOf(rec *journal.RunRecord) (*tally.Tally, error) {
	t, err := tally.New()
	if err != nil {
		return nil, err
	}
	at, state, err := rec.Checkpoint()
	if err != nil {
		return nil, err
	}
	if state == nil || t.UnmarshalBinary(state) != nil || t.Last != at {
		if t, err = tally.New(); err != nil {
			return nil, err
		}
	}
	return t, addSince(t, rec)
}

// addSince adds the cycles after the last one in a sum. Figures and cycles come as
// two streams, both by rising cycle.
func addSince(t *tally.Tally, rec *journal.RunRecord) error {
	since := journal.Span{First: t.Last + 1, Last: maxCycle}
	next, stop := iter.Pull2(rec.MeasurementsIn(since))
	defer stop()
	m, err, more := next()
	for c, cycleErr := range rec.CycleInfosIn(since) {
		if cycleErr != nil {
			return cycleErr
		}
		for ; more && err == nil && m.Cycle <= c.N; m, err, more = next() {
			if err := t.Add(&m); err != nil {
				return err
			}
		}
		if err != nil {
			return err
		}
		if err := t.AddCycle(c.N, c.Verdict, c.Complete); err != nil {
			return err
		}
	}
	return nil
}

const maxCycle = math.MaxInt32 // as many as a soak may plan

// addSoak adds to a record what is known of a soak.
func addSoak(r *report.Record, rec *journal.RunRecord) error {
	if rec.Soak == nil {
		return nil
	}
	t, err := tallyOf(rec)
	if err != nil {
		return err
	}
	gaps, err := rec.Interruptions()
	if err != nil {
		return err
	}
	r.Tally = t
	for _, g := range gaps {
		r.Interruptions = append(r.Interruptions, report.Interruption(g))
	}
	r.Cycle = func(n int) iter.Seq2[analyze.Measurement, error] {
		return rec.MeasurementsIn(journal.Span{First: n, Last: n})
	}
	return nil
}
