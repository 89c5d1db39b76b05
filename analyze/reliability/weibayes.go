package reliability

import (
	"fmt"
	"math"
)

// Weibayes is what boards show about a life whose shape is known from elsewhere,
// which needs no failures at all.
type Weibayes struct {
	Shape      float64 // a plain number
	Failures   int
	Confidence float64 // share, 0 to 1
	// ScaleAtLeast bounds the cycles by which 63.2 % have failed, B10AtLeast those by
	// which 10 % have, both one-sided.
	ScaleAtLeast, B10AtLeast float64 // cycles
	Doubts                   []string
}

// WeibayesOf bounds the life of boards with a known shape. Cycles to the power of
// the shape are exponential, so the scale is at least
// (2Σtᵏ/χ²(confidence; 2r+2))^(1/k); without failures (Σtᵏ/-ln(1-confidence))^(1/k)
// (Abernethy, The New Weibull Handbook, chapter 6; from memory).
func WeibayesOf(units []Unit, shape, confidence float64) (Weibayes, error) {
	err := checkConfidence(confidence)
	if err == nil {
		err = checkUnits(units)
	}
	if err == nil {
		err = positive("a shape", shape)
	}
	if err != nil {
		return Weibayes{}, fmt.Errorf("life with a known shape: %w", err)
	}
	l := lifeOf(units)
	s, _, _ := l.powers(shape)
	out := Weibayes{Shape: shape, Failures: int(l.failed), Confidence: confidence}
	out.ScaleAtLeast = l.longest * math.Pow(s/TestLength(out.Failures, confidence), 1/shape)
	out.B10AtLeast = out.ScaleAtLeast * math.Pow(-math.Log1p(-0.1), 1/shape)
	out.Doubts = append([]string{fmt.Sprintf("rests on the shape %g, which these boards don't show", shape)}, doubtLoads(units)...)
	if out.Failures > 0 {
		w, err := FitWeibull(units, confidence)
		if k := w.Shape.Likelihood; err == nil && (shape < k.Lower || shape > k.Upper) {
			out.Doubts = append(out.Doubts, fmt.Sprintf("the failures fit shapes from %.2g to %.2g, not %g", k.Lower, k.Upper, shape))
		}
	}
	return out, nil
}
