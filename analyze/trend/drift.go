package trend

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// minBlocks is how many blocks a test for drift or step needs; below it the normal
// approximation of the rank statistics is not good.
const minBlocks = 10

// Drift is a steady rise or fall, from the blocks of a run.
type Drift struct {
	// Slope is Sen's: the median of the slopes of all pairs of blocks, in the
	// quantity's unit per 1,000 cycles. Lower and Upper bound it at 95 %.
	Slope, Lower, Upper float64 // the quantity's unit in 1000 cycles
	// P is the probability of as clear a drift, either way, at one look at a quantity that
	// does not drift: Mann and Kendall's test, over all kinds of noise that the blocks may
	// have. NaN where there are too few values.
	P float64 // probability, 0 to 1
	// Tau is Kendall's rank correlation of value and cycle, -1 to 1.
	Tau float64 // -1 to 1
	// Change is what the drift makes from the first to the last block, in the
	// quantity's unit.
	Change float64 // in the quantity's unit
	// Inflation is by how much the slope's variance was taken larger because blocks may
	// depend on their neighbours; near 1 where they do not.
	Inflation float64 // factor, 1 or more
}

// line is Sen's line through blocks, with what its confidence needs.
type line struct {
	blocks       []block
	slope        float64 // per cycle
	lower, upper float64 // 95 % bounds of the slope
	level        float64 // at the centre
	centre       float64 // cycle
	levelSD      float64 // standard deviation of the level
	s            int     // Kendall's S of the blocks as they are
	variance     float64 // of S, ties and dependence allowed for
	inflation    float64
	left         left // of the blocks, the line taken out
}

// lineThrough fits blocks; ok is false where they are too few or lie on one cycle.
func lineThrough(b []block) (line, bool) {
	if len(b) < minBlocks {
		return line{}, false
	}
	l := line{blocks: b, inflation: 1}
	slopes := make([]float64, 0, len(b)*(len(b)-1)/2)
	for i := range b {
		for j := i + 1; j < len(b); j++ {
			if dx := b[j].centre - b[i].centre; dx > 0 {
				dy := b[j].value - b[i].value
				slopes = append(slopes, dy/dx)
				l.s += sign(dy)
			}
		}
	}
	if len(slopes) == 0 {
		return line{}, false
	}
	slices.Sort(slopes)
	l.slope = middle(slopes)

	xs, ys := make([]float64, len(b)), make([]float64, len(b))
	for i, c := range b {
		xs[i], ys[i] = c.centre, c.value
	}
	slices.Sort(xs)
	l.centre = middle(xs)
	residuals := make([]float64, len(b))
	for i, c := range b {
		residuals[i] = c.value - l.slope*(c.centre-l.centre)
	}
	l.left = leaveLine(b, l.slope, median(residuals), l.centre)
	l.inflation = l.left.inflation()
	l.variance = kendallVariance(ys) * l.inflation
	l.level, l.levelSD = medianWithSD(residuals, l.inflation)
	l.bound(slopes)
	return l, true
}

// senSlope is the median of the slopes of all pairs of blocks, per cycle.
func senSlope(b []block) float64 {
	var slopes []float64
	for i := range b {
		for _, c := range b[i+1:] {
			if dx := c.centre - b[i].centre; dx > 0 {
				slopes = append(slopes, (c.value-b[i].value)/dx)
			}
		}
	}
	if len(slopes) == 0 {
		return 0
	}
	slices.Sort(slopes)
	return middle(slopes)
}

// bound sets the slope's 95 % bounds: the slopes whose ranks lie 1.96 standard
// deviations of S around the middle (Gilbert 1987, 16.4.2).
func (l *line) bound(slopes []float64) {
	n := float64(len(slopes))
	c := distuv.UnitNormal.Quantile(0.975) * math.Sqrt(l.variance)
	at := func(rank float64) float64 { // rank from 1, between two slopes by interpolation
		rank = math.Max(1, math.Min(n, rank))
		i := int(rank)
		if i >= len(slopes) {
			return slopes[len(slopes)-1]
		}
		return slopes[i-1] + (rank-float64(i))*(slopes[i]-slopes[i-1])
	}
	l.lower, l.upper = at((n-c)/2), at((n+c)/2+1)
}

