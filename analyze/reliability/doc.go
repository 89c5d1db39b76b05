// Package reliability says what cycles with and without failures show: a failure
// probability per cycle, the mean cycles between failures, and from several boards
// run until they failed or were stopped a Weibull distribution with B10 and, for
// safety relays, what ISO 13849-1 makes of it. It also says how many boards and
// cycles a claim needs.
//
// A life is counted in cycles, but any measure of use will do as long as all of it
// is of one kind. A confidence is a share between 0 and 1, as in 0.95. Bounds named
// Lower and Upper are two-sided: the confidence is that of both together. A figure
// named AtLeast or AtMost is one-sided: the confidence is its own.
//
// Every figure rests on assumptions. What the data say against them stands in the
// result's Doubts, in plain words.
package reliability

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Interval is a two-sided interval, in the unit of what it bounds.
type Interval struct{ Lower, Upper float64 }

// Estimate is a value with its bounds by both usual ways. Near each other, either
// will do. Where they differ, failures are few, and Likelihood is the one to trust.
type Estimate struct {
	Value float64 // in the unit of what is estimated, as its bounds are
	// Fisher comes from the curvature of the log-likelihood at its top, on a
	// logarithmic scale (Meeker and Escobar, Statistical Methods for Reliability Data,
	// 1998, 8.4).
	Fisher Interval
	// Likelihood is where twice the log-likelihood has fallen by chi-square's quantile
	// with one degree of freedom (the same, 8.3).
	Likelihood Interval
}

// chiSquare is the quantile of the chi-square distribution.
func chiSquare(p, degrees float64) float64 { return 2 * mathext.GammaIncRegInv(degrees/2, p) }

func checkConfidence(c float64) error {
	if !(c > 0 && c < 1) {
		return fmt.Errorf("a confidence of %g: it must lie between 0 and 1, as in 0.95", c)
	}
	return nil
}

func positive(what string, x float64) error {
	if !(x > 0) || math.IsInf(x, 0) {
		return fmt.Errorf("%s of %g: it must be a number above 0", what, x)
	}
	return nil
}
