package picture

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"makebreak/analyze/reliability"
	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// ErrNothing is the error of boards of which none has failed: there is no point to
// draw.
var ErrNothing error = problem.New(problem.Usage, "no board has failed: there is nothing to draw")

// At is a place on the paper.
type At struct {
	Cycles float64 // of one board
	Failed float64 // share of the boards, 0 to 1
}

// Paper is a probability plot on Weibull paper: across, cycles on a logarithmic
// scale; upwards, the share failed F on the scale of ln(-ln(1-F)). A Weibull
// distribution is a straight line there.
type Paper struct {
	Points []reliability.Point // failures at their median ranks
	// Stopped are the boards that did not fail: how many were stopped at which cycles.
	Stopped []Stop
	// Line is the fitted line with its bounds, empty without a fit.
	Line []Bound
	// B10 is the cycles by which 10 % have failed, nil without a fit.
	B10 *reliability.Estimate
	// This is one of the boards, which the plot is about; nil: none of them.
	This *This
	// From and To are the corners of the paper.
	From, To At
	// Heading and Words stand above it, line by line.
	Heading string
	Words   []string
}

// This is a board to be marked among others.
type This struct {
	Cycles float64 // that it did, or at which it failed
	Failed bool
	Words  string
}

// Bound is the fitted line at one share failed: the cycles by which it is reached, and
// their bounds by likelihood, 0 and infinity where there is none.
type Bound struct {
	Failed              float64 // share of the boards, 0 to 1
	Early, Cycles, Late float64 // cycles of one board
}

// Stop is a number of boards stopped at one count of cycles.
type Stop struct {
	Cycles float64 // of each board
	Boards int
}

// lineSteps is in how many places the bounds of the line are worked out.
const lineSteps = 24

// farthest is by how many times the boards' own cycles may be exceeded by the paper,
// for the bounds of a B10 that lies far away.
const farthest = 30

// PaperOf works out the plot of boards. The fit may be nil where none can be made.
func PaperOf(units []reliability.Unit, fit *reliability.Weibull) (*Paper, error) {
	points, err := reliability.Points(units)
	if err != nil {
		return nil, err
	}
	if len(points) == 0 {
		return nil, ErrNothing
	}
	p := &Paper{Points: points, Stopped: stopsOf(units), Heading: heading(len(units), len(points))}
	if fit != nil {
		b10, err := fit.Life(0.1)
		if err != nil {
			return nil, err
		}
		p.B10 = &b10
		p.Words = []string{
			fmt.Sprintf("Weibull shape %s, scale %s cycles", between(fit.Shape, three), between(fit.Scale, count)),
			fmt.Sprintf("B10 %s cycles; bounds at %s %% confidence by likelihood", between(b10, count), three(100*fit.Confidence)),
		}
	}
	p.corners(units)
	if fit != nil {
		return p, p.draw(fit)
	}
	return p, nil
}

func heading(boards, failed int) string {
	word := "boards"
	if boards == 1 {
		word = "board"
	}
	return fmt.Sprintf("Lives of %d %s, %d failed", boards, word, failed)
}

// between is an estimate with its bounds.
func between(e reliability.Estimate, format func(float64) string) string {
	switch l, u := e.Likelihood.Lower, e.Likelihood.Upper; {
	case finite(l) && finite(u):
		return fmt.Sprintf("%s (%s to %s)", format(e.Value), format(l), format(u))
	case finite(l):
		return fmt.Sprintf("%s (at least %s)", format(e.Value), format(l))
	}
	return format(e.Value)
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func three(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }

// count is a number of cycles, to four digits at least where it is no huge one.
func count(x float64) string {
	switch {
	case x >= 1e9:
		return three(x)
	case x < 1:
		return "less than one"
	case x >= 1000:
		return words.Grouped(strconv.FormatFloat(x, 'f', 0, 64))
	}
	return strconv.FormatFloat(x, 'g', 4, 64)
}

func stopsOf(units []reliability.Unit) []Stop {
	n := map[float64]int{}
	for _, u := range units {
		if !u.Failed {
			n[u.Cycles]++
		}
	}
	var out []Stop
	for cycles, boards := range n {
		out = append(out, Stop{cycles, boards})
	}
	slices.SortFunc(out, func(a, b Stop) int {
		if a.Cycles < b.Cycles {
			return -1
		}
		return 1
	})
	return out
}

// corners choose the paper so that all boards and the B10 are on it.
func (p *Paper) corners(units []reliability.Unit) {
	low, high := math.Inf(1), 0.0
	for _, u := range units {
		low, high = math.Min(low, u.Cycles), math.Max(high, u.Cycles)
	}
	if p.B10 != nil {
		least, most := low/farthest, high*farthest
		for _, x := range []float64{p.B10.Value, p.B10.Likelihood.Lower, p.B10.Likelihood.Upper} {
			if x >= least && x <= most {
				low, high = math.Min(low, x), math.Max(high, x)
			}
		}
	}
	p.From.Cycles, p.To.Cycles = below(low), above(high)
	p.From.Failed = shareBelow(math.Min(0.07, 0.8*p.Points[0].Failed))
	p.To.Failed = shareAbove(math.Max(0.9, p.Points[len(p.Points)-1].Failed))
}

// draw works out the parts of the line and its bounds that lie on the paper.
func (p *Paper) draw(fit *reliability.Weibull) error {
	_, from := reliability.Paper(1, p.From.Failed)
	_, to := reliability.Paper(1, p.To.Failed)
	for i := range lineSteps + 1 {
		y := from + (to-from)*float64(i)/lineSteps
		share := -math.Expm1(-math.Exp(y))
		e, err := fit.Life(share)
		if err != nil {
			return err
		}
		p.Line = append(p.Line, Bound{share, e.Likelihood.Lower, e.Value, e.Likelihood.Upper})
	}
	return nil
}

// shares are those that are labelled on the paper.
var shares = []float64{0.00001, 0.00002, 0.00005, 0.0001, 0.0002, 0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 0.99, 0.999, 0.9999}

func shareBelow(x float64) float64 {
	for i := len(shares) - 1; i > 0; i-- {
		if shares[i] <= x {
			return shares[i]
		}
	}
	return shares[0]
}

func shareAbove(x float64) float64 {
	for _, s := range shares {
		if s >= x*(1+1e-12) || s == x {
			return s
		}
	}
	return shares[len(shares)-1]
}

// below and above are the nearest of 1, 2 and 5 times a power of ten that leave some
// room.
func below(x float64) float64 {
	steps := oneTwoFive(x/20, x/1.05)
	return steps[len(steps)-1]
}

func above(x float64) float64 { return oneTwoFive(x*1.05, x*20)[0] }