// p is the two-sided probability of S, with Kendall's continuity correction, over all kinds
// of noise that the blocks may have.
func (l *line) p() float64 {
	if l.variance == 0 {
		return 1
	}
	return math.Min(1, 2*l.left.chance(l.deviate(), l.left.all))
}

// deviate is S as a standard normal deviate, were the blocks independent.
func (l *line) deviate() float64 {
	return math.Max(0, math.Abs(float64(l.s))-1) / math.Sqrt(l.variance/l.inflation)
}

// steeper returns a standard normal deviate, were the blocks independent: how clearly the
// true slope is larger than b (negative: smaller). It is Kendall's S of the blocks less
// that slope (Theil's test turned round).
func (l *line) steeper(b float64) float64 {
	s := 0
	for i := range l.blocks {
		for j := i + 1; j < len(l.blocks); j++ {
			if dx := l.blocks[j].centre - l.blocks[i].centre; dx > 0 {
				s += sign(l.blocks[j].value - l.blocks[i].value - b*dx)
			}
		}
	}
	v := l.variance / l.inflation
	if v == 0 { // all blocks equal: S has no spread, take that of untied ones
		n := float64(len(l.blocks))
		v = n * (n - 1) * (2*n + 5) / 18
	}
	return float64(s-sign(float64(s))) / math.Sqrt(v)
}

// at is the line's height at a cycle.
func (l *line) at(cycle float64) float64 { return l.level + l.slope*(cycle-l.centre) }

func (l *line) drift() Drift {
	n := float64(len(l.blocks))
	span := l.blocks[len(l.blocks)-1].centre - l.blocks[0].centre
	return Drift{Slope: 1000 * l.slope, Lower: 1000 * l.lower, Upper: 1000 * l.upper, P: l.p(),
		Tau: float64(l.s) / (n * (n - 1) / 2), Change: l.slope * span, Inflation: l.inflation}
}

// kendallVariance is the variance of S for values in any order, allowing for ties
// (Kendall, Rank Correlation Methods, 4.3). It sorts its argument.
func kendallVariance(y []float64) float64 {
	slices.Sort(y)
	term := func(n float64) float64 { return n * (n - 1) * (2*n + 5) }
	v := term(float64(len(y)))
	for i := 0; i < len(y); {
		j := i + 1
		for j < len(y) && y[j] == y[i] {
			j++
		}
		v -= term(float64(j - i))
		i = j
	}
	return v / 18
}

// ranks returns ranks from 1, ties sharing their mean.
func ranks(x []float64) []float64 {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(x[a], x[b]) })
	out := make([]float64, len(x))
	for i := 0; i < len(order); {
		j := i + 1
		for j < len(order) && x[order[j]] == x[order[i]] {
			j++
		}
		for _, k := range order[i:j] {
			out[k] = float64(i+j+1) / 2
		}
		i = j
	}
	return out
}

// median is that of x, which stays as it is.
func median(x []float64) float64 {
	x = slices.Clone(x)
	slices.Sort(x)
	return middle(x)
}

// medianWithSD returns the median of x and its standard deviation: 1.2533 times
// that of a mean (normal values), with the scatter from the median absolute
// deviation. It sorts its argument.
func medianWithSD(x []float64, inflation float64) (median, sd float64) {
	slices.Sort(x)
	median = middle(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - median)
	}
	slices.Sort(d)
	return median, 1.2533 * 1.4826 * middle(d) * math.Sqrt(inflation/float64(len(x)))
}

// middle is the median of sorted values.
func middle(x []float64) float64 {
	n := len(x)
	return x[(n-1)/2]/2 + x[n/2]/2
}

func sign(x float64) int {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}
