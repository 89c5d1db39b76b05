package report

import (
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
)

// keptRemarks is how many different reasons a row keeps; the others are counted.
const keptRemarks = 3

// keptCycles is how many cycles that did not pass are remembered by number.
const keptCycles = 10

// key says which figures belong to one row.
type key struct {
	signal   string
	quantity analyze.Quantity
	event    string
}

// row is one quantity of one signal at one event over all cycles.
type row struct {
	key
	cycles       int // figures, the missing ones included
	values       spread
	low, high    float64 // NaN: nothing measured
	uncertainty  float64 // largest expanded uncertainty; NaN: none stated
	limit        analyze.Limit
	limitsDiffer bool
	bounds       int // values that are only upper bounds
	verdicts     map[analyze.Verdict]int
	remarks      []remark
	moreRemarks  int // figures whose reason is not among remarks
}

// spread is a row's values, as far as they are needed.
type spread interface {
	seen() int
	exact() bool // whether the median is
	median() float64
}

// remark is a reason given with figures of a row.
type remark struct {
	text    string
	verdict analyze.Verdict
	missing bool
	n       int
}

// steady is what is said of outputs that had nothing to do and did nothing.
type steady struct {
	signals []string
	states  int     // judged holds, over all of them
	ripple  float64 // largest; NaN: not measured
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
	byKey := map[key]*row{}
	for m, err := range r.measurements() {
		if err != nil {
			return nil, err
		}
		k := key{m.Signal, m.Quantity, m.Event}
		x := byKey[k]
		if x == nil {
			x = newRow(k, m.Limit)
			byKey[k] = x
			s.rows = append(s.rows, x)
		}
		x.add(m)
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

func newRow(k key, l analyze.Limit) *row {
	nan := math.NaN()
	return &row{key: k, values: &reservoir{}, low: nan, high: nan, uncertainty: nan, limit: l, verdicts: map[analyze.Verdict]int{}}
}

func (x *row) add(m analyze.Measurement) {
	x.cycles++
	x.verdicts[m.Verdict]++
	x.limitsDiffer = x.limitsDiffer || !sameLimit(x.limit, m.Limit)
	if m.Bound() {
		x.bounds++
	}
	if diagnose.Reason(&m) != "" && (!m.Bound() || m.Verdict == analyze.Undecided) {
		x.remark(m)
	}
	if !finite(m.Value) {
		return
	}
	x.values.(*reservoir).add(m.Value)
	x.low, x.high = least(x.low, m.Value), most(x.high, m.Value)
	if finite(m.Expanded) {
		x.uncertainty = most(x.uncertainty, m.Expanded)
	}
}

func (x *row) remark(m analyze.Measurement) {
	a := remark{text: plainText(diagnose.Reason(&m)), verdict: m.Verdict, missing: !finite(m.Value), n: 1}
	for i, b := range x.remarks {
		if a.text == b.text && a.verdict == b.verdict && a.missing == b.missing {
			x.remarks[i].n++
			return
		}
	}
	if len(x.remarks) == keptRemarks {
		x.moreRemarks++
		return
	}
	x.remarks = append(x.remarks, a)
}

// least and most return the other number where one is NaN.
func least(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

func most(a, b float64) float64 {
	if math.IsNaN(a) || b > a {
		return b
	}
	return a
}

func sameLimit(a, b analyze.Limit) bool {
	return sameBound(a.Lower, b.Lower) && sameBound(a.Upper, b.Upper)
}

func sameBound(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// worst returns the gravest verdict of the row, how many figures have it and how
// many were judged.
func (x *row) worst() (v analyze.Verdict, n, judged int) {
	for w, k := range x.verdicts {
		v = v.Worse(w)
		if w != analyze.NoVerdict {
			judged += k
		}
	}
	return v, x.verdicts[v], judged
}

// sort puts the rows in the order of signals, quantities and steps.
func (s *summary) sort(r *Record) {
	signals, events := r.Signals, append([]string{""}, r.Steps...)
	for _, x := range s.rows {
		signals = appendNew(signals, x.signal)
		events = appendNew(events, x.event)
	}
	signalRank, eventRank, quantityRank := ranks(signals), ranks(events), ranks(analyze.Quantities())
	rank := func(x *row) [3]int {
		q, known := quantityRank[x.quantity]
		if !known {
			q = len(quantityRank)
		}
		return [3]int{signalRank[x.signal], q, eventRank[x.event]}
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
		for n < len(s.rows) && s.rows[n].signal == s.rows[i].signal {
			n++
		}
		if rows := s.rows[i:n]; isSteady(rows) {
			s.steady.take(rows)
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
		if x.values.seen() != x.cycles {
			return false
		}
		switch x.quantity {
		case analyze.Hold:
			if x.low != 0 || x.high != 0 || x.verdicts[analyze.Pass] != x.cycles {
				return false
			}
			held = true
		case analyze.LowLevel, analyze.HighLevel, analyze.Ripple:
			if !x.limit.None() || x.verdicts[analyze.NoVerdict] != x.cycles {
				return false
			}
		default:
			return false
		}
	}
	return held
}

func (s *steady) take(rows []*row) {
	s.signals = append(s.signals, rows[0].signal)
	for _, x := range rows {
		switch x.quantity {
		case analyze.Hold:
			s.states += x.cycles
		case analyze.Ripple:
			s.ripple = most(s.ripple, x.high)
		}
	}
}
