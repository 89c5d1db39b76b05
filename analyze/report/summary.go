package report

import (
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/picture"
	"makebreak/analyze/tally"
)

// keptCycles is how many cycles that did not pass are remembered by number.
const keptCycles = 10

// row is one quantity of one signal at one event over all cycles.
type row struct {
	*tally.Row
	values spread
}

// spread is what a row needs to know of its values.
type spread interface {
	exact() bool // whether the median is
	median() float64
	// quantile is the value that a share of them, 0 to 1, do not exceed.
	quantile(share float64) float64
	// dots are all of them with what became of them, nil where they are too many to draw.
	dots() []picture.Dot
}

// steady is what is said of outputs that had nothing to do and did nothing.
type steady struct {
	signals []string
	states  int     // judged holds, over all of them
	ripple  float64 // largest that it may be; NaN: not measured
}

// summary is a record's figures, aggregated over cycles in bounded memory.
type summary struct {
	rows     []*row
	steady   steady
	verdicts map[analyze.Verdict]int
	// doubtful are the first cycles with a figure that did not pass.
	doubtful []int
	cycles   int // highest cycle number seen
}

// summarize reads all of the record's measurements once.
func summarize(r *Record) (*summary, error) {
	if r.Tally != nil {
		return summaryOf(r), nil
	}
	s := &summary{verdicts: map[analyze.Verdict]int{}}
	byKey := map[tally.Key]*row{}
	for m, err := range r.measurements() {
		if err != nil {
			return nil, err
		}
		k := tally.Key{Signal: m.Signal, Quantity: m.Quantity, Event: m.Event}
		x := byKey[k]
		if x == nil {
			x = &row{tally.NewRow(k, m.Limit), &reservoir{}}
			byKey[k] = x
			s.rows = append(s.rows, x)
		}
		x.add(&m)
		s.note(m)
	}
	s.sort(r)
	s.foldSteady()
	return s, nil
}

func (s *summary) note(m analyze.Measurement) {
	s.verdicts[m.Verdict]++
	s.cycles = max(s.cycles, m.Cycle)
	if m.Verdict != analyze.Fail && m.Verdict != analyze.Undecided {
		return
	}
	if len(s.doubtful) < keptCycles && !slices.Contains(s.doubtful, m.Cycle) {
		s.doubtful = append(s.doubtful, m.Cycle)
	}
}

func (x *row) add(m *analyze.Measurement) {
	x.Add(m)
	if finite(m.Value) {
		x.values.(*reservoir).add(m.Value, m.Verdict)
	}
}

// gravest is the gravest verdict of all figures.
func (s *summary) gravest() analyze.Verdict {
	v := analyze.NoVerdict
	for _, w := range analyze.Verdicts {
		if s.verdicts[w] > 0 {
			v = w
		}
	}
	return v
}

// worst returns the gravest verdict of the row, how many figures have it and how
// many were judged.
func (x *row) worst() (v analyze.Verdict, n, judged int) {
	for _, w := range analyze.Verdicts[1:] {
		if n := x.with(w); n > 0 {
			v = w
			judged += n
		}
	}
	return v, x.with(v), judged
}

// with is how many of the row's figures have a verdict.
func (x *row) with(v analyze.Verdict) int { return x.Verdicts[v.Gravity()] }

// sort puts the rows in the order of signals, quantities and steps.
func (s *summary) sort(r *Record) {
	signals, events := r.Signals, append([]string{""}, r.Steps...)
	for _, x := range s.rows {
		signals = appendNew(signals, x.Signal)
		events = appendNew(events, x.Event)
	}
	signalRank, eventRank, quantityRank := ranks(signals), ranks(events), ranks(analyze.Quantities())
	rank := func(x *row) [3]int {
		q, known := quantityRank[x.Quantity]
		if !known {
			q = len(quantityRank)
		}
		return [3]int{signalRank[x.Signal], q, eventRank[x.Event]}
	}
	slices.SortStableFunc(s.rows, func(a, b *row) int {
		x, y := rank(a), rank(b)
		return slices.Compare(x[:], y[:])
	})
}

// appendNew appends s where it is not there yet, to a fresh slice.
func appendNew(list []string, s string) []string {
	if slices.Contains(list, s) {
		return list
	}
	return append(slices.Clip(list), s)
}

// ranks gives every item the place of its first appearance.
func ranks[T comparable](items []T) map[T]int {
	rank := make(map[T]int, len(items))
	for i, x := range items {
		if _, ok := rank[x]; !ok {
			rank[x] = i
		}
	}
	return rank
}

// foldSteady takes the rows of outputs that had nothing to do and did nothing
// out of the table and keeps them as one line.
func (s *summary) foldSteady() {
	s.steady.ripple = math.NaN()
	var kept []*row
	for i := 0; i < len(s.rows); {
		n := i + 1
		for n < len(s.rows) && s.rows[n].Signal == s.rows[i].Signal {
			n++
		}
		if rows := s.rows[i:n]; isSteady(rows) {
			s.steady.add(rows)
		} else {
			kept = append(kept, rows...)
		}
		i = n
	}
	s.rows = kept
}

// isSteady reports whether the rows, those of one signal, say no more than that
// it held its state: every hold is zero and passed, nothing is missing, and
// beside it only levels and ripple were measured, with no limit of their own.
func isSteady(rows []*row) bool {
	held := false
	for _, x := range rows {
		if x.Values != x.Figures {
			return false
		}
		switch x.Quantity {
		case analyze.Hold:
			if x.Low != 0 || x.High != 0 || x.with(analyze.Pass) != x.Figures {
				return false
			}
			held = true
		case analyze.LowLevel, analyze.HighLevel, analyze.Ripple:
			if !x.Limit.None() || x.with(analyze.NoVerdict) != x.Figures {
				return false
			}
		default:
			return false
		}
	}
	return held
}

func (s *steady) add(rows []*row) {
	s.signals = append(s.signals, rows[0].Signal)
	for _, x := range rows {
		switch x.Quantity {
		case analyze.Hold:
			s.states += x.Figures
		case analyze.Ripple:
			most := x.High
			if finite(x.Uncertainty) {
				most += x.Uncertainty
			}
			if !(most <= s.ripple) {
				s.ripple = most
			}
		}
	}
}
