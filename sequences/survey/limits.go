package survey

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"makebreak/analyze"
	"makebreak/analyze/measure"
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
	rows []analyze.Measurement
	// phases are the times for which outputs that pulse or flash were high and low, each by itself.
	phases []analyze.Measurement
	steps  []step
	// share is the share of the figures of one limit that must be within it, so that the share
	// of the cycles in which all are is as large as it should be (Bonferroni's inequality).
	share float64
	floor map[string]float64 // volts that the rig can tell apart, by output
	// intervals are how far an output's samples are apart, in seconds.
	intervals map[string]float64
}

// newLimiter counts how many figures of a cycle are judged.
func newLimiter(o Limiting, r *Report) *limiter {
	l := &limiter{Limiting: o, rows: r.rows, phases: r.phases, steps: r.steps, floor: r.floor, intervals: r.intervals}
	n := len(l.phases)
	for i := range l.rows {
		q := l.rows[i].Quantity
		if _, limited := limited[q]; limited || q == analyze.PulseDuration || q == analyze.FlashingDuration {
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
	rows := l.rows
	if q == analyze.OnTime || q == analyze.OffTime {
		rows = l.phases
	}
	for i := range rows {
		m := &rows[i]
		if m.Quantity == q && slices.Contains(signals, m.Signal) && m.Event != "" && finite(m.Value) && m.Bound() == analyze.NoBound && wanted(m.Event) {
			values, expanded = append(values, m.Value), append(expanded, m.Expanded)
		}
	}
	return spreadOf(values, expanded)
}

// doubted reports whether a quantity of an output could not always be measured, or only bounded,
// or was told from so few samples that a limit would leave it undecided.
func (l *limiter) doubted(q analyze.Quantity, signal string) bool {
	return slices.ContainsFunc(l.rows, func(m analyze.Measurement) bool {
		return m.Quantity == q && m.Signal == signal && m.Event != "" && (!finite(m.Value) || m.Bound() != analyze.NoBound || fewSamples(&m))
	})
}

// fewSamples reports whether a level was told from so few samples that nothing says whether it was
// kept.
func fewSamples(m *analyze.Measurement) bool {
	return slices.ContainsFunc(m.Doubts, func(d analyze.Doubt) bool { return d.Code == analyze.PlainMean && d.Value < measure.FewHeld })
}

// everyStep wants all.
func everyStep(string) bool { return true }

// limit is that of a quantity by what was measured. Of fewer than two figures none is set.
func (l *limiter) limit(q analyze.Quantity, s Spread, output string) analyze.Limit {
	none := analyze.NoLimit()
	if s.N < 2 {
		return none
	}
	low, high := outward(l.reach(q, s, output))
	if x := limited[q]; !x.low {
		low = math.NaN()
	} else if !x.high {
		high = math.NaN()
	}
	if q == analyze.SwitchingDelay && low <= 0 {
		low = math.NaN() // it cannot be less than it takes to be told
	}
	return analyze.Limit{Lower: low, Upper: high}
}

// reach is between what figures of a quantity may lie for a verdict to pass them: the tolerance
// interval, or what was seen where that reaches farther, and on either side twice the expanded
// uncertainty. Once, because the next figure may be off by that; and once more because a verdict
// keeps that distance from a limit. It is no narrower than what the rig can tell apart.
//
// Few figures may all have been sampled at the same point of their edges. Where they differ by
// less than the sampling alone makes of it, that is what they differ by: its distribution is
// known, and no estimate.
func (l *limiter) reach(q analyze.Quantity, s Spread, output string) (low, high float64) {
	standard, expanded := l.sampling(q, output)
	if s.Expanded > expanded {
		expanded = s.Expanded
	}
	low, high = s.Least, s.Most
	if s.N > 1 {
		low, high = s.Interval(l.share, l.Confidence)
	}
	half := distuv.UnitNormal.Quantile((1+l.share)/2) * math.Sqrt(1+1/float64(s.N)) * standard
	low, high = math.Min(low, s.Mean-half), math.Max(high, s.Mean+half)
	floor := l.floorOf(q, output)
	wide := math.Max(floor, 2*expanded)
	if q == analyze.Ripple {
		wide = math.Max(wide, expanded+2*floor) // a step more of the converter adds one to it, and as much to its uncertainty
	}
	return math.Min(low, s.Least) - wide, math.Max(high, s.Most) + wide
}

// few reports whether figures are so few that their tolerance interval is wide for that alone.
func (l *limiter) few(s Spread) bool {
	const few, often = 6, 2 // figures; times what is set off for the uncertainty
	if s.N < 2 || s.N >= few {
		return false
	}
	low, high := s.Interval(l.share, l.Confidence)
	return high-low > often*4*math.Max(0, s.Expanded)
}

// sampling is what the sampling alone makes of a time: its standard deviation, and the expanded
// uncertainty that a figure of it may have, both in seconds. An edge lies anywhere within an
// interval; the difference of two is triangular, and the worst of several may be a whole interval.
func (l *limiter) sampling(q analyze.Quantity, output string) (standard, expanded float64) {
	i := l.intervals[output]
	switch q {
	case analyze.SwitchingDelay, analyze.OperateTime, analyze.ReleaseTime:
		return i / math.Sqrt(12), 0.95 * i / 2
	case analyze.PulseDuration, analyze.OnTime, analyze.OffTime, analyze.FlashingDuration:
		return i / math.Sqrt(6), i
	}
	return 0, 0
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
