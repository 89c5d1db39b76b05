package trend

import "math"

const (
	// clearly is how many times as well a drift must explain the blocks as a step, or the
	// reverse, before it is named alone.
	clearly = 20
	// placed is the probability that a step lies between the cycles given for it.
	placed = 0.95
	// unlikely is the weight below which a kind of noise is left out of a comparison.
	unlikely = 1e-3
)

// compare sets drifts against steps, with the noise not known: the logarithm of how many
// times as well drifts explain the blocks, and how likely each block is the first after a
// step. A drift goes over a quarter of the run or more, half of the weight on one over all
// of it; a step may come at any block.
func compare(b []block, line func(i int) float64, step *Step) (ratio float64, places []float64) {
	n := len(b)
	g := groundOf(n)
	level := step.level
	if misfit(b, line) < misfit(b, level) {
		level = line
	}
	values := g.take(cut(b, level))

	drift := leave(values, g.ramp, g.kinds, 0)
	drifts := []float64{drift.evidence + math.Log(0.5)}
	const parts = 4
	for from := range parts {
		for to := from + 1; to <= parts; to++ {
			if to-from < parts {
				l := leave(values, g.rise(from*(n-1)/parts, to*(n-1)/parts), g.kinds, 0)
				drifts = append(drifts, l.evidence-math.Log(2*(parts*(parts+1)/2-1)))
			}
		}
	}
	steps := g.steps(values, g.likely(values, drift, step.index))
	all := logSum(steps)
	places = make([]float64, n)
	for i := range steps {
		places[i+1] = math.Exp(steps[i] - all)
	}
	return logSum(drifts) - (all - math.Log(float64(n-1))), places
}

// likely are the kinds of noise that have weight beside a drift, or beside a step at a block.
func (g *ground) likely(values []float64, drift left, at int) []kind {
	step := leave(values, g.rise(at-1, at), g.kinds, 0)
	var out []kind
	for i := range g.kinds {
		if drift.noises == nil || drift.noises[i].weight > unlikely || step.noises[i].weight > unlikely {
			out = append(out, g.kinds[i])
		}
	}
	return out
}

// steps are the logarithms of the likelihood of a step at each block but the first.
func (g *ground) steps(values []float64, kinds []kind) []float64 {
	n := len(values) + 1
	whole := make([]float64, len(kinds)) // what is there to explain
	for i := range kinds {
		for j, p := range kinds[i].power {
			whole[i] += values[j] * values[j] / p
		}
	}
	logs := make([]float64, len(kinds))
	out := make([]float64, n-1)
	for at := 1; at < n; at++ {
		course := g.stepAt(at)
		for i := range kinds {
			var vc, cc float64
			for j, p := range kinds[i].power {
				vc += values[j] * course[j] / p
				cc += course[j] * course[j] / p
			}
			logs[i] = likelihood(&kinds[i], math.Max(whole[i]-vc*vc/cc, 1e-12*whole[i]), cc, float64(n-2))
		}
		out[at-1] = logSum(logs)
	}
	return out
}

// stepAt is the transform of a step by 1 at a block: that of rise, summed in closed form.
func (g *ground) stepAt(at int) []float64 {
	n := len(g.kinds[0].power) + 1
	out := make([]float64, n-1)
	for k := 1; k < n; k++ {
		sine := func(i int) float64 { return g.transform.cosine[((i-n)%(4*n)+4*n)%(4*n)] }
		out[k-1] = -math.Sqrt(2/float64(n)) * sine(2*k*at) / (2 * sine(k))
	}
	return out
}

// misfit is the sum of the blocks' distances from their levels.
func misfit(b []block, level func(i int) float64) float64 {
	sum := 0.0
	for i, c := range b {
		sum += math.Abs(c.value - level(i))
	}
	return sum
}

// place sets the step's likeliest place and the cycles between which it lies with the
// probability placed: the fewest blocks that have it, and all between them.
func (s *Step) place(b []block, places []float64) {
	best, first, last := 1, len(places), 0
	taken := make([]bool, len(places))
	for sum := 0.0; sum < placed; {
		at := -1
		for i := 1; i < len(places); i++ {
			if !taken[i] && (at < 0 || places[i] > places[at]) {
				at = i
			}
		}
		if at < 0 {
			break
		}
		if sum == 0 {
			best = at
		}
		taken[at] = true
		sum += places[at]
		first, last = min(first, at), max(last, at)
	}
	s.At, s.From, s.To = b[best].first, b[first-1].last+1, b[last].first
	if b[best].last > b[best].first { // it came within a block, or within the one before
		s.From, s.To = b[first-1].first+1, b[last].last
	}
	s.relevel(b, best)
}

// relevel takes the levels before and after a block.
func (s *Step) relevel(b []block, at int) {
	values := make([]float64, len(b))
	for i, c := range b {
		values[i] = c.value
	}
	s.index, s.Before, s.After = at, median(values[:at]), median(values[at:])
	s.Size = s.After - s.Before
}
