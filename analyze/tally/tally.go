package tally

import (
	"fmt"
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/trend"
)

const (
	// maxRemarks is how many different remarks a row keeps; the others are counted.
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
	Low, High    float64 // in the quantity's base unit; NaN: nothing measured
	Uncertainty  float64 // largest expanded uncertainty (95 %), in the same unit; NaN: none stated
	Limit        analyze.Limit
	LimitsDiffer bool
	Uppers       int                        // values that are only upper bounds
	Lowers       int                        // values that are only lower bounds
	Verdicts     [len(analyze.Verdicts)]int // by their gravity
	Remarks      []Remark
	MoreRemarks  int           // figures whose doubts are not among Remarks
	Trend        *trend.Series // of the values that are no bounds; nil in a row that belongs to no Tally
	// Told is of all values, the bounds among them; nil while Trend has them all.
	Told *trend.Series
	// Bands are the spread of Trend's values over the cycles, and Failed the cycles with a
	// figure that failed. Both are nil in a row that an earlier program has begun, or that
	// belongs to no Tally.
	Bands  *trend.Bands
	Failed *trend.Marks
}

// NewRow returns an empty row without a trend.
func NewRow(k Key, l analyze.Limit) *Row {
	nan := math.NaN()
	return &Row{Key: k, Low: nan, High: nan, Uncertainty: nan, Limit: l}
}

// Tally is a run's figures so far. It is not safe for use by several goroutines at
// once.
type Tally struct {
	Rows []*Row // in the order in which they first came
	// Doubtful are the first cycles with a figure that did not pass.
	Doubtful []int
	// Last is the highest cycle added.
	Last int
	// Complete are the cycles that were done to their end, CutOff those that were not.
	Complete, CutOff int
	// Outcomes are the cycles' own outcomes, one without a value for each.
	Outcomes *trend.Series
	// Failed are the complete cycles that failed; nil in a tally that an earlier program has
	// begun.
	Failed *trend.Marks

	index map[Key]*Row
}

// New returns an empty tally.
func New() (*Tally, error) {
	s, err := trend.New()
	if err != nil {
		return nil, err
	}
	return &Tally{Outcomes: s, Failed: &trend.Marks{}, index: map[Key]*Row{}}, nil
}

// outcome is a verdict as package trend counts it.
func outcome(v analyze.Verdict) trend.Outcome {
	return [...]trend.Outcome{trend.Unjudged, trend.Within, trend.Doubtful, trend.Outside}[v.Gravity()]
}

// AddCycle adds the verdict of a cycle, after its figures. A cycle that was cut off is
// counted as such and has no part in the outcomes.
func (t *Tally) AddCycle(n int, v analyze.Verdict, complete bool) error {
	if !complete {
		t.CutOff++
	} else {
		t.Complete++
		if err := t.Outcomes.Add(n, math.NaN(), outcome(v)); err != nil {
			return err
		}
		if t.Failed != nil && v == analyze.Fail {
			t.Failed.Add(n)
		}
	}
	t.Last = max(t.Last, n)
	return nil
}

// Add adds a figure. Cycles must not go back.
func (t *Tally) Add(m *analyze.Measurement) error {
	k := Key{m.Signal, m.Quantity, m.Event}
	x := t.index[k]
	if x == nil {
		s, err := trend.New()
		if err != nil {
			return err
		}
		x = NewRow(k, m.Limit)
		x.Trend, x.Bands, x.Failed = s, &trend.Bands{}, &trend.Marks{}
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

// add adds a figure and its trend.
func (x *Row) add(m *analyze.Measurement) error {
	value := m.Value
	if !finite(value) {
		value = math.NaN()
	}
	if err := x.follow(m, value); err != nil {
		return err
	}
	x.Add(m)
	x.mark(m)
	return nil
}

// mark adds a figure to what is drawn of the row.
func (x *Row) mark(m *analyze.Measurement) {
	if x.Bands != nil && finite(m.Value) && m.Followed() {
		x.Bands.Add(m.Cycle, m.Value)
	}
	if x.Failed != nil && m.Verdict == analyze.Fail {
		x.Failed.Add(m.Cycle)
	}
}

// follow adds a figure's value to the row's trend, unless it is only a bound.
func (x *Row) follow(m *analyze.Measurement, value float64) error {
	bound := !math.IsNaN(value) && !m.Followed()
	if bound && x.Told == nil {
		state, err := x.Trend.MarshalBinary()
		if err != nil {
			return err
		}
		x.Told = &trend.Series{}
		if err := x.Told.UnmarshalBinary(state); err != nil {
			return err
		}
	}
	if x.Told != nil {
		if err := x.Told.Add(m.Cycle, value, outcome(m.Verdict)); err != nil {
			return err
		}
	}
	if bound {
		return x.Trend.Judge(m.Cycle, outcome(m.Verdict))
	}
	return x.Trend.Add(m.Cycle, value, outcome(m.Verdict))
}

// All is the series of all of the row's values, bounds among them.
func (x *Row) All() *trend.Series {
	if x.Told != nil {
		return x.Told
	}
	return x.Trend
}

// Add adds a figure, without its trend.
func (x *Row) Add(m *analyze.Measurement) {
	x.Figures++
	x.Verdicts[m.Verdict.Gravity()]++
	x.LimitsDiffer = x.LimitsDiffer || !same(x.Limit.Lower, m.Limit.Lower) || !same(x.Limit.Upper, m.Limit.Upper)
	switch m.Bound() {
	case analyze.UpperBound:
		x.Uppers++
	case analyze.LowerBound:
		x.Lowers++
	}
	if len(m.Doubts) > 1 || m.Bound() == analyze.NoBound || m.Verdict == analyze.Undecided {
		x.remark(m) // a bound's sign says what its doubt does
	}
	if !finite(m.Value) {
		return
	}
	x.Values++
	if !(m.Value >= x.Low) {
		x.Low = m.Value
	}
	if !(m.Value <= x.High) {
		x.High = m.Value
	}
	if finite(m.Expanded) && !(m.Expanded <= x.Uncertainty) {
		x.Uncertainty = m.Expanded
	}
}

// Bound reports of what the row's values are bounds: of them all, as soon as one of them
// is. Of values with bounds of both kinds nothing is known, and known is false.
func (x *Row) Bound() (b analyze.Bound, known bool) {
	switch {
	case x.Uppers > 0 && x.Lowers > 0:
		return analyze.NoBound, false
	case x.Uppers > 0:
		return analyze.UpperBound, true
	case x.Lowers > 0:
		return analyze.LowerBound, true
	}
	return analyze.NoBound, true
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
