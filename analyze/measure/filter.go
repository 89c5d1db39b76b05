package measure

import (
	"math"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// FilterHalf is by how much of a conversion, at most, a step is misplaced that is placed as a
// plain mean over the conversion shows it, where the converter's filter has not been measured:
// by the calculation in this package's tests for a plain mean over any part of the conversion
// that is not much shorter, for two, three or four means one after the other in one conversion,
// and for all that lies between these. Four means are the worst.
const FilterHalf = 0.2148

// lastMean is how much of a conversion the filters reckoned with leave out at its beginning.
const lastMean = 0.2

// unshown is in how much of a conversion, at its beginning or its end, such a filter hides a
// step beyond what a plain mean does. Of a step, a share up to unit cannot be told from none:
// four means one after the other show 32/3·x⁴ of one that is x of a conversion old.
func unshown(unit float64) float64 {
	return math.Min(FilterHalf, math.Max(lastMean, math.Sqrt(math.Sqrt(unit*3/32))-unit))
}

// filter places a step by the share of it that a conversion shows: by what has been measured
// of the converter, else as a plain mean does.
type filter struct{ measured *capture.Filter }

// age is how long before a conversion's end the step was, in conversions, of which it shows
// the share.
func (f filter) age(share float64) float64 {
	if f.measured == nil {
		return share
	}
	return f.measured.Age(share)
}

// spread is by how much of a conversion, at most, a step is misplaced whose share is wrong by
// half.
func (f filter) spread(share, half float64) float64 {
	if f.measured == nil {
		return half
	}
	age := f.measured.Age(share)
	return math.Max(f.measured.Age(share+half)-age, age-f.measured.Age(share-half))
}

// hidden is in how much of a conversion, at its end and at its beginning, a step is not shown
// of which a share of unit cannot be told from none. Either may be below 0, where a step is
// still shown by the conversion after it.
func (f filter) hidden(unit float64) (end, beginning float64) {
	if f.measured == nil {
		return unit + unshown(unit), unit + unshown(unit)
	}
	return f.measured.Age(unit), 1 - f.measured.Age(1-unit)
}

// doubt adds to a crossing what is not known of the filter; span is a conversion in seconds.
func (f filter) doubt(c *crossing, span float64) {
	if f.measured == nil {
		c.add(analyze.FilterUnknown, "U-shaped", FilterHalf, span)
		return
	}
	c.add(analyze.FilterMeasured, "normal", f.measured.Standard, span)
}

// middle is how long before a conversion's end lies, in conversions, what a slow edge shows in it.
func (f filter) middle() float64 {
	if f.measured == nil {
		return 0.5
	}
	return f.measured.Middle()
}

// hiddenWithin is the function of that name for a filter that was measured, of which an edge
// and its rest are followed by its response. Of what began before the conversion the one
// before it shows no more than unit.
func (f filter) hiddenWithin(share, gap, unit, tail, toMiddle float64) float64 {
	if f.measured == nil {
		return hiddenWithin(share, gap, tail, toMiddle)
	}
	age := f.measured.Age(share)
	begun := func(tau float64) float64 {
		const latest = 10 // time constants
		return where(age, age+latest*tau, func(s float64) float64 { return f.measured.Rounded(s, tau) - share })
	}
	tau := where(0, 1, func(tau float64) float64 {
		s := begun(tau)
		return math.Max(f.measured.Rounded(s-1-gap, tau)-unit, 1-f.measured.Rounded(s+1+gap, tau)-tail)
	})
	return math.Max((1-toMiddle)*tau, math.Abs(begun(tau)-age-toMiddle*tau))
}
