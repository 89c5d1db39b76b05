package report

import (
	"html/template"
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/look"
	"makebreak/analyze/picture"
)

// pageFigures is a row of the figures that were judged.
type pageFigures struct {
	Signal, Quantity, Event string
	Verdict, Words          string
	Value, Span, Limit      string
	Strip                   template.HTML // how the values spread; empty where there are none
	Missing                 string        // why there are none
}

// addFigures adds the rows that were judged: what failed first, then what is undecided.
func (p *page) addFigures(r *Record, s *summary) error {
	var rows []*row
	for _, x := range s.rows {
		if x.with(analyze.NoVerdict) == x.Figures || x.keptState() {
			p.Unjudged++
			continue
		}
		rows = append(rows, x)
	}
	if len(s.rows) == 0 && len(s.steady.signals) == 0 {
		p.Nothing = nothingWords(r)
	}
	slices.SortStableFunc(rows, func(a, b *row) int { return b.gravity() - a.gravity() })
	for _, x := range rows {
		f, v := x.figures(), analyze.Verdicts[x.gravity()]
		strip, err := x.strip(r)
		if err != nil {
			return err
		}
		value := f.median
		if f.uncertainty != "" {
			value += " " + f.uncertainty
		}
		p.Figures = append(p.Figures, pageFigures{Signal: oneLine(x.Signal), Quantity: x.Quantity.Words(), Event: oneLine(eventWords(x.Event)),
			Verdict: v.Name(), Words: x.verdictWords(), Value: value, Span: f.span, Limit: f.limit, Strip: strip, Missing: x.missingWords()})
	}
	p.Banded = slices.ContainsFunc(rows, func(x *row) bool { return x.Values > 0 && x.values.dots() == nil })
	p.Legend = (&summary{rows: rows}).legendLines()
	return nil
}

// keptState reports whether the row says no more than that an output kept its state, which
// the behaviour table has.
func (x *row) keptState() bool {
	return x.Quantity == analyze.Hold && x.High == 0 && x.with(analyze.Pass) == x.Figures
}

// missingWords say why a row has no values; empty where it has some.
func (x *row) missingWords() string {
	for i := range x.Remarks {
		if r := &x.Remarks[i]; x.Values == 0 && r.Missing() {
			return oneLine(diagnose.ReasonOver(&r.Example, r.Low, r.High))
		}
	}
	return ""
}

func (x *row) gravity() int {
	v, _, _ := x.worst()
	return v.Gravity()
}

// strip draws how the row's values spread against its limit.
func (x *row) strip(r *Record) (template.HTML, error) {
	if x.Values == 0 {
		return "", nil
	}
	s := &picture.Strip{Name: x.where(x.Event), About: x.verdictWords(), Lower: math.NaN(), Upper: math.NaN(), Low: x.Low, High: x.High}
	if !x.LimitsDiffer {
		s.Lower, s.Upper = x.Limit.Lower, x.Limit.Upper
	}
	if r.Plan == nil || r.Plan.Decide != analyze.Simple {
		s.Guard = x.Uncertainty
	}
	s.FromZero = !finite(s.Lower)
	if s.Dots = x.values.dots(); s.Dots == nil {
		for _, share := range picture.StripQuantiles {
			s.Quantiles = append(s.Quantiles, x.values.quantile(share))
		}
	}
	return look.Drawn(s.Inline)
}
