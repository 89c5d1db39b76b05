package reliability

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Point is one failure on Weibull paper.
type Point struct {
	Cycles float64
	// Rank is the failure's place among all boards, shifted for the boards that were
	// stopped before it (Johnson 1964; the increment is (n+1-previous)/(1+at risk)).
	Rank float64
	// Failed is the exact median rank: the share failed that is as likely too high as
	// too low, the median of the beta distribution (Rank, n-Rank+1).
	Failed float64
	// X is ln Cycles, Y is ln(-ln(1-Failed)): a Weibull distribution is a straight
	// line with the shape as its slope.
	X, Y float64
}

// Paper returns where a share failed by so many cycles stands on Weibull paper.
func Paper(cycles, failed float64) (x, y float64) {
	return math.Log(cycles), math.Log(-math.Log1p(-failed))
}

// inOrder returns the boards by cycles; among equal ones, the failed come first.
func inOrder(units []Unit) []Unit {
	u := slices.Clone(units)
	slices.SortStableFunc(u, func(a, b Unit) int {
		switch {
		case a.Cycles < b.Cycles:
			return -1
		case a.Cycles > b.Cycles:
			return 1
		case a.Failed == b.Failed:
			return 0
		case a.Failed:
			return -1
		}
		return 1
	})
	return u
}

// Points returns the failures of boards for a probability plot, in order.
func Points(units []Unit) ([]Point, error) {
	if err := checkUnits(units); err != nil {
		return nil, fmt.Errorf("probability plot: %w", err)
	}
	n := float64(len(units))
	var out []Point
	rank := 0.0
	for i, u := range inOrder(units) {
		if !u.Failed {
			continue
		}
		rank += (n + 1 - rank) / (1 + n - float64(i))
		p := Point{Cycles: u.Cycles, Rank: rank, Failed: betaQuantile(rank, n-rank+1, 0.5)}
		p.X, p.Y = Paper(p.Cycles, p.Failed)
		out = append(out, p)
	}
	return out, nil
}

// Survival is one step of the Kaplan-Meier curve.
type Survival struct {
	Cycles float64
	AtRisk int // boards running just before
	Failed int // at this count
	// Value is the share that lives on, until the next step. Its bounds are
	// Greenwood's on the scale of ln(-ln Value), NaN where all or none live.
	Value float64
	Interval
}

// KaplanMeier returns the share of boards that lives on, step by step, assuming no
// distribution (Kaplan and Meier, JASA 53 (1958) 457).
func KaplanMeier(units []Unit, confidence float64) ([]Survival, error) {
	err := checkConfidence(confidence)
	if err == nil {
		err = checkUnits(units)
	}
	if err != nil {
		return nil, fmt.Errorf("survival: %w", err)
	}
	u := inOrder(units)
	d := distuv.UnitNormal.Quantile((1 + confidence) / 2)
	var out []Survival
	value, sum := 1.0, 0.0
	for i := 0; i < len(u); {
		j, failed := i, 0
		for ; j < len(u) && u[j].Cycles == u[i].Cycles; j++ {
			if u[j].Failed {
				failed++
			}
		}
		if failed > 0 {
			risk := float64(len(u) - i)
			f := float64(failed)
			value *= 1 - f/risk
			sum += f / (risk * (risk - f))
			s := Survival{Cycles: u[i].Cycles, AtRisk: len(u) - i, Failed: failed, Value: value,
				Interval: Interval{math.NaN(), math.NaN()}}
			if value > 0 {
				w := math.Exp(d * math.Sqrt(sum) / math.Abs(math.Log(value)))
				s.Interval = Interval{math.Pow(value, w), math.Pow(value, 1/w)}
			}
			out = append(out, s)
		}
		i = j
	}
	return out, nil
}
