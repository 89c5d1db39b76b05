package tally

import (
	"fmt"
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/trend"
)

const (
	// maxRemarks is how many different reasons a row keeps; the others are counted.
	maxRemarks = 3
	// maxDoubtful is how many cycles that did not pass are remembered by number.
	maxDoubtful = 10
)

// Key says which figures belong to one row.
type Key struct {
	Signal   string
	Quantity analyze.Quantity
	Event    string
}

// Row is one quantity of one signal at one event over all cycles. Values are in the
// quantity's base unit.
type Row struct {
	Key
	Figures      int     // the missing ones included
	Values       int     // those that have a value
	Low, High    float64 // NaN: nothing measured
	Uncertainty  float64 // largest expanded uncertainty; NaN: none stated
	Limit        analyze.Limit
	LimitsDiffer bool
	Bounds       int    // values that are only upper bounds
	Verdicts     [4]int // by the number of Rank
	Remarks      []Remark
	MoreRemarks  int // figures whose reason is not among Remarks
	Trend        *trend.Series
}

// Remark is a reason given with figures of a row.
type Remark struct {
	Text    string
	Verdict analyze.Verdict
	Missing bool
	N       int
}

// Tally is a run's figures so far. It is not safe for use by several goroutines at
// once.
type Tally struct {
	Rows []*Row // in the order in which they first came
	// Doubtful are the first cycles with a figure that did not pass.
	Doubtful []int
	// Last is the highest cycle added.
	Last int
	// Whole are the cycles done whole; Cut those that were cut short.
	Whole, Cut int
	// Outcomes are the cycles' own outcomes, one without a value for each.
	Outcomes *trend.Series

	index map[Key]*Row
}

// New returns an empty tally.
func New() (*Tally, error) {
	s, err := trend.New()
	if err != nil {
		return nil, err
	}
	return &Tally{Outcomes: s, index: map[Key]*Row{}}, nil
}

// ranks are the verdicts by the number that stands for them.
var ranks = [...]analyze.Verdict{analyze.NoVerdict, analyze.Pass, analyze.Undecided, analyze.Fail}

// Rank is a verdict's place in Row.Verdicts.
func Rank(v analyze.Verdict) int { return max(0, slices.Index(ranks[:], v)) }

// outcome is a verdict as package trend counts it.
func outcome(v analyze.Verdict) trend.Outcome {
	return [...]trend.Outcome{trend.Unjudged, trend.Within, trend.Doubtful, trend.Outside}[Rank(v)]
}

// AddCycle takes in how a cycle ended, after its figures. A cycle that was cut short
// counts among those only: what came of it is no outcome of a cycle.
func (t *Tally) AddCycle(n int, v analyze.Verdict, whole bool) error {
	if !whole {
		t.Cut++
	} else {
		t.Whole++
		if err := t.Outcomes.Add(n, math.NaN(), outcome(v)); err != nil {
			return err
		}
	}
	t.Last = max(t.Last, n)
	return nil
}

// Add takes in a figure. Cycles must not go back.
func (t *Tally) Add(m *analyze.Measurement) error {
	k := Key{m.Signal, m.Quantity, m.Event}
	x := t.index[k]
	if x == nil {
		s, err := trend.New()
		if err != nil {
			return err
		}
		nan := math.NaN()
		x = &Row{Key: k, Low: nan, High: nan, Uncertainty: nan, Limit: m.Limit, Trend: s}
		t.index[k] = x
		t.Rows = append(t.Rows, x)
	}
	if err := x.add(m); err != nil {
		return fmt.Errorf("%s of %s at %s: %w", m.Quantity, m.Signal, m.Event, err)
	}
	t.Last = max(t.Last, m.Cycle)
	if (m.Verdict == analyze.Fail || m.Verdict == analyze.Undecided) && len(t.Doubtful) < maxDoubtful && !slices.Contains(t.Doubtful, m.Cycle) {
		t.Doubtful = append(t.Doubtful, m.Cycle)
	}
	return nil
}

func (x *Row) add(m *analyze.Measurement) error {
	finite := !math.IsNaN(m.Value) && !math.IsInf(m.Value, 0)
	value := m.Value
	if !finite {
		value = math.NaN()
	}
	if err := x.Trend.Add(m.Cycle, value, outcome(m.Verdict)); err != nil {
		return err
	}
	x.Figures++
	x.Verdicts[Rank(m.Verdict)]++
	x.LimitsDiffer = x.LimitsDiffer || !same(x.Limit.Lower, m.Limit.Lower) || !same(x.Limit.Upper, m.Limit.Upper)
	if m.Bound() {
		x.Bounds++
	} else if reason := diagnose.Reason(m); reason != "" {
		x.remark(Remark{reason, m.Verdict, !finite, 1})
	}
	if !finite {
		return nil
	}
	x.Values++
	if !(m.Value >= x.Low) {
		x.Low = m.Value
	}
	if !(m.Value <= x.High) {
		x.High = m.Value
	}
	if !math.IsInf(m.Expanded, 0) && m.Expanded > x.Uncertainty || math.IsNaN(x.Uncertainty) {
		x.Uncertainty = m.Expanded
	}
	return nil
}

func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

func (x *Row) remark(a Remark) {
	for i, b := range x.Remarks {
		if a.Text == b.Text && a.Verdict == b.Verdict && a.Missing == b.Missing {
			x.Remarks[i].N++
			return
		}
	}
	if len(x.Remarks) == maxRemarks {
		x.MoreRemarks++
		return
	}
	x.Remarks = append(x.Remarks, a)
}
