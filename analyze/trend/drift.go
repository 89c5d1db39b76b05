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
	// P is the probability of as clear a drift, either way, in a quantity that does not
	// drift: Mann and Kendall's test. NaN where there are too few values.
	P float64 // probability, 0 to 1
	// Tau is Kendall's rank correlation of value and cycle, -1 to 1.
	Tau float64 // -1 to 1
	// Change is what the drift makes from the first to the last block, in the
	// quantity's unit.
	Change float64 // in the quantity's unit
	// Inflation is by how much the variance was taken larger because blocks depend on
	// their neighbours; 1 where they do not.
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
	l.inflation = inflation(residuals)
	l.variance = kendallVariance(ys) * l.inflation
	l.level, l.levelSD = medianWithSD(residuals, l.inflation)
	l.bound(slopes)
	return l, true
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

// p is the two-sided probability of S by the normal approximation with Kendall's
// continuity correction.
func (l *line) p() float64 {
	if l.variance == 0 {
		return 1
	}
	return 2 * distuv.UnitNormal.Survival(math.Max(0, math.Abs(float64(l.s))-1)/math.Sqrt(l.variance))
}

// steeper returns a standard normal deviate: how clearly the true slope is larger
// than b (negative: smaller). It is Kendall's S of the blocks less that slope
// (Theil's test turned round).
func (l *line) steeper(b float64) float64 {
	s := 0
	for i := range l.blocks {
		for j := i + 1; j < len(l.blocks); j++ {
			if dx := l.blocks[j].centre - l.blocks[i].centre; dx > 0 {
				s += sign(l.blocks[j].value - l.blocks[i].value - b*dx)
			}
		}
	}
	v := l.variance
	if v == 0 { // all blocks equal: S has no spread, take that of untied ones
		n := float64(len(l.blocks))
		v = n * (n - 1) * (2*n + 5) / 18
	}
	return float64(s-sign(float64(s))) / math.Sqrt(v)
}

// at is the line's height at a cycle.
func (l *line) at(cycle float64) float64 { return l.level + l.slope*(cycle-l.centre) }

// misfit is the sum of the blocks' distances from the line.
func (l *line) misfit() float64 {
	sum := 0.0
	for _, c := range l.blocks {
		sum += math.Abs(c.value - l.at(c.centre))
	}
	return sum
}

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

// inflation is Hamed and Rao's correction: by how much the variance of S is larger
// because neighbours depend on each other, from the autocorrelation of the ranks of
// what is left when the trend is taken out. Only lags at which it is significant
// at 95 % count, up to a quarter of the series. It is never below 1: where
// neighbours seem to repel each other, nothing is claimed from that.
func inflation(residuals []float64) float64 {
	r := ranks(residuals)
	n := len(r)
	mean := float64(n+1) / 2
	var total float64
	for i := range r {
		r[i] -= mean
		total += r[i] * r[i]
	}
	if total == 0 {
		return 1
	}
	fn := float64(n)
	sum, limit := 0.0, 1.959963984540054/math.Sqrt(fn)
	for lag := 1; lag <= n/4; lag++ {
		c := 0.0
		for i := lag; i < n; i++ {
			c += r[i] * r[i-lag]
		}
		if rho := c / total; math.Abs(rho) > limit {
			k := fn - float64(lag)
			sum += k * (k - 1) * (k - 2) * rho
		}
	}
	return math.Max(1, 1+2*sum/(fn*(fn-1)*(fn-2)))
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
