package reliability

import (
	"fmt"
	"math"

	"makebreak/rig/words"
)

// Exponential is the mean number of cycles between failures, if failures come at a
// constant rate: no running in, no wear.
type Exponential struct {
	Failures   int
	Total      float64 // cycles of all boards together
	Confidence float64 // share, 0 to 1
	// Value is Total over Failures, infinite without failures.
	Value float64 // cycles
	// Lower is 2T/χ²(1-α/2; 2r+2) and Upper 2T/χ²(α/2; 2r): a test that ended after
	// planned cycles, not with a failure (NIST/SEMATECH e-Handbook 8.4.5.1). Without
	// failures there is no upper bound, and Lower is AtLeast.
	Interval
	// AtLeast is what may be claimed: 2T/χ²(confidence; 2r+2).
	AtLeast float64 // cycles
	Doubts  []string
}

// ExponentialOf judges so many failures in so many cycles of all boards together.
func ExponentialOf(failures int, total, confidence float64) (Exponential, error) {
	err := checkConfidence(confidence)
	if err == nil {
		err = positive("cycles", total)
	}
	if err == nil && failures < 0 {
		err = fmt.Errorf("%d failures can't be", failures)
	}
	if err != nil {
		return Exponential{}, fmt.Errorf("mean cycles between failures: %w", err)
	}
	r, alpha := float64(failures), 1-confidence
	out := Exponential{Failures: failures, Total: total, Confidence: confidence, Value: total / r,
		AtLeast: total / TestLength(failures, confidence)}
	if failures == 0 {
		out.Interval = Interval{out.AtLeast, math.Inf(1)}
		return out, nil
	}
	out.Interval = Interval{2 * total / chiSquare(1-alpha/2, 2*r+2), 2 * total / chiSquare(alpha/2, 2*r)}
	return out, nil
}

// ExponentialOfUnits judges boards, and looks whether their failures look as of a
// constant rate.
func ExponentialOfUnits(units []Unit, confidence float64) (Exponential, error) {
	if err := checkUnits(units); err != nil {
		return Exponential{}, fmt.Errorf("mean cycles between failures: %w", err)
	}
	failures, total := 0, 0.0
	for _, u := range units {
		total += u.Cycles
		if u.Failed {
			failures++
		}
	}
	out, err := ExponentialOf(failures, total, confidence)
	if err != nil {
		return Exponential{}, err
	}
	out.Doubts = append(out.Doubts, doubtLoads(units)...)
	w, err := FitWeibull(units, confidence)
	switch {
	case err != nil || failures < 3:
		out.Doubts = append(out.Doubts, fmt.Sprintf("%s can't show whether the rate is constant", words.Count(failures, "failure")))
	case w.ConstantP < 0.05:
		kind := "wear: failures become more frequent, and the mean says too much about early life"
		if w.Shape.Value < 1 {
			kind = "early failures: they become rarer, and the mean says too little about later life"
		}
		out.Doubts = append(out.Doubts, fmt.Sprintf("the rate is not constant (Weibull shape %.2g); it looks like %s", w.Shape.Value, kind))
	}
	return out, nil
}

// TestLength returns how long a test must last to show a mean of cycles between failures,
// in multiples of that mean and over all boards: χ²(confidence; 2r+2)/2 with r failures. It
// is NaN for a confidence that is none.
func TestLength(failures int, confidence float64) float64 {
	if checkConfidence(confidence) != nil || failures < 0 {
		return math.NaN()
	}
	return chiSquare(confidence, 2*float64(failures)+2) / 2
}
