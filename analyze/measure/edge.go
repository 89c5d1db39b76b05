package measure

import (
	"math"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// What samples must show of an edge to be taken as one edge's.
const (
	// fits is how far a sample may lie off a line or an exponential, as a share of the step.
	fits = 0.015
	// bends is how far a sample may lie off the straight line through the two before it, as a
	// share of the step, to show that nothing happened meanwhile.
	bends = 0.01
	// unseen is for how many sampling intervals an output may bounce between values that show
	// nothing of it.
	unseen = 3
	// mostSamples bounds how many samples of one edge are looked at. A line between two of more
	// of them tells all that there is to know.
	mostSamples = 1 << 14
	// resolved is how many samples between 10 % and 90 % make a transition's duration a figure
	// where they fit no one edge: fewer may belong to an output that bounces or rings, and rise
	// by chance.
	resolved = 8
)

// edge is the samples of an output's change of state, as shares of the step: 0 is the state
// before, 1 the state after. A state may be left and come back, ring, or be reached by steps.
type edge struct {
	at    []float64 // seconds after the instant that they are asked relative to
	share []float64
	span  float64 // seconds over which each is a mean, 0: values, or not known
	noise float64 // standard deviation of one, as a share
	dense bool    // there are more than mostSamples, and these are not all
}

// edgeAround takes the samples around one at an edge, which lies in from..to: from where the
// output was last in the state before, bounce included, to where it has come into the one after.
func edgeAround(tr *capture.Trace, from, at, to, zero capture.Instant, before, after, noise, span float64) edge {
	e := edge{at: make([]float64, 0, 64), share: make([]float64, 0, 64), span: span, noise: noise}
	begin := max(from, at.Add(-edgeTime))
	for ; begin > from; begin = max(from, begin-2*(at-begin)) {
		if v, ok := firstIn(tr, begin, at); ok && (v-before)/(after-before) < e.small() {
			break
		}
	}
	begun, past := false, 0
	for ts, vs := range tr.Blocks(begin, to) {
		for i, v := range vs {
			if !reading(v) {
				continue
			}
			share := (float64(v) - before) / (after - before)
			if begun = begun || share < e.small() || ts[i] >= int64(at); !begun {
				continue // still the edge before
			}
			e.at, e.share = append(e.at, float64(ts[i]-int64(zero))*1e-9), append(e.share, share)
			if ts[i] >= int64(at) && share > 1-e.small() || past > 0 {
				past++
			}
			if e.dense = len(e.at) == mostSamples; e.dense || past > 2*reach {
				return e
			}
		}
	}
	return e
}

// small is the share of the step by which a sample may lie off its state.
func (e edge) small() float64 { return math.Max(cleanShare, math.Min(5*e.noise, 0.2)) }

// margin is by how much noise may lift a sample beyond a reference level.
func (e edge) margin() float64 { return math.Max(leastShare, 3*e.noise) }

// first returns the first sample from i on that is past the level; len(e.share) if none is.
func (e edge) first(i int, level float64) int {
	for i = max(0, i); i < len(e.share) && e.share[i] < level; i++ {
	}
	return i
}

// visible is what a sample must lie off its state, as a share of the step, to show that the
// output left it.
func (e edge) visible() float64 { return math.Max(0.01, 6*e.noise) }

// blip returns the first sample, up to k, that shows the output out of the state before and
// that a later one up to k contradicts; k if there is none.
func (e edge) blip(k int) int {
	lowest := math.Inf(1)
	first := k
	for i := min(k, len(e.share)-1); i >= 0; i-- {
		if e.share[i] > e.visible() && lowest < e.share[i]-e.visible() {
			first = i
		}
		lowest = math.Min(lowest, e.share[i])
	}
	return first
}

// twofold reports whether the output was seen to be on its way for longer than a step is, or an
// edge that is nearly one: before a conversion that lacks much of the state after, another shows
// that it had left the one before.
func (e edge) twofold() bool {
	k := e.first(0, 0.5)
	for i := k - 1; i <= k; i++ {
		if i > 0 && i < len(e.share) && e.share[i-1] > e.visible() && 1-e.share[i] > shortEdge {
			return true
		}
	}
	return false
}

// rings reports whether the samples past k go beyond the state after and then fall short of it.
func (e edge) rings(k int) bool {
	most, over, short := math.Max(2*bends, 4*e.noise), false, false
	for i := k; i < len(e.share); i++ {
		switch s := e.share[i] - 1; {
		case s > 0.5:
			return true // no sag and no coil's diode goes so far
		case s > most:
			over = true
		case s < -most && over:
			short = true
		}
	}
	return short
}

// rough reports whether sample i does not go on as the two before it do.
func (e edge) rough(i int) bool {
	if i < 2 {
		return true
	}
	return math.Abs(e.share[i]-2*e.share[i-1]+e.share[i-2]) > math.Max(bends, 3*math.Sqrt(6)*e.noise)
}

// begins is when what sample i shows can have begun.
func (e edge) begins(i int) float64 {
	switch {
	case i < 0 || i >= len(e.at):
		return math.NaN()
	case e.span > 0:
		return e.at[i] - e.span
	case i == 0:
		return e.at[0]
	}
	return e.at[i-1]
}

// passes returns between which instants a rise that never goes back passes the level: after the
// last sample below it and before the first one above. A mean below it may hold a part above, at
// its end, and one above it a part below, at its beginning: how much follows from the samples
// next to them, which such a rise cannot undercut or exceed.
func (e edge) passes(level float64) (earliest, latest float64, ok bool) {
	lo, hi := e.first(0, level-e.margin()), e.first(0, level+e.margin())
	if lo < 1 || hi >= len(e.share) {
		return 0, 0, false
	}
	earliest, latest = e.at[lo-1], e.at[hi]
	over := e.span
	if over == 0 { // nothing says that they are no means over their interval
		over = e.at[lo] - e.at[lo-1]
	}
	floor := 0.0
	if lo > 1 {
		floor = math.Max(0, math.Min(e.share[lo-2], e.share[lo-1]))
	}
	hidden := (e.share[lo-1] - floor) / (level - floor)
	if e.span == 0 {
		return earliest - over*clamp(hidden), latest, true
	}
	earliest -= over * clamp(hidden+FilterHalf)
	top := 1.0
	for _, s := range e.share[hi:] {
		top = math.Max(top, s)
	}
	latest -= e.span * clamp((e.share[hi]-e.margin()-level)/(top-level)-FilterHalf)
	return earliest, math.Max(earliest, latest), true
}

func clamp(x float64) float64 { return math.Max(0, math.Min(1, x)) }

// crossing returns between which instants the output first passed the middle, and whether it
// bounced. An output that bounces over several conversions may have been there in the first of
// these that shows anything of it, whether or not a later one falls short; one that is there
// soon after it left is taken for a rise that never goes back.
func (e edge) crossing() (earliest, latest float64, bounced, ok bool) {
	earliest, latest, ok = e.passes(0.5)
	if !ok {
		return 0, 0, false, false
	}
	k := e.first(0, 0.5-e.margin())
	back := e.back(e.first(0, 0.5+e.margin()))
	if bounced = back > 0; bounced && e.span == 0 {
		if !e.brief(k) {
			return earliest, latest, true, true
		}
		// As long as it was seen to bounce, it may have bounced unseen before.
		step := e.at[k] - e.begins(k)
		earliest = math.Min(earliest, e.begins(k)-math.Max(step, math.Min(back, unseen*step)))
	}
	i := e.blip(k)
	if i < k {
		earliest, bounced = math.Min(earliest, e.begins(i)), true
	}
	if bounced && e.span > 0 { // all of its crossings lie in conversions between the states
		for j := k; j < len(e.share); j++ {
			if e.share[j] < 1-e.visible() {
				latest = math.Max(latest, e.at[j])
			}
		}
	}
	rings := e.rings(k)
	if e.span > 0 && rings && !bounced {
		// Within a conversion it may go far beyond the state after.
		latest = e.at[e.first(0, 0.5+e.margin())]
	}
	if e.span > 0 && (bounced || e.twofold()) || rings {
		for i--; i > 0 && e.share[i] > e.visible() && e.rough(i); i-- {
			earliest = math.Min(earliest, e.begins(i))
		}
	}
	return earliest, latest, bounced, true
}

// back returns for how long after sample k the output was seen to go back to the state before,
// in seconds from what comes before k; 0 if it was not.
func (e edge) back(k int) float64 {
	last := -1
	for i := k + 1; i < len(e.share); i++ {
		if e.share[i] < 0.5-e.margin() {
			last = i
		}
	}
	if last < 0 {
		return 0
	}
	return e.at[last] - e.begins(k)
}

// brief reports whether a spell between sample k and the last one in the state before is seen by
// so few samples that others may have been missed.
func (e edge) brief(k int) bool {
	run := 1
	for i := k + 1; i < len(e.share) && e.at[i] <= e.begins(k)+e.back(k); i++ {
		if run++; (e.share[i] < 0.5) != (e.share[i-1] < 0.5) {
			if run <= unseen {
				return true
			}
			run = 1
		}
	}
	return run < unseen
}

// bounces reports whether the output was seen to leave the state before, to come back and to
// leave it again.
func (e edge) bounces() bool {
	k := e.first(0, 0.5-e.margin())
	return e.blip(k) < k || e.back(e.first(0, 0.5+e.margin())) > 0
}

// smooth reports whether the samples around sample k go on nearly as straight as it and the one
// before: a line between these two is then near what lies between them. Means hide more.
func (e edge) smooth(k int) bool {
	reach := 1
	if e.span > 0 {
		reach = 2
	}
	if k-reach < 1 || k+reach >= len(e.share) {
		return false
	}
	rise := e.share[k] - e.share[k-1]
	for i := k - reach; i <= k+reach; i++ {
		if math.Abs(e.share[i]-e.share[i-1]-rise) > rise/2 {
			return false
		}
	}
	return rise > 0
}

// crossed places a crossing of which the samples show only between which instants it was, if
// they do.
func (e edge) crossed() (crossing, bool) {
	earliest, latest, bounced, ok := e.crossing()
	if !ok {
		return crossing{}, false
	}
	c := crossing{at: (earliest + latest) / 2}
	source := analyze.SamplingInterval // of samples closer together there would be more to tell
	if bounced {
		source = analyze.OutputBounces
	}
	// An output that bounces is there at the beginning of that: both ends must be in the 95 %.
	c.add(source, "rectangular", (latest-earliest)/2/0.95, 1)
	return c, true
}

// restless reports whether the output left its new state again.
func (e edge) restless() bool { return e.bounces() || e.rings(e.first(0, 0.5)) }

// single reports whether the samples are those of one edge: a line or an exponential. Where
// there are too few to tell they are not.
func (e edge) single() bool {
	if e.first(0, 0.5) >= len(e.share) || e.restless() {
		return false
	}
	first, last := e.between()
	return e.exponential(first) || e.line(first, last)
}

// between returns the first and the last sample that lie between the states.
func (e edge) between() (first, last int) {
	off := math.Max(leastShare, 4*e.noise)
	k := e.first(0, 0.5)
	for first = k; first > 0 && e.share[first-1] > off; first-- {
	}
	for last = k; last < len(e.share)-1 && e.share[last] < 1-off; last++ {
	}
	return first, last - 1
}

func (e edge) tolerance() float64 { return math.Max(fits, 4.5*e.noise) }

// aims are what an exponential on its way from 0 may go towards: to 1, or, as long as a coil's
// current lags behind or its diode conducts, beyond or short of it.
var aims = [...]float64{1, 0.94, 0.96, 0.98, 1.02, 1.04, 1.06, 1.08, 1.1, 1.13, 1.16, 1.2}

// exponential reports whether samples from the first between the states on are those of
// 1-exp(-t/tau), or its means: what they lack then falls by one ratio. The first one may hold
// its beginning, and is the check on it.
func (e edge) exponential(first int) bool {
	for i, aim := range aims {
		free := 2
		if i > 0 {
			free = 3
		}
		if e.exponentialTo(first, aim, free) {
			return true
		}
	}
	return false
}

// exponentialTo does so for one aim. free is how many samples behind the first leave no choice.
func (e edge) exponentialTo(first int, aim float64, free int) bool {
	var w, wx, wy, wxx, wxy float64
	n := 0
	for i := first + 1; i <= e.fitted(); i++ {
		lack := aim - e.share[i]
		if lack < math.Max(0.01, 6*e.noise) {
			break
		}
		x, y, q := e.at[i]-e.at[first], math.Log(lack/aim), lack*lack
		w, wx, wy, wxx, wxy = w+q, wx+q*x, wy+q*y, wxx+q*x*x, wxy+q*x*y
		n++
	}
	if n < free {
		return false
	}
	slope := (w*wxy - wx*wy) / (w*wxx - wx*wx)
	if !(slope < 0) {
		return false
	}
	tau := -1 / slope
	begun := e.at[first] + tau*(wy-slope*wx)/w
	if e.span > 0 { // a mean lacks (tau/span)·(exp(span/tau)-1) of what its end does
		begun -= tau * math.Log(tau/e.span*math.Expm1(e.span/tau))
	}
	area := func(t float64) float64 {
		if t <= 0 {
			return 0
		}
		return t + tau*math.Expm1(-t/tau)
	}
	return e.follows(first, func(t float64) float64 {
		if e.span > 0 {
			return aim * (area(t-begun) - area(t-begun-e.span)) / e.span
		}
		return -aim * math.Expm1(-math.Max(0, t-begun)/tau)
	})
}

// fitted is the last sample that must be one edge's: the second one past 90 %, as long as the
// state after is not reached.
func (e edge) fitted() int {
	i := e.first(0, 0.9)
	if i+1 < len(e.share) && e.share[i] < 0.93 {
		i++
	}
	return min(i, len(e.share)-1)
}

// line reports whether samples between the states are those of a straight ramp, or its
// means. The outer ones, which may hold its beginning and its end, are the check on it.
func (e edge) line(first, last int) bool {
	lo, hi := first, last
	if e.span > 0 {
		lo, hi = first+1, last-1
	}
	if hi-lo < 1 || e.span == 0 && hi-lo < 2 {
		return false
	}
	var n, x, y, xx, xy float64
	for i := lo; i <= hi; i++ {
		dx := e.at[i] - e.at[lo]
		n, x, y, xx, xy = n+1, x+dx, y+e.share[i], xx+dx*dx, xy+dx*e.share[i]
	}
	slope := (n*xy - x*y) / (n*xx - x*x)
	if !(slope > 0) {
		return false
	}
	lasts := 1 / slope
	begun := e.at[lo] - (y-slope*x)/n*lasts - e.span/2 // a mean stands for its middle
	area := func(t float64) float64 {
		switch {
		case t <= 0:
			return 0
		case t < lasts:
			return t * t / (2 * lasts)
		}
		return t - lasts/2
	}
	return e.follows(first, func(t float64) float64 {
		if e.span > 0 {
			return (area(t-begun) - area(t-begun-e.span)) / e.span
		}
		return clamp((t - begun) / lasts)
	})
}

// follows reports whether the samples from the one before the first between the states to 90 %
// are those of the model.
func (e edge) follows(first int, model func(t float64) float64) bool {
	for i := max(0, first-1); i <= e.fitted(); i++ {
		if math.Abs(model(e.at[i])-e.share[i]) > e.tolerance() {
			return false
		}
	}
	return true
}

// bounds are those of a transition's 10 % and of its 90 % instant, and whether the samples rise
// steadily, and closely enough, to say that it is no shorter than these let it be.
func (e edge) bounds() (ten, ninety [2]float64, steady, ok bool) {
	if e.span == 0 { // what bounced before is another transition
		i := e.first(0, 0.5)
		for i > 0 && i <= len(e.share) && (i == len(e.share) || e.share[i] >= 0.1-e.margin()) {
			i--
		}
		e.at, e.share = e.at[i:], e.share[i:]
	}
	var a, b bool
	ten[0], ten[1], a = e.passes(0.1)
	ninety[0], ninety[1], b = e.passes(0.9)
	if !a || !b {
		return ten, ninety, false, false
	}
	lo, hi := e.first(0, 0.1), e.first(0, 0.9)
	steady = hi-lo >= resolved && e.blip(hi) == hi
	return ten, ninety, steady, true
}

// straight reports whether values rise closely and smoothly enough for lines between them to tell
// where a transition begins and ends.
func (e edge) straight() bool {
	_, _, steady, ok := e.bounds()
	return ok && steady && e.span == 0 && e.smooth(e.first(0, 0.1)) && e.smooth(e.first(0, 0.9))
}
