package survey

import (
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/rig/bench"
)

// Limiting says how limits are made of what was measured.
type Limiting struct {
	// Coverage is the share of all cycles of such a unit whose figures are all within their
	// limits, Confidence the probability of that, as far as figures are normally distributed.
	Coverage, Confidence float64 // shares
}

// limiter makes limits from the rows of a survey.
type limiter struct {
	Limiting
	rows  []analyze.Measurement
	steps []step
	// share is the share of the figures of one limit that must be within it, so that the share
	// of the cycles in which all are is as large as it should be (Bonferroni's inequality).
	share float64
	floor map[string]float64 // volts that the rig can tell apart, by output
}

// newLimiter counts how many figures of a cycle are judged.
func newLimiter(o Limiting, r *Report) *limiter {
	l := &limiter{Limiting: o, rows: r.rows, steps: r.steps, floor: r.floor}
	n := 0
	for i := range l.rows {
		if _, limited := limited[l.rows[i].Quantity]; limited {
			n++
		}
	}
	l.share = 1 - (1-o.Coverage)/float64(max(1, n/max(1, r.Cycles)))
	return l
}

// sides are those on which a quantity is limited.
type sides struct{ low, high bool }

// limited are the quantities that get limits. A relay may be quicker than it was, and a contact
// bounce less. A transition duration is a bound set by the sampling and says nothing of the unit.
var limited = map[analyze.Quantity]sides{
	analyze.HighLevel: {true, true}, analyze.LowLevel: {true, true}, analyze.Ripple: {false, true}, analyze.SwitchingDelay: {true, true},
	analyze.OperateTime: {false, true}, analyze.ReleaseTime: {false, true}, analyze.TransferTime: {true, true}, analyze.BounceTime: {false, true},
	analyze.Hold: {false, true},
}

// spread sums up the figures of a quantity of signals that are of steps which are wanted.
func (l *limiter) spread(q analyze.Quantity, wanted func(step string) bool, signals ...string) Spread {
	var values, expanded []float64
	for i := range l.rows {
		m := &l.rows[i]
		if m.Quantity == q && slices.Contains(signals, m.Signal) && m.Event != "" && finite(m.Value) && m.Bound() == analyze.NoBound && wanted(m.Event) {
			values, expanded = append(values, m.Value), append(expanded, m.Expanded)
		}
	}
	return spreadOf(values, expanded)
}

// doubted reports whether a quantity of an output could not always be measured, or only bounded:
// a limit would leave it undecided.
func (l *limiter) doubted(q analyze.Quantity, signal string) bool {
	return slices.ContainsFunc(l.rows, func(m analyze.Measurement) bool {
		return m.Quantity == q && m.Signal == signal && m.Event != "" && (!finite(m.Value) || m.Bound() != analyze.NoBound)
	})
}

// everyStep wants all.
func everyStep(string) bool { return true }

// limit is that of a quantity by what was measured: the tolerance interval, or what was seen
// where that reaches farther, and on either side twice the expanded uncertainty. Once, because
// the next figure may be off by that; and once more because a verdict keeps that distance from a
// limit. Below what the rig can tell apart no limit is set.
func (l *limiter) limit(q analyze.Quantity, s Spread, floor float64) analyze.Limit {
	none := analyze.NoLimit()
	if s.N < 2 {
		return none
	}
	low, high := s.Interval(l.share, l.Confidence)
	wide := floor
	if s.Expanded > 0 {
		wide = math.Max(wide, 2*s.Expanded)
	}
	low, high = outward(math.Min(low, s.Least)-wide, math.Max(high, s.Most)+wide)
	if x := limited[q]; !x.low {
		low = math.NaN()
	} else if !x.high {
		high = math.NaN()
	}
	if q == analyze.SwitchingDelay && low < 0 {
		low = 0
	}
	return analyze.Limit{Lower: low, Upper: high}
}

// floorOf is the least that the rig can tell apart: volts of a level, seconds of a contact.
func (l *limiter) floorOf(q analyze.Quantity, output string) float64 {
	if q.Unit() == "V" {
		return l.floor[output]
	}
	return 2 * bench.EdgeLatency.Seconds()
}

// outward rounds the ends of an interval away from it, to two digits of half its width.
func outward(low, high float64) (float64, float64) {
	half := (high - low) / 2
	if !(half > 0) {
		return low, high
	}
	grain := math.Pow(10, math.Floor(math.Log10(half))-1)
	return tidy(math.Floor(low/grain)*grain, grain), tidy(math.Ceil(high/grain)*grain, grain)
}

// tidy removes what arithmetic adds to a multiple of a grain.
func tidy(v, grain float64) float64 {
	scale := math.Pow(10, math.Max(0, -math.Floor(math.Log10(grain))))
	return math.Round(v*scale) / scale
}
