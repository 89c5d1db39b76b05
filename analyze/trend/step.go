package trend

import "math"

// Step is a change of level from one cycle to the next, from the blocks of a run.
type Step struct {
	// At is the first cycle of the likeliest first block at the new level.
	At int
	// From and To bound the step's first cycle at 95 %, 0 where the run is steady.
	From, To int
	// Before and After are the median levels, Size is After less Before.
	Before, After, Size float64 // in the quantity's unit
	// P is the probability of as clear a step, either way, at one look at a quantity that
	// has none: Pettitt's test, whose approximation is on the safe side for few blocks,
	// over all kinds of noise that the blocks may have. NaN where there are too few values.
	P float64 // probability, 0 to 1

	index int     // of the first block at the new level
	k     float64 // Pettitt's statistic
}

// stepIn finds the likeliest step by Pettitt's test: U(t) = 2·(sum of the first t
// ranks) - t(n+1), K = max |U(t)|, p = 2·exp(-6K²/(n³+n²)).
func stepIn(b []block) (Step, bool) {
	n := len(b)
	if n < minBlocks {
		return Step{}, false
	}
	values := make([]float64, n)
	for i, c := range b {
		values[i] = c.value
	}
	sum, k, at := 0.0, 0.0, 1
	for i, r := range ranks(values)[:n-1] {
		sum += r
		t := float64(i + 1)
		if u := math.Abs(2*sum - t*float64(n+1)); u > k {
			k, at = u, i+1
		}
	}
	s := Step{index: at, k: k, At: b[at].first}
	s.relevel(b, at)
	fn, g := float64(n), groundOf(n)
	rest := cut(b, s.level)
	clearest := clearestStep(rest) // Pettitt's place leans to the middle, which would leave part of the step
	moved, course := g.take(rest), g.rise(clearest-1, clearest)
	// The slowest movement goes with the step, so it has no part in weighing the noise.
	l := leave(moved, course, g.kinds, 1)
	s.P = math.Min(1, l.mean(l.all, func(inflation float64) float64 {
		return 2 * math.Exp(-6*k*k/(fn*fn*(fn+1)*inflation))
	}))
	return s, true
}

func (s *Step) level(i int) float64 {
	if i < s.index {
		return s.Before
	}
	return s.After
}

// clearestStep is the first block at a new level, by least squares.
func clearestStep(x []float64) int {
	n, all := float64(len(x)), 0.0
	for _, v := range x {
		all += v / n
	}
	best, most, sum := 1, 0.0, 0.0
	for i, v := range x[:len(x)-1] {
		sum += v - all
		k := float64(i + 1)
		if d := sum * sum / (k * (n - k)); d > most {
			best, most = i+1, d
		}
	}
	return best
}
