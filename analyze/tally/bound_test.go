package tally_test

import (
	"math"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/tally"
)

// A bound is among the values that a row tells of, and is no part of its trend: how far it is
// from the true value differs from cycle to cycle. It is not missing, and its verdict counts.
func TestTally_Bounds(t *testing.T) {
	t.Parallel()
	a := fresh(t)
	nan := math.NaN()
	for n := 1; n <= 200; n++ {
		m := analyze.Measurement{Cycle: n, Event: "on", Signal: "K1_NO", Quantity: analyze.BounceTime, Value: 0.003, Expanded: 3e-5,
			Limit: analyze.Limit{Lower: nan, Upper: 0.005}, Verdict: analyze.Pass}
		if n%4 == 0 {
			m.Value, m.Expanded, m.Verdict = 0.001, nan, analyze.Undecided
			m.Doubts = []analyze.Doubt{{Code: analyze.EdgesMissing, Value: nan}, {Code: analyze.AtLeast, Value: nan}}
		}
		fast := analyze.Measurement{Cycle: n, Event: "on", Signal: "OUT1", Quantity: analyze.TransitionDuration, Value: 0.0012, Expanded: nan,
			Limit: analyze.NoLimit(), Doubts: []analyze.Doubt{{Code: analyze.AtMost, Value: nan}}}
		for _, x := range []*analyze.Measurement{&m, &fast} {
			if err := a.Add(x); err != nil {
				t.Fatal(err)
			}
		}
		if n == 100 { // and so it stays when it is stored in between
			back := fresh(t)
			if err := back.UnmarshalBinary(bytesOf(t, a)); err != nil {
				t.Fatal(err)
			}
			a = back
		}
	}
	x := a.Rows[0]
	s := x.Trend.Summary()
	if s.N != 150 || s.Missing != 0 || s.Min.Value != 0.003 || s.To != 200 || s.Failures.Judged != 150 && s.Failures.Judged != 200 {
		t.Errorf("trend: %d values, %d missing, from %g, to cycle %d, %d judged", s.N, s.Missing, s.Min.Value, s.To, s.Failures.Judged)
	}
	if all := x.All().Summary(); all.N != 200 || x.Values != 200 || x.Low != 0.001 || x.Lowers != 50 || x.Uppers != 0 {
		t.Errorf("row: %d values in all, %d counted, from %g, %d lower and %d upper bounds", all.N, x.Values, x.Low, x.Lowers, x.Uppers)
	}
	if b, known := x.Bound(); b != analyze.LowerBound || !known {
		t.Errorf("the row's values are %v, %v", b, known)
	}
	if len(x.Remarks) != 1 || x.Remarks[0].N != 50 || x.Verdicts[analyze.Undecided.Gravity()] != 50 {
		t.Errorf("%+v, %v", x.Remarks, x.Verdicts)
	}
	// Those that the sampling alone bounds are followed.
	if y := a.Rows[1]; y.Trend.Summary().N != 200 || y.Told != nil || y.Uppers != 200 {
		t.Errorf("transitions: %d values, %d bounds", y.Trend.Summary().N, y.Uppers)
	}
	both := tally.NewRow(tally.Key{}, analyze.NoLimit())
	for _, code := range []analyze.DoubtCode{analyze.AtMost, analyze.AtLeast} {
		both.Add(&analyze.Measurement{Value: 1, Expanded: nan, Doubts: []analyze.Doubt{{Code: code}}})
	}
	if b, known := both.Bound(); b != analyze.NoBound || known {
		t.Errorf("bounds of both kinds: %v, %v", b, known)
	}
}
