package measure

import (
	"math"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/gum"
)

// A bound passes and fails only where every true value on its side does.
func TestJudge_Bounds(t *testing.T) {
	nan := math.NaN()
	atMost := func(v float64) analyze.Limit { return analyze.Limit{Lower: nan, Upper: v} }
	atLeast := func(v float64) analyze.Limit { return analyze.Limit{Lower: v, Upper: nan} }
	const upper, lower = analyze.AtMost, analyze.AtLeast
	for _, c := range []struct {
		code  analyze.DoubtCode
		value float64
		limit analyze.Limit
		want  analyze.Verdict
	}{
		{upper, 2, atMost(3), analyze.Pass}, {upper, 3, atMost(3), analyze.Pass}, {upper, 4, atMost(3), analyze.Undecided},
		{upper, 2, atLeast(3), analyze.Fail}, {upper, 3, atLeast(3), analyze.Undecided}, {upper, 4, atLeast(3), analyze.Undecided},
		{upper, 2, analyze.Limit{Lower: 1, Upper: 3}, analyze.Undecided}, {upper, 0.5, analyze.Limit{Lower: 1, Upper: 3}, analyze.Fail},
		{lower, 2, atMost(3), analyze.Undecided}, {lower, 3, atMost(3), analyze.Undecided}, {lower, 4, atMost(3), analyze.Fail},
		{lower, 2, atLeast(3), analyze.Undecided}, {lower, 3, atLeast(3), analyze.Pass}, {lower, 4, atLeast(3), analyze.Pass},
		{lower, 2, analyze.Limit{Lower: 1, Upper: 3}, analyze.Undecided}, {lower, 3.5, analyze.Limit{Lower: 1, Upper: 3}, analyze.Fail},
		{lower, 2, analyze.NoLimit(), analyze.NoVerdict},
	} {
		for _, rule := range []analyze.Rule{analyze.Guarded, analyze.Simple} {
			x := analyze.Measurement{Quantity: analyze.BounceTime, Value: c.value, Limit: c.limit, Doubts: []analyze.Doubt{of(c.code)},
				Budget: []gum.Component{gum.Line(analyze.ContactTimeStamp, "normal", 0.1, 1)}}
			Judge(&x, rule)
			if x.Verdict != c.want || !math.IsNaN(x.Expanded) || !math.IsNaN(x.Conformance) || len(x.Budget) > 0 {
				t.Errorf("%s %v against %v: %s ± %v, want %s and no uncertainty", c.code, c.value, c.limit, x.Verdict, x.Expanded, c.want)
			}
		}
	}
}
