package trend

import (
	"fmt"
	"math"
)

// Significance is the probability below which drift, step, clustering and a change
// in the failures' rate are taken as real. Drift and step share it among the looks at a
// run, see Summary.Looks. A steady quantity is to be called changed in at most that share of runs;
// among the many quantities of a run some will be.
const Significance = 0.01

// Shape says how a quantity went over the run.
type Shape string

// The shapes.
const (
	Unknown  Shape = "too few values"
	Steady   Shape = "steady"
	Drifting Shape = "drift"
	Stepped  Shape = "step"
	// Changed is a drift or a step, which cannot be told apart.
	Changed Shape = "drift or step"
)

// Quantile is a value that the share P of all values does not exceed.
type Quantile struct{ P, Value float64 }

// shares are the quantiles of a summary.
var shares = []float64{0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99}

// Summary is what a series says. Values are in the quantity's unit; what is not
// known is NaN.
type Summary struct {
	From, To int   // first and last cycle
	N        int64 // values
	Missing  int64 // times that the quantity could not be measured
	// FirstMissing is the cycle of the first of them, 0: none.
	FirstMissing int
	Skipped      int64 // cycles between From and To that did not come at all

	Quantiles []Quantile
	Min, Max  Extreme
	Mean, SD  float64 // in the quantity's unit
	// Lag1 is the autocorrelation of neighbouring values.
	Lag1 float64 // -1 to 1

	Shape    Shape
	Drift    Drift
	Step     Step
	Failures Failures
	// Looks is among how many looks at the run Significance is shared.
	Looks float64 // 1 or more
	// Blocks is how many blocks the tests for drift and step had, BlockValues how many
	// values each.
	Blocks, BlockValues int
	// Doubts are what to keep in mind with these figures, in plain words.
	Doubts []string
}

// Summary returns the figures so far. It does not change the series.
func (s *Series) Summary() Summary {
	f := s.fit()
	out := Summary{From: s.from, To: s.to, N: s.moments.n, Missing: s.missing, FirstMissing: s.firstMissing,
		Skipped: s.skipped, Min: s.min, Max: s.max, Mean: math.NaN(), SD: s.moments.sd(), Lag1: s.moments.lag1(),
		Shape: f.shape, Failures: s.failures.summary(), Looks: s.looks(), Blocks: len(s.blocks.done), BlockValues: s.blocks.size()}
	if s.moments.n > 0 {
		out.Mean = s.moments.mean
	}
	for i, x := range s.quantiles(shares) {
		out.Quantiles = append(out.Quantiles, Quantile{shares[i], x})
	}
	nan := math.NaN()
	out.Drift = Drift{nan, nan, nan, nan, nan, nan, nan}
	out.Step = Step{Before: nan, After: nan, Size: nan, P: nan}
	if f.enough {
		out.Drift, out.Step = f.line.drift(), f.step
	}
	out.Doubts = out.doubts()
	return out
}

// Quantile returns the value below which the share p of all values lies, NaN where
// there is none.
func (s *Series) Quantile(p float64) float64 { return s.quantiles([]float64{p})[0] }

// quantiles are exact while the blocks hold the values themselves: with n values,
// p falls at place p·(n-1), between two by interpolation (type 7 of Hyndman and
// Fan, The American Statistician 50 (1996) 361).
func (s *Series) quantiles(p []float64) []float64 {
	x := s.blocks.raw()
	if len(x) == 0 {
		return s.sketch.quantiles(p)
	}
	out := make([]float64, len(p))
	for i, q := range p {
		at := q * float64(len(x)-1)
		k := int(at)
		switch {
		case !(q >= 0 && q <= 1):
			out[i] = math.NaN()
		case k+1 >= len(x):
			out[i] = x[len(x)-1]
		default:
			out[i] = x[k] + (at-float64(k))*(x[k+1]-x[k])
		}
	}
	return out
}

func (s *Summary) doubts() []string {
	var d []string
	add := func(format string, a ...any) { d = append(d, fmt.Sprintf(format, a...)) }
	if s.Shape == Unknown {
		add("%d values: drift and step are tested from %d on", s.N, minBlocks)
	}
	if s.Drift.Inflation > 2 {
		add("neighbouring blocks of %s follow each other; drift and step are judged more strictly for it", values(s.BlockValues))
	}
	if s.Shape == Drifting || s.Shape == Changed {
		add("a swing slower than the run would look the same")
	}
	if all := s.N + s.Missing; s.Missing > 0 && float64(s.Missing) > 0.05*float64(all) {
		add("%d of %d values are missing; if they are missing because of their size, the spread is wrong", s.Missing, all)
	}
	if s.Failures.Clustering < Significance {
		add("failures come in clusters, so a failure probability per cycle says little")
	}
	if s.Failures.Later < Significance {
		change := "rarer"
		if s.Failures.Growing {
			change = "more frequent"
		}
		add("failures become %s over the run, so a single failure probability per cycle says little", change)
	}
	return d
}

func values(n int) string {
	if n == 1 {
		return "one value"
	}
	return fmt.Sprintf("%d values", n)
}
