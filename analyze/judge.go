package analyze

import (
	"math"
	"strings"

	"makebreak/analyze/gum"
)

// judge gives a measurement its verdict. By the guarded rule a value is accepted
// (rejected) only where the whole interval value ± expanded uncertainty meets
// (breaks) the limit: guard band = expanded uncertainty, JCGM 106:2012, 8.3.2 and
// 8.3.3; in between it is undecided, and the reason says what would settle it. By
// the simple rule the value alone decides (JCGM 106:2012, 8.2).
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
	if rule == Simple {
		guard = 0
	}
	x.Verdict = verdictOf(gum.Decide(x.Value, guard, x.Limit.Lower, x.Limit.Upper))
	if !math.IsNaN(x.Standard) {
		x.Conformance = gum.Combine(x.Budget).Conformance(x.Value, x.Limit.Lower, x.Limit.Upper)
	}
	// A reason that was there already stands for a doubt that no budget knows of, but
	// for that of a mean.
	if x.Verdict == Undecided && (x.Reason == "" || strings.HasPrefix(x.Reason, fewSamples)) {
		x.Reason = strings.TrimPrefix(x.Reason+"; "+settle(x), "; ")
	}
}

// fewSamples begins the reason of a level that is a plain mean.
const fewSamples = "mean of "

func verdictOf(d gum.Decision) Verdict {
	switch d {
	case gum.Conforms:
		return Pass
	case gum.Violates:
		return Fail
	}
	return Undecided
}

// upperBound begins the reason of a value that is only known not to be exceeded.
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
		x.Reason += "; " + settleBound(x)
	}
}
