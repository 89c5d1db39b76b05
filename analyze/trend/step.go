package trend

import (
	"math"
	"slices"
)

// Step is a change of level from one cycle to the next, from the blocks of a run.
type Step struct {
	// At is the first cycle of the first block at the new level. The step happened
	// at most Within cycles before or after it.
	At, Within int
	// Before and After are the median levels, Size is After less Before.
	Before, After, Size float64 // in the quantity's unit
	// P is the probability of as clear a step, either way, in a quantity that has none:
	// Pettitt's test, whose approximation is on the safe side for few blocks. NaN
	// where there are too few values.
	P float64 // probability, 0 to 1

	index int // of the first block at the new level
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
	s := Step{index: at, At: b[at].first}
	// The blocks' values are sorted in place from here on, each side on its own.
	before, after := slices.Clone(values[:at]), slices.Clone(values[at:])
	slices.Sort(before)
	slices.Sort(after)
	s.Before, s.After = middle(before), middle(after)
	s.Size = s.After - s.Before
	s.Within = max(1, b[at].last-b[at-1].first)
	for i := range values {
		values[i] -= s.level(i)
	}
	fn := float64(n)
	s.P = math.Min(1, 2*math.Exp(-6*k*k/((fn*fn*fn+fn*fn)*inflation(values))))
	return s, true
}

func (s *Step) level(i int) float64 {
	if i < s.index {
		return s.Before
	}
	return s.After
}

// misfit is the sum of the blocks' distances from the two levels.
func (s *Step) misfit(b []block) float64 {
	sum := 0.0
	for i, c := range b {
		sum += math.Abs(c.value - s.level(i))
	}
	return sum
}
