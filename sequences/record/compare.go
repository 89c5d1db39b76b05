package record

import (
	"makebreak/analyze"
	"makebreak/analyze/compare"
	"makebreak/analyze/report"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/soak"
)

// sincePrevious compares a run with the previous one of its unit, when it is asked to.
func sincePrevious(rec *journal.RunRecord, logPath string) func() (*report.Comparison, error) {
	return func() (*report.Comparison, error) {
		before, err := rec.Related(journal.Previous)
		if err != nil || before == nil {
			return nil, err
		}
		return compareHeads(rec, before, headOf(rec, logPath), headOf(before, logPath))
	}
}

// headOf is the part of a record for which no figures are read.
func headOf(rec *journal.RunRecord, logPath string) *report.Record {
	var plan analyze.Plan
	if seq, err := sequences.Parse(rec.Sequence, []byte(rec.SequenceSource)); err == nil {
		plan = seq.Plan
	}
	return &report.Record{Signals: signals(&plan), Steps: plan.Steps, Run: rec.ID, RunID: rec.UUID, Unit: rec.Unit, Sequence: rec.Sequence, Rig: rec.Rig, Started: rec.Started, Verdict: rec.Verdict,
		Complete: rec.Complete, Simulated: rec.Seed != nil, Seed: seedOf(rec), Fields: fieldsOf(rec.Fields), LogPath: logPath}
}

// Compare compares a run with another one. Of soaks the sums are compared, and not their
// figures one by one.
func Compare(now, before *journal.RunRecord, logPath string) (*report.Comparison, error) {
	a, err := Of(now, logPath)
	if err != nil {
		return nil, err
	}
	b, err := Of(before, logPath)
	if err != nil {
		return nil, err
	}
	return compareHeads(now, before, a, b)
}

func compareHeads(now, before *journal.RunRecord, a, b *report.Record) (*report.Comparison, error) {
	basis, recalibrated, err := basisOf(now, before)
	if err != nil {
		return nil, err
	}
	x, err := samplesOf(now)
	if err != nil {
		return nil, err
	}
	y, err := samplesOf(before)
	if err != nil {
		return nil, err
	}
	c := report.NewComparison(a, b, compare.Of(x, y, basis))
	c.SameRig, c.Recalibrated = basis.SameRig, recalibrated
	return c, nil
}

// budgetCycles is of how many cycles of a soak the budgets are read.
const budgetCycles = 5

// samplesOf makes samples of a run's figures.
func samplesOf(rec *journal.RunRecord) ([]*compare.Sample, error) {
	if rec.Soak == nil {
		var g compare.Gatherer
		for m, err := range rec.Measurements() {
			if err != nil {
				return nil, err
			}
			g.Add(&m)
		}
		return g.Samples(), nil
	}
	t, err := soak.Tally(rec)
	if err != nil {
		return nil, err
	}
	var some []analyze.Measurement
	for m, err := range rec.MeasurementsIn(analyze.Cycles{First: max(1, t.Last-budgetCycles+1), Last: t.Last}) {
		if err != nil {
			return nil, err
		}
		some = append(some, m)
	}
	return compare.OfTally(t, some), nil
}
