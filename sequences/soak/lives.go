package soak

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/reliability"
	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// A LifeTest is several boards' lives, and what is to be kept in mind about how they came.
type LifeTest struct {
	units     []reliability.Unit
	simulated int // how many are of the simulated bench
	doubts    []string
}

// Lives reads each run's life: the cycles to its first failure, or all that it did. A run is
// looked for in each of the logs.
func Lives(logs []*journal.DB, ids []string) (*LifeTest, error) {
	t := &LifeTest{}
	var runs []*journal.RunRecord
	ids, err := expanded(logs, ids)
	if err != nil {
		return nil, err
	}
	for _, id := range ids {
		rec, err := findIn(logs, id)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(runs, func(r *journal.RunRecord) bool { return r.UUID == rec.UUID }) {
			return nil, problem.Of(problem.Usage, fmt.Errorf("run %s is named twice; each is one board's life", words.Safe(rec.ID)))
		}
		if rec.State.Partial() {
			return nil, problem.Of(problem.Usage, fmt.Errorf("run %s: %w", words.Safe(rec.ID), journal.ErrPart))
		}
		u, err := life(rec)
		if err != nil {
			return nil, err
		}
		undecided, err := rec.CyclesWith(analyze.Undecided)
		if err != nil {
			return nil, problem.Of(problem.Storage, err)
		}
		if undecided > 0 {
			t.doubts = append(t.doubts, fmt.Sprintf("run %s: %d of %s undecided, counted as not failed", words.Safe(rec.ID), undecided, words.Count(rec.Cycles, "cycle")))
		}
		if rec.Seed != nil {
			t.simulated++
		}
		t.units, runs = append(t.units, u), append(runs, rec)
	}
	t.doubts = append(lifeDoubts(runs), t.doubts...)
	return t, nil
}

// expanded puts in place of a mark the runs that have it, which were made at the same time.
func expanded(logs []*journal.DB, ids []string) (all []string, err error) {
	for _, id := range ids {
		var marked []string
		for _, db := range logs {
			runs, err := db.Runs()
			if err != nil {
				return nil, problem.Of(problem.Storage, err)
			}
			for _, r := range slices.Backward(runs) {
				if journal.Noted(r.Fields, journal.TogetherField) == id && !slices.Contains(marked, r.UUID) {
					marked = append(marked, r.UUID)
				}
			}
		}
		if marked == nil {
			marked = []string{id}
		}
		all = append(all, marked...)
	}
	return all, nil
}

// findIn finds a run in one of several logs. Of a run that several hold it takes the one
// with the most cycles: another is a copy from before it went on.
func findIn(logs []*journal.DB, id string) (found *journal.RunRecord, err error) {
	if id == "last" && len(logs) > 1 {
		return nil, problem.New(problem.Usage, "which run is the last can be said of one log only; give its name")
	}
	var none error
	for _, db := range logs {
		rec, err := db.Find(id)
		switch {
		case errors.Is(err, journal.ErrNoRun):
			none = errors.Join(none, err)
		case err != nil:
			return nil, err
		case found == nil:
			found = rec
		case found.UUID != rec.UUID:
			return nil, problem.Of(problem.Usage, fmt.Errorf("%s is a run in more than one of the logs: %s (%s) and %s (%s); give the UUID of one", id, words.Safe(found.ID), words.Safe(found.UUID), words.Safe(rec.ID), words.Safe(rec.UUID)))
		case rec.Cycles > found.Cycles:
			found = rec
		}
	}
	if found == nil {
		return nil, none
	}
	return found, nil
}

func life(rec *journal.RunRecord) (reliability.Unit, error) {
	n, err := rec.FirstFailed()
	if err != nil {
		return reliability.Unit{}, problem.Of(problem.Storage, err)
	}
	u := reliability.Unit{Name: rec.ID, Cycles: float64(rec.Cycles), Load: rec.Sequence}
	if rec.Unit != "" {
		u.Name = rec.Unit + " (" + rec.ID + ")"
	}
	if n > 0 {
		u.Cycles, u.Failed = float64(n), true
	}
	if u.Cycles == 0 {
		return u, problem.Of(problem.Usage, fmt.Errorf("run %s has no whole cycle: it shows nothing", words.Safe(rec.ID)))
	}
	unjudged, err := rec.CyclesWith(analyze.NoVerdict)
	if err != nil {
		return u, problem.Of(problem.Storage, err)
	}
	if unjudged == rec.Cycles {
		return u, problem.Of(problem.Usage, fmt.Errorf("run %s judged nothing, as its sequence demands nothing: it shows nothing", words.Safe(rec.ID)))
	}
	return u, nil
}

// lifeDoubts say why runs may not be the lives of so many boards under one load. What comes
// from the log is made safe.
func lifeDoubts(runs []*journal.RunRecord) (doubts []string) {
	doubt := func(format string, ids []string) {
		if len(ids) > 0 {
			doubts = append(doubts, words.Safe(fmt.Sprintf(format, strings.Join(ids, ", "))))
		}
	}
	var planted, short, nameless []string
	byUnit, bySource := map[string][]string{}, map[string]map[string]bool{}
	for _, r := range runs {
		if len(r.Faults) > 0 {
			planted = append(planted, fmt.Sprintf("%s (%s)", r.ID, strings.Join(r.Faults, ", ")))
		}
		if r.Soak == nil {
			short = append(short, r.ID)
		}
		if r.Unit == "" {
			nameless = append(nameless, r.ID)
		} else {
			byUnit[r.Unit] = append(byUnit[r.Unit], r.ID)
		}
		if bySource[r.Sequence] == nil {
			bySource[r.Sequence] = map[string]bool{}
		}
		bySource[r.Sequence][r.SequenceSource] = true
	}
	doubt("faults were planted on purpose, so these failures are no board's own: %s", planted)
	doubt("no soaks but runs of a sequence, so a board may have done more cycles than are counted: %s", short)
	for _, r := range runs {
		if ids := byUnit[r.Unit]; len(ids) > 1 && ids[0] == r.ID {
			doubt("runs of one unit, "+strings.ReplaceAll(r.Unit, "%", "%%")+", are counted as boards of their own: %s", ids)
		}
		if len(bySource[r.Sequence]) > 1 {
			doubts = append(doubts, fmt.Sprintf("the sequence %s was not the same in all runs: what it demands, or the load, may differ", words.Safe(r.Sequence)))
			delete(bySource, r.Sequence)
		}
	}
	if len(runs) > 1 {
		doubt("no unit is named, so that it is not known whether these are boards of their own: %s", nameless)
	}
	return doubts
}
