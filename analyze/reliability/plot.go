package reliability

import (
	"fmt"
	"math"
	"slices"
)

// Point is one failure on Weibull paper.
type Point struct {
	Cycles float64 // of the board
	// Rank is the failure's place among all boards, shifted for the boards that were
	// stopped before it (Johnson 1964; the increment is (n+1-previous)/(1+at risk)).
	Rank float64 // place, from 1
	// Failed is the exact median rank: the share failed that is as likely too high as
	// too low, the median of the beta distribution (Rank, n-Rank+1).
	Failed float64 // share of the boards, 0 to 1
	// X is ln Cycles, Y is ln(-ln(1-Failed)): a Weibull distribution is a straight
	// line with the shape as its slope.
	X, Y float64 // plain numbers
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
