package reliability

import "math"

// rootOfRising returns where a rising function of a positive number is 0, searched
// from a start up to a bound; ok is false where it is still below 0 there.
func rootOfRising(start, bound float64, f func(float64) float64) (x float64, ok bool) {
	lo, hi := start, start
	for f(hi) < 0 {
		if hi >= bound {
			return 0, false
		}
		lo, hi = hi, 2*hi
	}
	for f(lo) >= 0 {
		if lo < 1e-12 {
			return lo, true
		}
		lo, hi = lo/2, lo
	}
	return bisect(lo, hi, f), true
}

// bisect narrows down where f changes its sign between a point below 0 and one above.
func bisect(below, above float64, f func(float64) float64) float64 {
	for {
		mid := below/2 + above/2
		if mid <= math.Min(below, above) || mid >= math.Max(below, above) {
			return mid
		}
		if f(mid) < 0 {
			below = mid
		} else {
			above = mid
		}
	}
}

// edge walks from x, where f is above 0, in steps that grow, until f falls below 0,
// and returns where it is 0. It returns an infinity of the step's sign where f
// stays above.
func edge(x, step float64, f func(float64) float64) float64 {
	inner := x
	for outer := x + step; math.Abs(outer-x) < 600; outer = x + step {
		if !(f(outer) > 0) {
			return bisect(outer, inner, f)
		}
		inner = outer
		step *= 1.5
	}
	return math.Copysign(math.Inf(1), step)
}
