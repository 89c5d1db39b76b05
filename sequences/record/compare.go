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
		previous, err := rec.Related(journal.Previous)
		if err != nil || previous == nil {
			return nil, err
		}
		now, err := byHead(rec, logPath)
		if err != nil {
			return nil, err
		}
		before, err := byHead(previous, logPath)
		if err != nil {
			return nil, err
		}
		return comparison(now, before)
	}
}

// compared is one of the runs that are compared.
type compared struct {
	rec     *journal.RunRecord
	record  *report.Record
	samples []*compare.Sample
}

// byHead reads a run's figures for a comparison, and of its record what needs none of them.
func byHead(rec *journal.RunRecord, logPath string) (*compared, error) {
	samples, err := samplesOf(rec)
	return &compared{rec, headOf(rec, logPath), samples}, err
}

// byRecord is byHead with the entire record.
func byRecord(rec *journal.RunRecord, logPath string) (*compared, error) {
	r, err := Of(rec, logPath)
	if err != nil {
		return nil, err
	}
	samples, err := samplesOf(rec)
	return &compared{rec, r, samples}, err
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
	a, err := byRecord(now, logPath)
	if err != nil {
		return nil, err
	}
	b, err := byRecord(before, logPath)
	if err != nil {
		return nil, err
	}
	return comparison(a, b)
}

func comparison(now, before *compared) (*report.Comparison, error) {
	basis, recalibrated, err := basisOf(now.rec, before.rec)
	if err != nil {
		return nil, err
	}
	c := report.NewComparison(now.record, before.record, compare.Of(now.samples, before.samples, basis))
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
