package analyze

import (
	"math"

	"makebreak/analyze/gum"
)

// judge gives a measurement its verdict. By the guarded rule a value is accepted
// (rejected) only where the whole interval value ± expanded uncertainty meets
// (breaks) the limit: guard band = expanded uncertainty, JCGM 106:2012, 8.3.2 and
// 8.3.3; in between it is undecided. By the simple rule the value alone decides
// (JCGM 106:2012, 8.2).
func judge(x *Measurement, rule Rule) {
	x.Conformance = math.NaN()
	if x.Limit.None() || math.IsNaN(x.Value) {
		return
	}
	if x.Reason == upperBound {
		judgeBound(x)
		return
	}
	guard := x.Expanded
	if math.IsNaN(guard) || rule == Simple {
		guard = 0
	}
	lo, hi := x.Limit.Lower, x.Limit.Upper
	switch {
	case x.Value-guard > hi || x.Value+guard < lo:
		x.Verdict = Fail
	case x.Value+guard > hi || x.Value-guard < lo:
		x.Verdict = Undecided
	default:
		x.Verdict = Pass
	}
	if !math.IsNaN(x.Standard) {
		x.Conformance = gum.Conformance(x.Value, x.Standard, lo, hi)
	}
	if x.Verdict == Undecided && x.Reason == "" {
		x.Reason = "closer to the limit than the expanded uncertainty"
	}
}

// upperBound marks a value that is only known not to be exceeded.
const upperBound = "upper bound: shorter than the sampling can resolve"

// judgeBound judges a value that is only an upper bound: it can pass a maximum and
// break a minimum, and decides nothing else.
func judgeBound(x *Measurement) {
	switch {
	case x.Value < x.Limit.Lower:
		x.Verdict = Fail
	case !(x.Value > x.Limit.Upper) && math.IsNaN(x.Limit.Lower):
		x.Verdict = Pass
	default:
		x.Verdict = Undecided
	}
}
