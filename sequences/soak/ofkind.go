package soak

import (
	"errors"
	"fmt"

	"makebreak/analyze/picture"
	"makebreak/analyze/reliability"
	"makebreak/analyze/report"
	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

const (
	// soaksLooked is how many soaks of other boards are looked at for a board's record.
	soaksLooked = 50
	// fewestBoards is how many boards a record draws on Weibull paper at least: two show no
	// spread of lives.
	fewestBoards = 3
	// kindConfidence is that of the bounds in a record, as of makebreak soak reliability.
	kindConfidence = 0.9
)

// OfKind sets a board's life among those of others of its kind in the same log; nil: they are
// fewer than three, or none has failed.
func OfKind(rec *journal.RunRecord) (*report.Lives, error) {
	lives, err := rec.LivesOfKind(soaksLooked)
	if err != nil || len(lives) < fewestBoards {
		return nil, err
	}
	var units []reliability.Unit
	for _, l := range lives {
		if l.Cycles > 0 {
			units = append(units, reliability.Unit{Name: l.Unit + " (" + l.Run + ")", Cycles: float64(l.Cycles), Failed: l.Failed, Load: rec.Sequence})
		}
	}
	out := &report.Lives{Notes: []string{fmt.Sprintf("A board's life ends with its first failed cycle. Of each other board the longest soak counts, among the newest %d of its kind; makebreak soak reliability takes the runs that you name.", soaksLooked)}}
	fit, err := reliability.FitWeibull(units, kindConfidence)
	switch {
	case errors.Is(err, reliability.ErrNoFailures):
		return nil, nil
	case errors.Is(err, reliability.ErrNoSpread):
		out.Notes = append(out.Notes, "No board failed before the longest count of cycles of all: no line can be fitted.")
	case err != nil:
		return nil, err
	default:
		out.Notes = append(out.Notes, fit.Doubts...)
	}
	shown := &fit
	if err != nil {
		shown = nil
	}
	if out.Paper, err = picture.PaperOf(units, shown); err != nil {
		return nil, problem.Of(problem.Internal, err)
	}
	out.Paper.This = &picture.This{Cycles: units[0].Cycles, Failed: units[0].Failed, Words: "this board"}
	if rec.Seed != nil {
		out.Paper.Words = append(out.Paper.Words, "Simulated boards: nothing real was measured of "+words.Count(len(units), "board"))
	}
	return out, nil
}
