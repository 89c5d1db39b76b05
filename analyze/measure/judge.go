package measure

import (
	"math"

	"makebreak/analyze"
	"makebreak/analyze/gum"
)

// Judge gives a measurement the uncertainties that follow from its budget, and its verdict
// by its limit. By the guarded rule a value is accepted
// (rejected) only where the whole interval value ± expanded uncertainty meets
// (breaks) the limit: guard band = expanded uncertainty, JCGM 106:2012, 8.3.2 and
// 8.3.3; in between it is undecided. By the simple rule the value alone decides (JCGM 106:2012, 8.2).
func Judge(x *analyze.Measurement, rule analyze.Rule) {
	x.Standard, x.Expanded, x.Coverage, x.DegreesOfFreedom = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if x.Bound() != analyze.NoBound {
		x.Budget = nil // a bound has no interval
	}
	if len(x.Budget) > 0 && !math.IsNaN(x.Value) {
		g := gum.Combine(x.Budget)
		x.Standard, x.DegreesOfFreedom = g.Standard, g.DegreesOfFreedom
		x.Coverage, x.Expanded = g.Expanded()
	}
	x.Conformance = math.NaN()
	if x.Limit.None() || math.IsNaN(x.Value) {
		return
	}
	if b := x.Bound(); b != analyze.NoBound {
		judgeBound(x, b)
		return
	}
	guard := x.Expanded
	if rule == analyze.Simple {
		guard = 0
	}
	x.Verdict = verdictOf(gum.Decide(x.Value, guard, x.Limit.Lower, x.Limit.Upper))
	if !math.IsNaN(x.Standard) {
		x.Conformance = gum.Combine(x.Budget).Conformance(x.Value, x.Limit.Lower, x.Limit.Upper)
	}
}

func verdictOf(d gum.Decision) analyze.Verdict {
	switch d {
	case gum.Conforms:
		return analyze.Pass
	case gum.Violates:
		return analyze.Fail
	}
	return analyze.Undecided
}

// judgeBound judges a value that is only a bound. The true value may be any on one side of
// it: an upper bound can pass a maximum and fail a minimum, a lower one can fail a maximum
// and pass a minimum, and neither decides anything else.
func judgeBound(x *analyze.Measurement, b analyze.Bound) {
	lower, upper := x.Limit.Lower, x.Limit.Upper
	fails, passes := x.Value < lower, math.IsNaN(lower) && !(x.Value > upper)
	if b == analyze.LowerBound {
		fails, passes = x.Value > upper, math.IsNaN(upper) && !(x.Value < lower)
	}
	switch {
	case fails:
		x.Verdict = analyze.Fail
	case passes:
		x.Verdict = analyze.Pass
	default:
		x.Verdict = analyze.Undecided
	}
}
