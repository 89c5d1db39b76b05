package record

import (
	"fmt"
	"slices"

	"makebreak/analyze/compare"
	"makebreak/analyze/report"
	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// History makes the life of a unit from its runs in the log, in the order of time: the newest
// ones, so many at most; 0: all. Each is compared with the one before it of the same sequence, both real or both simulated.
// A serial of which there is no run is bad usage.
func History(db *journal.DB, unit string, most int) (*report.History, error) {
	ids, err := runsOfUnit(db, unit)
	if err != nil {
		return nil, err
	}
	h := &report.History{Unit: unit}
	if most > 0 && len(ids) > most {
		h.Earlier = len(ids) - most
		ids = ids[h.Earlier:]
	}
	before := map[string]*lived{}
	for _, id := range ids {
		now, err := readLife(db, id)
		if err != nil {
			return nil, err
		}
		if now.rec.Cycles > 0 && !now.rec.State.Partial() {
			kind := fmt.Sprint(now.rec.Seed != nil, now.rec.Sequence)
			if last := before[kind]; last != nil {
				if now.Since, err = sinceLife(now, last); err != nil {
					return nil, err
				}
			}
			before[kind] = now
		}
		h.Runs = append(h.Runs, &now.Life)
	}
	return h, nil
}

// runsOfUnit are the unit's runs, the oldest first.
func runsOfUnit(db *journal.DB, unit string) (ids []string, err error) {
	runs, err := db.Runs()
	if err != nil {
		return nil, err
	}
	var units []string
	for i := len(runs) - 1; i >= 0; i-- {
		if runs[i].Unit == unit {
			ids = append(ids, runs[i].Run)
		} else if !slices.Contains(units, runs[i].Unit) {
			units = append(units, runs[i].Unit)
		}
	}
	if len(ids) > 0 {
		return ids, nil
	}
	why := "the log holds no run of the unit " + words.Short(fmt.Sprintf("%q", unit), words.MostName)
	if near := words.Nearest(unit, units); len(near) > 0 {
		why += "; near it are " + words.List(near)
	}
	return nil, problem.New(problem.Usage, why)
}

// lived is a run with what the next one is compared with.
type lived struct {
	report.Life
	rec *journal.RunRecord
}

func readLife(db *journal.DB, id string) (*lived, error) {
	rec, err := db.Find(id)
	if err != nil {
		return nil, err
	}
	r, err := Of(rec, db.Path())
	if err != nil {
		return nil, err
	}
	samples, err := samplesOf(rec)
	return &lived{report.Life{Record: r, Samples: samples}, rec}, err
}

func sinceLife(now, before *lived) (*report.Comparison, error) {
	basis, recalibrated, err := basisOf(now.rec, before.rec)
	if err != nil {
		return nil, err
	}
	c := report.NewComparison(now.Record, before.Record, compare.Of(now.Samples, before.Samples, basis))
	c.SameRig, c.Recalibrated, c.Relation = basis.SameRig, recalibrated, "previous"
	return c, nil
}
