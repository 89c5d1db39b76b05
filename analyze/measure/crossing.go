package measure

import (
	"math"
	"slices"
	"sync"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// A step whose samples next to it lie within this share of the amplitude of
// either state is taken as clean: it happened within one conversion.
const cleanShare = 0.04

// crossing is the instant at which an output crossed its mid reference level.
type crossing struct {
	at     float64 // seconds after the instant that it was asked relative to
	budget []gum.Component
	// clean says that the step was faster than the sampling can resolve; it took
	// at most bound seconds.
	clean bool
	bound float64
	step  float64 // between the samples on its two sides, seconds
	// edge is the samples of it where they are not those of one edge; else it has none.
	edge edge
	// chance is how probable it is that no mean over the stated time shows a step, 0 where
	// that was not asked; unseen says that none does, sharp that the step is too sharp for
	// means over that time. See Averaging.
	chance        float64
	unseen, sharp bool
}

// place puts a crossing between the samples around it. at is the time of a
// sample at the crossing, from the start of the state before it, before and after
// the state levels on its two sides.
//
// Where samples are means over a conversion, a clean step divides its conversion:
// with f the share of the step's amplitude that the mean shows, the step happened
// f·Span before the conversion's end by a plain mean, and the doubt that the filter may
// be another is added; where the converter's filter has been measured, the share's age by
// that. Where it fell between conversions, it may be anywhere in the gap. Where
// samples are instantaneous, or the edge is not clean, the instant is linearly
// interpolated (IEEE Std 181, reference level instants). Where samples that scatter
// cross a slow edge's middle back and forth, the instant is the middle between the
// first and the last crossing: either alone would be early or late.
//
// Where samples are only said to be means, a step that none of them shows leaves that open,
// see betweenSamples, and one that is too sharp for means is placed as between values.
func place(tr *capture.Trace, from, at, zero capture.Instant, before, after level) (crossing, bool) {
	if math.Abs(after.volts-before.volts) < leastTolerance {
		return crossing{}, false // no step: the levels are not those of two states
	}
	mid := (before.volts + after.volts) / 2
	conv := tr.Converter
	stayed, ok := tr.Together(at)
	if !ok || at == stayed.From && tr.Thinned(at) {
		return thinnedOut(tr, at, zero, mid, after.volts > before.volts)
	}
	from = max(from, stayed.From)
	spread := max(before.sigma, after.sigma, conv.StepVolts/math.Sqrt(12)) // rounding hides less noise than that
	e := edgeAround(tr, from, at, min(at.Add(longestSettling), stayed.To+1), zero, before.volts, after.volts, spread/math.Abs(after.volts-before.volts), conv.Span.Seconds())
	r := referenceInstant(tr, from, at+1, at, mid, after.volts > before.volts, true, margin(before, after))
	if r.spread > 0 && !e.bounces() {
		return scattered(tr.Converter, r, at.Sub(zero).Seconds()), true
	}
	w, ok := windowAt(tr, at, zero, before.volts, after.volts)
	if !ok { // a slow edge: the middle lies farther back
		if math.IsNaN(r.at) {
			return crossing{}, false
		}
		if w, ok = windowAt(tr, at.Add(time.Duration(r.at*1e9)), zero, before.volts, after.volts); !ok {
			return crossing{}, false
		}
	}
	var c crossing
	w.noise = spread / math.Abs(after.volts-before.volts)
	sharp := statedSpan(conv) && w.sharp(conv.Span.Seconds())
	if sharp {
		e.span = 0
	}
	clean := e.span > 0 && w.clean() && !e.twofold() || e.span == 0 && w.sudden()
	several := !e.dense && (e.restless() || !clean && !e.single())
	placed, only := e.crossed()
	switch {
	case e.span > 0 && w.single(before, after):
		c, several = w.between(w.k-1, w.k, e.span, analyze.SingleSample), false
	case e.span > 0 && clean && !several:
		c = w.withinConversion(conv, before, after)
	case several && only && !e.smooth(e.first(0, 0.5)):
		c = placed
	case e.span > 0:
		c = w.interpolated(filter{conv.Filter}.middle() * e.span)
		c.add(analyze.EdgeNotClean, "rectangular", math.Max(w.step, e.span)/4, 1)
	default:
		c = w.interpolated(0)
		c.add(analyze.SamplingInterval, "rectangular", w.step/2, 1)
		// Nothing says whether such samples are values or means over their interval,
		// which would stand for its middle.
		c.add(analyze.SamplesMayBeMeans, "rectangular", w.usualStep()/2, 1)
	}
	if !c.clean && spread > 0 {
		c.budget = append(c.budget, scattering(analyze.ScatterOfSamples, spread*w.slowness(), 1, before, after))
	}
	if several {
		c.edge, c.clean = e, false
	}
	c.step, c.sharp = w.step, sharp
	c.add(analyze.TimeStamp, "normal", conv.Stamp.Seconds(), 1)
	return c, !math.IsNaN(c.at)
}

// thinnedOut places a crossing of which the samples were thinned out: an output that took its
// time, or one whose crossings are too many for their samples to stay.
func thinnedOut(tr *capture.Trace, at, zero capture.Instant, mid float64, rising bool) (crossing, bool) {
	earliest, latest, ok := tr.Passing(at, mid, rising)
	if !ok {
		return crossing{}, false
	}
	c := crossing{at: (earliest + (latest-earliest)/2).Sub(zero).Seconds()}
	c.add(analyze.SamplingInterval, "rectangular", latest.Sub(earliest).Seconds()/2, 1)
	c.add(analyze.TimeStamp, "normal", tr.Converter.Stamp.Seconds(), 1)
	return c, true
}

// scattered places a crossing that scattering samples made several times.
func scattered(conv capture.Converter, r reference, at float64) crossing {
	c := crossing{at: at + r.at - filter{conv.Filter}.middle()*conv.Span.Seconds(), step: r.step}
	c.add(analyze.ScatterOfSamples, "rectangular", r.spread, 1)
	c.add(analyze.SamplingInterval, "rectangular", r.step/2, 1)
	c.add(analyze.TimeStamp, "normal", conv.Stamp.Seconds(), 1)
	return c
}

// add adds a line to the budget, from a half-width or, for a normal distribution, a
// standard deviation; none where that is 0.
func (c *crossing) add(source gum.Source, distribution string, half, sensitivity float64) {
	if half != 0 {
		c.budget = append(c.budget, gum.Line(source, distribution, half, sensitivity))
	}
}

// window is the samples next to a crossing: share[i] is sample i's way from the
// state before (0) to the state after (1), at[i] its time in seconds after zero.
// Sample k is the first past the middle.
type window struct {
	at    []float64
	share []float64
	volts []float64
	k     int
	// step is the time between the samples on both sides of the crossing.
	step          float64
	before, after float64
	// noise is the standard deviation of one sample, unseen what two samples may differ by
	// and pass for equal, both as shares of the step.
	noise, unseen float64
}

// reach is how many samples are looked at on each side.
const reach = 4

func windowAt(tr *capture.Trace, at, zero capture.Instant, before, after float64) (window, bool) {
	times, volts := readingsNear(tr, at, reach, reach)
	w := window{before: before, after: after, volts: volts, k: -1}
	for i, t := range times {
		w.at = append(w.at, float64(t-int64(zero))*1e-9)
		w.share = append(w.share, (volts[i]-before)/(after-before))
	}
	for i := 1; i < len(w.share); i++ {
		if w.share[i] >= 0.5 && w.share[i-1] < 0.5 {
			w.k = i
			// The crossing nearest to the one asked for.
			if times[i] >= int64(at) {
				break
			}
		}
	}
	if w.k < 1 {
		return w, false
	}
	w.step = w.at[w.k] - w.at[w.k-1]
	return w, true
}

// readingsNear returns up to the numbers of samples before the instant and from it
// on that are readings, of some more that it looks at.
func readingsNear(tr *capture.Trace, at capture.Instant, before, after int) (times []int64, volts []float64) {
	const more = 2
	ts, vs, n := tr.Near(at, more*before, more*after)
	earlier := 0
	for i, v := range vs {
		if !reading(float32(v)) {
			continue
		}
		if i < n {
			earlier++
		}
		times, volts = append(times, ts[i]), append(volts, v)
	}
	lo, hi := max(0, earlier-before), min(len(times), earlier+after)
	return times[lo:hi], volts[lo:hi]
}

// usualStep is the time between samples where none are missing, the median of those
// looked at, and no more than at the crossing.
func (w window) usualStep() float64 {
	steps := make([]float64, 0, 2*reach)
	for i := 1; i < len(w.at); i++ {
		steps = append(steps, w.at[i]-w.at[i-1])
	}
	slices.Sort(steps)
	return math.Min(w.step, steps[len(steps)/2])
}

// near returns sample i where it lies in the state (0: before the step, 1: after),
// and otherwise the state's settled level: right at the step the neighbouring
// samples follow a supply that sags under its load better than settled levels do.
func (w window) near(i int, state float64) float64 {
	if i >= 0 && i < len(w.share) && math.Abs(w.share[i]-state) < 0.2 {
		return w.volts[i]
	}
	return w.before + state*(w.after-w.before)
}

// clean reports whether the samples at the crossing can be one step seen by means:
// at most one of them lies between the states, and those next to it have arrived. A
// sample beyond its state's level has: a supply that sags or a coil's diode leaves it
// there. An edge much faster than a conversion looks the same as a step; see
// addHidden.
func (w window) clean() bool {
	small := w.small()
	arrived := func(i int) bool { return i >= len(w.share) || w.share[i] > 1-small }
	left := func(i int) bool { return i < 0 || w.share[i] < small }
	base, top := w.near(w.k-2, 0), w.near(w.k+1, 1)
	f0 := (w.volts[w.k-1] - base) / (top - base)
	f1 := (w.volts[w.k] - base) / (top - base)
	return left(w.k-2) && arrived(w.k+1) && (math.Abs(f0) < small || f1 > 1-small)
}

// small is the share of the step that a sample may lie off its state's level: no less than the
// samples scatter.
func (w window) small() float64 { return math.Max(cleanShare, math.Min(3*w.noise, 0.1)) }

// single reports whether a state is known from no more than the sample next to the crossing,
// which the step may divide.
func (w window) single(before, after level) bool {
	at := func(i int, state float64) bool {
		return i >= 0 && i < len(w.share) && math.Abs(w.share[i]-state) < w.small()
	}
	return before.n == 1 && !at(w.k-2, 0) || after.n == 1 && !at(w.k+1, 1)
}

// between places a crossing anywhere from the beginning of one conversion to the end of
// another.
func (w window) between(first, last int, span float64, source gum.Source) crossing {
	from, to := w.at[first]-span, w.at[last]
	c := crossing{at: (from + to) / 2}
	c.add(source, "rectangular", (to-from)/2, 1)
	return c
}

// leastShare is the least share of a step's amplitude, at either end of a
// conversion, that can be told from none.
const leastShare = 0.002

// withinConversion places a clean step inside the conversion that it divides.
func (w window) withinConversion(conv capture.Converter, before, after level) crossing {
	span := conv.Span.Seconds()
	amplitude := math.Abs(after.volts - before.volts)
	noise := w.noise
	w.unseen = 2*math.Sqrt2*noise + 2*conv.StepVolts/amplitude
	unit := math.Max(3*math.Sqrt2*noise, leastShare) // two samples' difference
	gap := math.Max(0, w.step-span)

	touching := gap < span/20
	d, early := w.divided(w.k-1, touching), 0.0
	if first := d.f; first <= unit || touching && first < 1-w.share[w.k] {
		// The first past the middle shows more of the edge. What the one before it shows
		// belongs to the edge as well.
		d = w.divided(w.k, touching)
		if first > unit {
			early = first
		}
	}
	f := filter{conv.Filter}
	if f.measured == nil {
		d.f += early
	}
	c := crossing{clean: true, bound: span}
	if statedSpan(conv) {
		shadow := math.Max(0, w.step-span+2*unshown(unit)*span)
		c.chance = math.Min(1, (shadow+(2*math.Max(unit, conv.StepVolts/amplitude)+d.hides)*span)/w.step)
	}
	if early == 0 && (d.f > 1-unit || d.f <= unit) || d.f > 1-unit && f.measured == nil {
		c.betweenConversions(w, f, span, gap, unit+d.doubt)
		return c
	}
	age := f.age(d.f)
	if early > 0 && f.measured != nil { // by either of the two conversions
		other := 1 + f.age(early)
		c.add(analyze.HiddenEdge, "rectangular", math.Abs(age-other)/2, span)
		age = (age + other) / 2
	}
	c.at = d.end - age*span
	if noise > 0 {
		deviation := f.spread(d.f, noise*math.Sqrt(1+d.f*d.f+(1-d.f)*(1-d.f)))
		c.budget = append(c.budget, scattering(analyze.ConversionMean, deviation, span, before, after))
	}
	c.add(analyze.ConversionTime, "normal", conv.SpanRel, age*span)
	c.add(analyze.StepShape, "rectangular", f.spread(d.f, d.doubt+leastShare), span)
	f.doubt(&c, span)
	if touching {
		gap = 0
	}
	c.bound += 2 * gap // it may have begun in the one and ended in the other
	if early == 0 || f.measured == nil {
		c.addHidden(f, d, gap/span, unit, 2*conv.StepVolts/amplitude, span)
	}
	return c
}

// betweenConversions places a step that neither conversion shows: it fell into the gap, or
// onto the border.
func (c *crossing) betweenConversions(w window, f filter, span, gap, unit float64) {
	c.unseen = true
	if c.chance > 0 && c.chance < rareBorder {
		c.betweenSamples(w, (unit+unshown(unit))*span)
		return
	}
	end, beginning := f.hidden(unit)
	half := math.Max(gap/2+(end+beginning)/2*span, leastShare*span)
	c.at = w.at[w.k] - span - gap/2 + (beginning-end)/2*span
	c.bound = 2 * half
	c.add(analyze.ConversionGap, "rectangular", half, 1)
	if f.measured != nil {
		f.doubt(c, span)
	}
}

// rareBorder is the chance of falling onto the border between two conversions below which a
// step that seems to have done so leaves it open whether the samples are means at all, where
// that is only stated.
const rareBorder = 1.0 / 2

// hiddenSag is how much of a conversion a sag may hide that is over before the next one shows
// it: sagMost of the step, with a time constant of a quarter of a conversion.
const hiddenSag = sagMost / 4

// betweenSamples places a step that no sample shows: on the border that the later conversion
// begins with, or, where the samples are values at an instant, anywhere between the two. The
// border lies at the end of that and must be in a rectangular distribution's 95 %.
func (c *crossing) betweenSamples(w window, border float64) {
	c.at, c.bound = w.at[w.k]-w.step/2, w.step
	c.add(analyze.SamplesMayBeValues, "rectangular", (w.step/2+border)/0.95, 1)
}

// addHidden adds the doubt that what looks like a step was an edge 1-exp(-t/tau) too
// fast to be seen. gap, in conversions, is from one to the next; unseen is how much of
// the amplitude the next one could lack without showing it.
func (c *crossing) addHidden(f filter, d division, gap, unit, unseen, span float64) {
	tail := d.tail + unseen + leastTail
	half, distribution := f.hiddenWithin(d.f, gap, unit, tail, d.toMiddle), "rectangular"
	source := analyze.HiddenEdge
	if gap > 0 {
		// What is seen of the edge fixes tau, more or less: it was a step, or all of the
		// half-width is true.
		half, distribution = math.Max(half, hiddenBefore(1-d.f, gap, tail, d.toMiddle)), "U-shaped"
		source = analyze.HiddenEdgeSwept
	}
	c.add(source, distribution, half, span)
}

// HiddenWhenFollowed is the half-width, in conversions, that HiddenEdge has at most where a
// coil's diode takes the level a tenth of the step beyond, so that the middle lies at 0.45 of it.
var HiddenWhenFollowed = sync.OnceValue(func() float64 {
	most := 0.0
	for f := 0.05; f < 1; f += 0.05 {
		most = math.Max(most, hiddenWithin(f, 0, diodeShare, -math.Log1p(-0.45)))
	}
	return most
})

// leastTail is the least rest of a step's amplitude that is told from none, however
// quiet and fine the samples are.
const leastTail = 0.0002

// hiddenWithin returns by how much, at most, an edge 1-exp(-t/tau) is misplaced that
// begins within a conversion and divides it as a step does with the share f of it
// after the step. All lengths are in conversions, the gap to the next one too; tail
// is the most of the amplitude that the next one could lack.
//
// With s from the beginning to the conversion's end, f = s - tau·(1-exp(-s/tau)), and
// the next one lacks tau·exp(-(s+gap)/tau)·(1-exp(-1/tau)), which bounds tau. The edge
// passes the mid reference level at toMiddle·tau, and the step of the same mean is
// where the edge's mean delay lies, at tau.
func hiddenWithin(f, gap, tail, toMiddle float64) float64 {
	begun := func(tau float64) float64 {
		return where(f, f+tau, func(s float64) float64 { return s + tau*math.Expm1(-s/tau) - f })
	}
	tau := where(0, 1, func(tau float64) float64 {
		return tau*math.Exp(-(begun(tau)+gap)/tau)*-math.Expm1(-1/tau) - tail
	})
	return math.Max((1-toMiddle)*tau, math.Abs(begun(tau)-f-toMiddle*tau))
}

// hiddenBefore does so for an edge that began in the gap before a conversion, which
// lacks tau·exp(-began/tau)·(1-exp(-1/tau)), and the next one exp(-(1+gap)/tau) of
// that; seen is how much more the first lacks than the next. The longer the time
// constant, the earlier it began and the later it is placed.
func hiddenBefore(seen, gap, tail, toMiddle float64) float64 {
	if seen <= 0 {
		return 0
	}
	lack := func(tau float64) float64 { return seen / -math.Expm1(-(1+gap)/tau) }
	began := func(tau float64) float64 { return tau * math.Log(tau*-math.Expm1(-1/tau)/lack(tau)) }
	const slowest = 1.5 // conversions: one that is not seen to take longer than its conversion
	tau := where(0, slowest, func(tau float64) float64 { return lack(tau)*math.Exp(-(1+gap)/tau) - tail })
	tau = where(0, tau, func(tau float64) float64 { return began(tau) - gap })
	return seen + began(tau) - toMiddle*tau
}

// where returns where a rising function passes 0, to a millionth of the way; hi where
// it does not. An edge of more than one conversion is seen.
func where(lo, hi float64, f func(float64) float64) float64 {
	for range 20 {
		if mid := (lo + hi) / 2; f(mid) < 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// decayMatch is how well a decay must aim at the settled level, as a share of its
// way there.
const decayMatch = 0.15

// sagMost is how much of the step a decay after it may be.
const sagMost = 0.08

// division is a conversion divided by a step.
type division struct {
	end   float64 // of the conversion, seconds
	f     float64 // the share of it that lies after the step
	doubt float64 // half-width of f, from levels that move
	tail  float64 // how much the next conversion lacks, see lacking
	// toMiddle is after how many of its time constants an edge 1-exp(-t/tau) between the
	// levels around it passes the mid reference level: ln 2, or sooner where a coil's
	// diode takes it beyond the settled level.
	toMiddle float64
	// hides is in how much of the conversion, at its beginning, a step is not shown because
	// the supply sags after it: the mean is then at the next one's level all the same.
	hides float64
}

// divided takes conversion i as the one that the step divides, with the full
// conversions next to it as the levels on both sides. Where those after it decay
// towards their level, as a supply sags while a coil's current rises, the decay is
// carried back into the part after the step: for means m1, m2, m3 over touching
// conversions the ratio r = (m2-m3)/(m1-m2) gives the exponential through them.
func (w window) divided(i int, touching bool) division {
	base, top := w.near(i-1, 0), w.near(i+1, 1)
	share := func(top float64) float64 { return (w.volts[i] - base) / (top - base) }
	d := division{end: w.at[i], f: share(top)}
	d1, d2 := top-w.near(i+2, 1), w.near(i+2, 1)-w.near(i+3, 1)
	r := d2 / d1
	d.tail = w.lacking(i, base, top)
	d.toMiddle = -math.Log1p(-math.Max(0.1, math.Min(0.5, ((w.before+w.after)/2-base)/(top-base))))
	still := math.Abs(d1) < leastShare*math.Abs(top-base)
	if d.hides = sagMost; still {
		d.hides = hiddenSag
	}
	if still || !touching || d.f <= 0 || d.f >= 1 {
		d.doubt = math.Abs(d1/(top-base)) * math.Max(0, math.Min(1, d.f))
		return d
	}
	settles := top - d1/(1-r)
	decays := r > 0.2 && r < 0.9 && math.Abs(top-w.after) < sagMost*math.Abs(top-base) &&
		math.Abs(settles-w.after) < decayMatch*math.Abs(top-w.after)
	if !decays {
		// No decay towards the settled level: the end of one (a coil's diode that stops
		// conducting), or noise.
		d.doubt = math.Abs(d1/(top-base)) * d.f
		return d
	}
	for range 3 { // the part's length depends on its level, slightly
		level := settles + d1/((1-r)*(1-r))*(math.Pow(r, -d.f)-1)/d.f
		d.f = math.Max(0.001, math.Min(1, share(level)))
		d.doubt = math.Abs((level-top)/(level-base)) * d.f / 4
	}
	return d
}

// lacking returns how much, at most, the conversion after a divided one, i, lacks of
// its level, as a share of the step: an edge that is not over lowers it, and a supply
// that sags raises it, so that either may hide the other. With e how far conversions
// i+1 to i+3 lie beyond the settled level, s of it a sag and l a lack, e = s - l. What
// the sag was at i+1 follows from what is left of it at i+2 and i+3: it falls as an
// exponential, and no faster than fastestSag, from sagMost at the edge.
func (w window) lacking(i int, base, top float64) float64 {
	e := [3]float64{} // beyond the settled level, as shares
	for n, v := range [...]float64{top, w.near(i+2, 1), w.near(i+3, 1)} {
		e[n] = (v - w.after) / (top - base)
	}
	period := w.at[min(i+1, len(w.at)-1)] - w.at[min(i, len(w.at)-2)]
	fastest := math.Exp(period / fastestSag.Seconds())
	var lack, sag float64
	for range 3 {
		// An edge's lack falls from i+1 to i+2 at least as steeply as it fell to i+1 before,
		// and one that passes for a step has a time constant of half a period at most.
		second := e[1] + lack*math.Min(math.Exp(-2), lack/shortEdge)
		sag = math.Min(sagMost, (math.Max(0, second)+w.unseen)*fastest)
		if r := e[2] / second; e[2] > w.unseen && second > e[2] {
			sag = math.Min(sag, second/r+2*w.noise*math.Sqrt(1+4/(r*r)+1/(r*r*r*r)))
		}
		sag = math.Max(sag, second+2*math.Sqrt2*w.noise)
		lack = math.Max(0, sag-e[0])
	}
	if e[0] > sag+leastShare && e[0]-e[1] > leastShare {
		// The level that a diode held is let go within the next conversion, which then
		// shows nothing of what this one lacks.
		return diodeShare
	}
	return lack
}

// shortEdge is what an edge of a fifth of a conversion lacks of its first one.
const shortEdge = 0.2

// fastestSag is the time constant from which on sags are followed back: L/R of a relay's coil,
// which takes its current from a supply, is 1 ms and more, but what else a supply does at a
// load may be quicker (common practice, no source). What a quicker sag than this one hides is
// covered as well, since it is nearly over when the next conversion begins.
const fastestSag = 500 * time.Microsecond

// diodeShare is by how much of a step the level may be unknown that a diode holds
// after it: 0.1 V of 14 V, by which a forward voltage may change with current and
// temperature (common practice, no source).
const diodeShare = 0.007

// interpolated places the crossing on the straight line between the two samples
// around it, whose times are taken early by shift, in seconds: a mean over a span
// stands for the span's middle.
func (w window) interpolated(shift float64) crossing {
	s0, s1 := w.share[w.k-1], w.share[w.k]
	c := crossing{at: w.at[w.k-1] + (0.5-s0)/(s1-s0)*w.step - shift}
	if w.sudden() {
		c.clean, c.bound = true, w.step
	}
	return c
}

// sudden reports whether there is no sample between 10 % and 90 %: the step is faster than the samples.
func (w window) sudden() bool { return w.share[w.k-1] < 0.1 && w.share[w.k] > 0.9 }

// slowness is the seconds that the edge takes for a volt, over the samples next to
// the crossing.
func (w window) slowness() float64 {
	n := len(w.at) - 1
	lo, hi := max(0, w.k-reach/2), min(n, w.k+reach/2-1)
	rise := math.Abs(w.volts[hi] - w.volts[lo])
	return (w.at[hi] - w.at[lo]) / math.Max(rise, math.Abs(w.after-w.before)*leastShare)
}

// duration measures the transition's 10 % to 90 % time around a crossing by linear
// interpolation, in seconds. It is false where either instant is not in the
// samples from..to.
func duration(tr *capture.Trace, from, at, to capture.Instant, before, after level) (transition, bool) {
	step := after.volts - before.volts
	m := margin(before, after)
	stayed, ok := tr.Together(at)
	if !ok {
		return transition{}, false
	}
	from, to = max(from, stayed.From), min(to, stayed.To+1)
	early := referenceInstant(tr, from, to, at, before.volts+0.1*step, step > 0, true, m)
	late := referenceInstant(tr, from, to, at, before.volts+0.9*step, step > 0, false, m)
	if math.IsNaN(early.at) || math.IsNaN(late.at) {
		return transition{}, false
	}
	t := transition{seconds: late.at - early.at, step: math.Max(early.step, late.step), spread: math.Hypot(early.spread, late.spread)}
	for i, r := range []reference{early, late} {
		if r.step == 0 {
			continue // two samples of one instant
		}
		slow, bend, corner := course(tr, at.Add(time.Duration(r.at*1e9)))
		if q := 2 * tr.Converter.StepVolts; q > m { // two samples differ by whole steps, or not at all
			level := before.volts + [2]float64{0.1, 0.9}[i]*step
			below := referenceInstant(tr, from, to, at, level-math.Copysign(q, step), step > 0, i == 0, m)
			above := referenceInstant(tr, from, to, at, level+math.Copysign(q, step), step > 0, i == 0, m)
			if wide := (above.at - below.at) / (2 * q); wide > slow {
				slow = wide
			}
		}
		longer := corner * rounded10(t.seconds/r.step)
		t.slowness, t.bends[i] = math.Hypot(t.slowness, slow), (bend+longer)*r.step/t.step
		t.longer += longer * r.step
	}
	return t, true
}

// transition is a duration, the time between samples at its ends, how much the
// samples' scatter spreads these, in seconds, and how far off a line between two samples may
// place each, as a share of that time. longer is what rounded corners add to it, slowness what a volt makes at
// both ends together, in seconds.
type transition struct {
	seconds, step, spread, longer, slowness float64
	bends                                   [2]float64
}

// course says how slowly samples pass an instant, in seconds per volt, and by what share of
// the time between two samples a line between them may misplace it (half-width). On a curve
// whose slope changes by a share r from one interval to the next, the line is off by up to
// r/8 of an interval to one side (a parabola's sagitta, textbook), which is r/16 about its
// middle. Where r is 1 the curve begins or ends between the two samples: corner is near 1
// there and soon falls to 0 elsewhere.
func course(tr *capture.Trace, at capture.Instant) (slow, bend, corner float64) {
	times, v := readingsNear(tr, at, 2, 2)
	if len(v) < 4 || v[2] == v[1] {
		return 0, 0, 0
	}
	rise := math.Abs(v[2] - v[1])
	r := math.Min(1, math.Max(math.Abs(v[2]-2*v[1]+v[0]), math.Abs(v[3]-2*v[2]+v[1]))/rise)
	return float64(times[2]-times[1]) * 1e-9 / rise, r / 16, r * r * r * r
}

// margin is how far samples scatter about a level, in volts: three standard
// deviations.
func margin(before, after level) float64 { return 3 * math.Max(before.sigma, after.sigma) }

// rounded10 is by how many intervals a line past a corner makes a transition of n intervals
// longer: by 0 to (1-√h)² of one, with h the time in intervals from the corner to where the
// transition passes 10 %; the middle of that. An RC takes ln(1/0.9)/ln 9 of its 10 % to 90 %
// for it (its own law, textbook), and what begins less abruptly takes longer.
func rounded10(n float64) float64 {
	h := math.Min(1, n*math.Log(1/0.9)/math.Log(9))
	return (1 - math.Sqrt(h)) * (1 - math.Sqrt(h)) / 2
}

// reference is where a reference level is crossed, in seconds after the sample asked
// from, and the time between the samples there. Where scattering samples cross it
// back and forth, it is the middle between the first and the last crossing, and
// spread half the time between them.
type reference struct{ at, step, spread float64 }

// referenceInstant finds the crossing of a reference level nearest to the mid
// crossing: the last one up to the sample after it where last is set, else the
// first one from the sample before it on. Samples scatter by margin, in volts.
func referenceInstant(tr *capture.Trace, from, to, at capture.Instant, volts float64, rising, last bool, margin float64) reference {
	if last {
		to = min(to, at+1)
	} else if times, _ := readingsNear(tr, at, reach, 0); len(times) > 0 {
		from = max(from, capture.Instant(times[len(times)-1]))
	}
	p := passage{found: reference{math.NaN(), math.NaN(), 0}, at: int64(at)}
	for ts, vs := range tr.Blocks(from, to) {
		for i, x := range vs {
			if !reading(x) {
				continue
			}
			over := float64(x) - volts
			if !rising {
				over = -over
			}
			p.take(ts[i], over, margin)
			if !last && over >= margin && p.crossed {
				return p.reference()
			}
		}
	}
	return p.reference()
}

// passage follows samples across a reference level; over is how far one lies past it.
type passage struct {
	found      reference
	at         int64
	first, end float64
	crossed    bool
	have       bool
	time       int64
	overBefore float64
}

func (p *passage) take(t int64, over, margin float64) {
	switch {
	case p.have && over >= 0 && p.overBefore < 0:
		step := float64(t-p.time) * 1e-9
		p.end = float64(p.time-p.at)*1e-9 - p.overBefore/(over-p.overBefore)*step
		if !p.crossed {
			p.first = p.end
		}
		p.crossed, p.found.step = true, step
	case over < -margin:
		p.settled()
	}
	p.time, p.overBefore, p.have = t, over, true
}

// settled ends a passage that went back: what comes is another one.
func (p *passage) settled() {
	if p.crossed {
		p.found = p.reference()
		p.crossed = false
	}
}

func (p *passage) reference() reference {
	if p.crossed {
		p.found.at, p.found.spread = (p.first+p.end)/2, (p.end-p.first)/2
	}
	return p.found
}
