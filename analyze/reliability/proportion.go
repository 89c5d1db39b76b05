package reliability

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Proportion is the failure probability per cycle that failures among cycles show. It
// takes each cycle to fail as likely as any other, and independently.
type Proportion struct {
	Failures, Cycles int64
	Confidence       float64 // share, 0 to 1
	// Value is failures over cycles; Lower and Upper bound the true probability (Clopper
	// and Pearson, Biometrika 26 (1934) 404): never narrower than stated.
	Value float64 // share of the cycles, 0 to 1
	Interval
	// AtMost is what may be claimed: with the confidence, the probability is at most
	// this. Without failures it is 1-(1-confidence)^(1/cycles), near 3/cycles at 95 %.
	AtMost float64 // share of the cycles, 0 to 1
	Doubts []string
}

// ProportionOf judges so many failures among so many cycles.
func ProportionOf(failures, cycles int64, confidence float64) (Proportion, error) {
	if err := checkConfidence(confidence); err != nil {
		return Proportion{}, fmt.Errorf("failure probability: %w", err)
	}
	if cycles < 1 || failures < 0 || failures > cycles {
		return Proportion{}, fmt.Errorf("failure probability: %d failures in %d cycles can't be", failures, cycles)
	}
	out := Proportion{Failures: failures, Cycles: cycles, Confidence: confidence,
		Value: float64(failures) / float64(cycles)}
	alpha := 1 - confidence
	out.Lower, out.Upper = proportionLower(failures, cycles, alpha/2), proportionUpper(failures, cycles, alpha/2)
	out.AtMost = proportionUpper(failures, cycles, alpha)
	if failures == cycles {
		out.Doubts = append(out.Doubts, "every cycle failed: something is wrong that is not a matter of chance")
	}
	return out, nil
}

// proportionUpper is the probability with which so few failures, or fewer, have the
// probability alpha.
func proportionUpper(failures, cycles int64, alpha float64) float64 {
	switch {
	case failures == cycles:
		return 1
	case failures == 0: // the beta quantile in closed form
		return -math.Expm1(math.Log(alpha) / float64(cycles))
	}
	// The beta quantile of 1-alpha, turned round to keep alpha exact.
	return 1 - betaQuantile(float64(cycles-failures), float64(failures+1), alpha)
}

func proportionLower(failures, cycles int64, alpha float64) float64 {
	if failures == 0 {
		return 0
	}
	return betaQuantile(float64(failures), float64(cycles-failures+1), alpha)
}

// betaQuantile is the quantile of the beta distribution.
func betaQuantile(a, b, p float64) float64 { return mathext.InvRegIncBeta(a, b, p) }
