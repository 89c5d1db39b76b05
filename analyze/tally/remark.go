package tally

import (
	"math"

	"makebreak/analyze"
)

// Remark is what there is to say of some of a row's figures: those that share the codes
// and signals of their doubts, their verdict, and whether they have a value. Package
// diagnose makes a sentence of it when it is told.
type Remark struct {
	N int // figures
	// Example is the figure of them that is hardest to settle: the one closest to its limit,
	// measured by its uncertainty. What settles it settles the others.
	Example analyze.Measurement
	// Low and High are the range of each doubt's figure over all of them, in the order and
	// in the units of Example.Doubts; NaN where a doubt has no figure.
	Low, High []float64
}

// Missing reports whether the figures have no value.
func (a *Remark) Missing() bool { return !finite(a.Example.Value) }

// remark takes a figure in among those of its kind. A figure without doubts that is not
// undecided gives none.
func (x *Row) remark(m *analyze.Measurement) {
	if len(m.Doubts) == 0 && (m.Verdict != analyze.Undecided || !finite(m.Value)) {
		return
	}
	for i := range x.Remarks {
		if a := &x.Remarks[i]; alike(&a.Example, m) {
			a.add(m)
			return
		}
	}
	if len(x.Remarks) == maxRemarks {
		x.MoreRemarks++
		return
	}
	a := Remark{N: 1, Example: *m}
	for _, d := range m.Doubts {
		a.Low, a.High = append(a.Low, d.Value), append(a.High, d.Value)
	}
	x.Remarks = append(x.Remarks, a)
}

// alike reports whether the same is to be said of two figures, but for numbers.
func alike(a, b *analyze.Measurement) bool {
	if len(a.Doubts) != len(b.Doubts) || a.Verdict != b.Verdict || finite(a.Value) != finite(b.Value) {
		return false
	}
	for i, d := range a.Doubts {
		if e := b.Doubts[i]; d.Code != e.Code || d.Signal != e.Signal || d.Other != e.Other || d.Text != e.Text {
			return false
		}
	}
	return true
}

func (a *Remark) add(m *analyze.Measurement) {
	a.N++
	for i, d := range m.Doubts {
		if d.Value < a.Low[i] || math.IsNaN(a.Low[i]) {
			a.Low[i] = d.Value
		}
		if d.Value > a.High[i] || math.IsNaN(a.High[i]) {
			a.High[i] = d.Value
		}
	}
	if room(m) < room(&a.Example) {
		a.Example = *m
	}
}

// room is how far a figure is from its nearest limit, by its expanded uncertainty. It is
// infinite where it has no limit or no uncertainty.
func room(m *analyze.Measurement) float64 {
	least := math.Inf(1)
	for _, limit := range []float64{m.Limit.Lower, m.Limit.Upper} {
		if r := math.Abs(m.Value-limit) / m.Expanded; r < least {
			least = r
		}
	}
	return least
}
