package report

import (
	"cmp"
	"fmt"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/compare"
	"makebreak/rig/words"
)

// A Comparison says what of a run is another than in an earlier one, or in one that it is
// compared with for another reason.
type Comparison struct {
	Now, Before *Record
	// Relation says what the other run is to this one: first, previous or reference; empty:
	// it was named.
	Relation string
	Rows     []*compare.Row
	// SameRig says that both were made on one rig, so that what it gets wrong cancels; but for
	// the outputs in Recalibrated, which have another calibration or wiring now.
	SameRig      bool
	Recalibrated []string
}

// relationWords are the relations as a person reads them.
var relationWords = map[string]string{
	"first": "the first run of this unit", "previous": "the previous run of this unit", "reference": "the reference of this kind of unit",
}

// NewComparison puts the rows in the order of a record's table.
func NewComparison(now, before *Record, rows []*compare.Row) *Comparison {
	signals, events := now.Signals, append([]string{""}, now.Steps...)
	for _, r := range rows {
		signals, events = appendNew(signals, r.Signal), appendNew(events, r.Event)
	}
	signalRank, eventRank, quantityRank := ranks(signals), ranks(events), ranks(analyze.Quantities())
	slices.SortStableFunc(rows, func(a, b *compare.Row) int {
		return cmp.Or(signalRank[a.Signal]-signalRank[b.Signal], quantityRank[a.Quantity]-quantityRank[b.Quantity], eventRank[a.Event]-eventRank[b.Event])
	})
	return &Comparison{Now: now, Before: before, Rows: rows}
}

// moved are the rows that moved.
func (c *Comparison) moved() []*compare.Row {
	return slices.DeleteFunc(slices.Clone(c.Rows), func(r *compare.Row) bool { return !r.Outcome.Moving() })
}

// judged counts the rows of which it was judged whether they moved.
func (c *Comparison) judged() (n int) {
	for _, r := range c.Rows {
		if r.Outcome.Judged() || r.Outcome == compare.BeyondBound {
			n++
		}
	}
	return n
}

// rigLine says what the runs have in common, and what follows.
func (c *Comparison) rigLine() string {
	switch {
	case c.SameRig && len(c.Recalibrated) == 0:
		return "the same rig and calibration: what they get wrong is the same in both runs, and cancels"
	case c.SameRig:
		return "the same rig, so what it gets wrong cancels, but not for " + oneLine(words.And(c.Recalibrated)) + ": the calibration or the wiring is another"
	case c.Now.Simulated && c.Before.Simulated:
		return "another simulated bench: what either gets wrong counts in full"
	case c.Now.Simulated != c.Before.Simulated:
		return "one run is simulated, the other is not: what either rig gets wrong counts in full"
	}
	return "not known to be the same rig: what either gets wrong counts in full"
}

// changeLine says how many figures moved.
func (c *Comparison) changeLine() string {
	n, judged := len(c.moved()), c.judged()
	switch {
	case judged == 0:
		return "nothing could be compared"
	case n == 0:
		return fmt.Sprintf("none of %s, by more than their uncertainties allow", words.Count(judged, "figure"))
	}
	return fmt.Sprintf("%d of %s, by more than their uncertainties allow", n, words.Count(judged, "figure"))
}

// comparedRow is a row as a person reads it.
type comparedRow struct{ Signal, Quantity, Event, Before, Now, Change, Limit, Verdict string }

// compared writes a row with one scale for all of its figures.
func compared(r *compare.Row) comparedRow {
	x := comparedRow{Signal: oneLine(r.Signal), Quantity: oneLine(r.Quantity.Words()), Event: oneLine(eventWords(r.Event))}
	limit := analyze.NoLimit()
	values, expanded := []float64{}, r.Expanded
	for _, s := range []*compare.Sample{r.Now, r.Before} {
		if s == nil {
			continue
		}
		for _, v := range []float64{s.Mean, s.Low, s.High} {
			if finite(v) {
				values = append(values, v)
			}
		}
		if limit.None() {
			limit = s.Limit
		}
		if !finite(r.Expanded) && !(s.Expanded() <= expanded) {
			expanded = s.Expanded()
		}
	}
	scaler := scalerOf(r.Quantity, limit, expanded, values...)
	x.Before, x.Now = meanWords(r.Before, scaler.Text), meanWords(r.Now, scaler.Text)
	if finite(r.Change) {
		sign := ""
		if r.Change > 0 {
			sign = "+"
		}
		x.Change = sign + scaler.Number(r.Change) + " " + scaler.PlusMinus()
		if r.Expanded == 0 {
			x.Change = sign + scaler.Text(r.Change)
		}
	}
	x.Limit = limitWords(scaler, limit)
	was, is := verdictOf(r.Before), verdictOf(r.Now)
	switch {
	case was == is:
		x.Verdict = string(is)
	case was == "" || is == "":
		x.Verdict = string(was) + string(is)
	default:
		x.Verdict = string(was) + " → " + string(is)
	}
	return x
}

