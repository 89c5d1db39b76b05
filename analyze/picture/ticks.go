package picture

import (
	"makebreak/rig/words"
	"math"
	"strconv"
)

// Ticks are our own 30 lines: a plotting package brings fonts and TeX along, and the
// small packages looked at (go-moremath's scale) place none at twos.

// oneTwoFive lists 1, 2 and 5 times the powers of ten from one number to another, both
// above 0.
func oneTwoFive(from, to float64) []float64 {
	var out []float64
	for power := int(math.Floor(math.Log10(from))); ; power++ {
		for _, k := range []float64{1, 2, 5} {
			x := k * math.Pow10(power)
			if x > to*(1+1e-9) {
				return out
			}
			if x >= from*(1-1e-9) {
				out = append(out, x)
			}
		}
	}
}

// mostTicks is how many ticks an even scale has at most, less one.
const mostTicks = 6

// tick is a mark on an axis.
type tick struct {
	value float64
	label string
}

// ticksOf are the ticks of an even scale from low to high: multiples of the smallest of
// 1, 2 and 5 times a power of ten that gives few enough. All have as many decimals.
func ticksOf(low, high float64) []tick { return ticksUpTo(mostTicks, low, high) }

// ticksUpTo are at most so many ticks, and one.
func ticksUpTo(most, low, high float64) []tick {
	if !(high-low > 0) || math.IsInf(high-low, 0) {
		return nil
	}
	step := oneTwoFive((high-low)/most, high-low)[0]
	decimals := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	var out []tick
	for n := math.Ceil(low/step - 1e-9); n*step <= high+1e-9*step; n++ {
		x := n * step
		label := strconv.FormatFloat(x+0, 'f', decimals, 64) // + 0: no -0
		if decimals == 0 && x >= 0 {
			label = words.Grouped(label)
		}
		out = append(out, tick{x, label})
	}
	return out
}

// cyclesOf are the ticks of a scale of cycles, which are whole numbers.
func cyclesOf(first int, last float64) []tick {
	if last-float64(first) >= mostTicks {
		return ticksOf(float64(first), last)
	}
	var out []tick
	for n := first; float64(n) <= last; n++ {
		out = append(out, tick{float64(n), words.Grouped(strconv.Itoa(n))})
	}
	return out
}

// thinSpace stands between thousands, as words.Grouped puts it.
const thinSpace = words.ThinSpace
