package record

import (
	"fmt"
	"slices"

	"makebreak/analyze/report"
	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// History makes the life of a unit from its runs in the log, in the order of time: the newest
// ones, so many at most; 0: all. Each is compared with the previous one, where that is among
// them. A serial of which there is no run is bad usage.
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
	read := map[string]*compared{}
	for _, id := range ids {
		rec, err := db.Find(id)
		if err != nil {
			return nil, err
		}
		now, err := byRecord(rec, db.Path())
		if err != nil {
			return nil, err
		}
		since, err := sinceOneOf(read, now)
		if err != nil {
			return nil, err
		}
		read[rec.ID] = now
		h.Runs = append(h.Runs, &report.Life{Record: now.record, Samples: now.samples, Since: since})
	}
	return h, nil
}

// sinceOneOf compares a run with its previous one, where that is among those read; else nil.
func sinceOneOf(read map[string]*compared, now *compared) (*report.Comparison, error) {
	if now.rec.Cycles == 0 || now.rec.State.Partial() {
		return nil, nil
	}
	previous, err := now.rec.Related(journal.Previous)
	if err != nil || previous == nil || read[previous.ID] == nil {
		return nil, err
	}
	c, err := comparison(now, read[previous.ID])
	if err == nil {
		c.Relation = "previous"
	}
	return c, err
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