func verdictOf(s *compare.Sample) analyze.Verdict {
	if s == nil {
		return analyze.NoVerdict
	}
	return s.Verdict
}

// meanWords is a sample's mean, or what its bounds are.
func meanWords(s *compare.Sample, text func(float64) string) string {
	switch {
	case s == nil || s.Values+s.Uppers+s.Lowers == 0:
		return ""
	case s.Uppers > 0 && s.Lowers == 0:
		return analyze.UpperBound.Sign() + text(s.High)
	case s.Lowers > 0 && s.Uppers == 0:
		return analyze.LowerBound.Sign() + text(s.Low)
	case s.Uppers > 0:
		return ""
	}
	return text(s.Mean)
}

// outcomeWords say why a row was not judged.
var outcomeWords = map[compare.Outcome]string{
	compare.NotMeasured: "measured before, not now",
	compare.NotBefore:   "measured now, not before",
	compare.OnlyBounds:  "only bounds",
	compare.FewCycles:   "too few cycles to show how the unit scatters",
	compare.Nothing:     "measured in neither run",
}

// stayed reports whether an output kept its state in every cycle of both runs, of which there is
// nothing more to say.
func stayed(r *compare.Row) bool {
	return r.Quantity == analyze.Hold && r.Outcome == compare.Unmoved && r.Now.High == 0 && r.Before.High == 0
}

// lines say in sentences what moved, and what is measured in one run alone.
func (c *Comparison) lines() []string {
	var all []string
	for _, r := range c.Rows {
		x := compared(r)
		where := x.Signal + " " + x.Quantity
		if r.Event != "" {
			where += " at " + x.Event
		}
		switch r.Outcome {
		case compare.Moved:
			all = append(all, fmt.Sprintf("%s: %s, was %s (change %s)%s", where, x.Now, x.Before, x.Change, verdictNote(r)))
		case compare.BeyondBound:
			all = append(all, fmt.Sprintf("%s: %s, was %s%s", where, x.Now, x.Before, verdictNote(r)))
		case compare.NotMeasured:
			all = append(all, fmt.Sprintf("%s: not measured now, was %s%s", where, x.Before, verdictNote(r)))
		}
	}
	return all
}

// verdictNote says that a row's verdict is another now.
func verdictNote(r *compare.Row) string {
	was, is := verdictOf(r.Before), verdictOf(r.Now)
	if was == is || was == "" || is == "" {
		return ""
	}
	return fmt.Sprintf("; %s, was %s", is, was)
}

// mostSince is how many changes a record names.
const mostSince = 8

// since are the heading and the lines of a record's list of what has changed since the previous
// run of its unit; no lines: there is none.
func since(r *Record) (heading string, lines []string, err error) {
	if r.Since == nil {
		return "", nil, nil
	}
	c, err := r.Since()
	if err != nil || c == nil {
		return "", nil, err
	}
	heading = "Since the previous run of this unit, " + oneLine(c.Before.Run)
	if v := c.Before.Verdict; v != analyze.NoVerdict {
		heading += " (" + v.Name() + ")"
	}
	lines = c.lines()
	if len(lines) > mostSince {
		lines = append(lines[:mostSince], fmt.Sprintf("and %d more: makebreak report %s --against previous", len(lines)-mostSince, oneLine(r.Run)))
	}
	if len(lines) == 0 {
		lines = []string{"Moved: " + c.changeLine()}
	}
	return heading, lines, nil
}
