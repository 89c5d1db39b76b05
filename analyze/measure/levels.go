package measure

import (
	"math"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// How a state is told from the samples. The figures are choices that IEEE Std
// 181 leaves to the user of the histogram method; they are stated here so that
// the results can be repeated.
const (
	bins = 100 // of the histogram, over the whole amplitude

	// leastStep is the least change in volts that counts as a change of state.
	leastStep = 2.0
	// leastTolerance and tolerance are how far a sample may lie from its state's
	// level, in volts and as a share of the amplitude, whichever is more, and still
	// belong to the state.
	leastTolerance = 1.0
	tolerance      = 0.05
	// hysteresis about the mid reference level, a share of the amplitude, so that
	// noise is not counted as crossings.
	hysteresis = 0.1
	// settling is the share of a state's time after a transition that is not used
	// for its level, and longestSettling bounds it.
	settling        = 0.25
	longestSettling = time.Second
	// edgeTime is how long before a crossing a state is no longer used for its level.
	edgeTime = 20 * time.Millisecond
	// fewest is the least number of settled samples that makes a histogram; with
	// fewer the level is their mean.
	fewest = 20
)

// extremes are the outermost samples of an interval.
type extremes struct {
	n      int
	lo, hi float64
	last   capture.Instant // when the last sample was taken
}

// reading reports whether a sample is one: a converter that gave none may leave a
// NaN, and an infinity is no voltage.
func reading(v float32) bool { return v-v == 0 }

func extremesOf(tr *capture.Trace, from, to capture.Instant) extremes {
	lo, hi := float32(math.Inf(1)), float32(math.Inf(-1))
	x := extremes{}
	for p := range tr.Pieces(from, to) {
		if d := p.Sum; d != nil {
			lo, hi = min(lo, float32(d.Low)), max(hi, float32(d.High))
			x.n += d.N
			x.last = d.To
			continue
		}
		ts, vs := p.At, p.V
		sum := float32(0)
		a, b := lo, hi
		for _, v := range vs {
			a, b = min(a, v), max(b, v)
			sum += v - v
		}
		if sum != 0 { // one or more are no readings
			x.careful(ts, vs, &lo, &hi)
			continue
		}
		lo, hi = a, b
		x.n += len(vs)
		x.last = capture.Instant(ts[len(ts)-1])
	}
	x.lo, x.hi = float64(lo), float64(hi)
	return x
}

// careful takes in a block of which some samples are no readings.
func (x *extremes) careful(ts []int64, vs []float32, lo, hi *float32) {
	for i, v := range vs {
		if reading(v) {
			*lo, *hi = min(*lo, v), max(*hi, v)
			x.n++
			x.last = capture.Instant(ts[i])
		}
	}
}

// histogram counts samples in equal bins from lo to hi.
type histogram struct {
	lo, width float64
	count     [bins]int
}

func newHistogram(lo, hi float64) histogram {
	return histogram{lo: lo, width: (hi - lo) / bins}
}

func (h *histogram) fill(tr *capture.Trace, from, to capture.Instant) {
	lo, inverse := float32(h.lo), float32(1/h.width)
	for p := range tr.Pieces(from, to) {
		if p.Sum != nil {
			p.Sum.Spread(h.width, h.add)
			continue
		}
		for _, v := range p.V {
			if reading(v) {
				h.count[bounded(int((v-lo)*inverse))]++
			}
		}
	}
}

func (h *histogram) add(v float64, n int) { h.count[bounded(int((v-h.lo)/h.width))] += n }

func bounded(i int) int { return max(0, min(bins-1, i)) }

// mode returns the centre of the fullest bin in [first, last), the lowest of
// equals, and how many samples it holds.
func (h *histogram) mode(first, last int) (centre float64, n int) {
	best := first
	for i := first; i < last; i++ {
		if h.count[i] > h.count[best] {
			best = i
		}
	}
	return h.lo + (float64(best)+0.5)*h.width, h.count[best]
}

// stateLevels returns the modes of the histogram's two halves (IEEE Std 181, state
// levels by histogram mode), low before high.
func (h *histogram) stateLevels() (low, high float64) {
	low, _ = h.mode(0, bins/2)
	high, _ = h.mode(bins/2, bins)
	return low, high
}

// between is the share of the samples that lie in the middle half of the amplitude,
// where an output that switches spends no time.
func (h *histogram) between() float64 {
	all, middle := 0, 0
	for i, n := range h.count {
		all += n
		if i >= bins/4 && i < bins*3/4 {
			middle += n
		}
	}
	return float64(middle) / float64(max(1, all))
}

// level is one state's level, and what is known of how well.
type level struct {
	volts  float64
	repeat float64 // standard uncertainty from the samples' scatter and drift, volts
	dof    float64 // of repeat
	sigma  float64 // standard deviation of the samples, volts
	// quieterSigma is that of the half that scatters less: what a slow edge leaves in the other half,
	// or a drift, is no scatter of the samples.
	quieterSigma float64
	n            int     // samples that belong to the state
	noise        float64 // standard deviation from sample to sample, hum and drift left out, volts
	// noiseDOF are the degrees of freedom of noise.
	noiseDOF float64
	peak     float64         // peak to peak of all settled samples, volts
	all      int             // settled samples
	from, to capture.Instant // of these
	slope    float64         // second half's mean less the first's, volts
	mean     bool            // fallback: plain mean, too few samples for a histogram
	// unknown says why there is no level; empty where there is one.
	unknown analyze.DoubtCode
}

func (l level) known() bool { return l.n > 0 }

// levelBetween measures the state level of the settled interval. The mode of its
// histogram over [lo, hi] says where the state lies; the mean of the samples
// within the tolerance of the mode, taken twice, refines it below a bin's width.
// Where fewer than half of the samples lie there, or the state drifts, it has no one
// level, and the mean of all stands for it.
func levelBetween(tr *capture.Trace, from, to capture.Instant, lo, hi float64) level {
	x := extremesOf(tr, from, to)
	if x.n == 0 {
		return level{unknown: analyze.NoSettledSamples}
	}
	tol := math.Max(leastTolerance, tolerance*(hi-lo))
	centre := (x.lo + x.hi) / 2
	usesMean := true
	switch {
	case x.hi-x.lo <= tol:
		// All samples lie in one state: their mean is its level.
	case x.n >= fewest:
		h := newHistogram(x.lo, x.hi)
		h.fill(tr, from, to)
		centre, _ = h.mode(0, bins)
		usesMean = false
	}
	l := refine(tr, from, to, centre, tol)
	if !usesMean {
		l = refine(tr, from, to, l.volts, tol)
	}
	l.peak = x.hi - x.lo
	if l.n < x.n {
		every := refine(tr, from, to, centre, math.Inf(1))
		every.peak = l.peak
		if 2*l.n < x.n || every.drifts() {
			l = every
		}
	}
	l.mean, l.all, l.from, l.to = x.n < fewest, x.n, from, to
	l.noise, l.noiseDOF = l.sigma, l.dof
	if short, dof := shortNoise(tr, from, to); short < l.sigma {
		l.noise, l.noiseDOF = short, dof
	}
	return l
}

// drifts reports whether most of what a state's samples differ by is a steady drift:
// the two halves' means of a straight slope differ by half its rise.
func (l level) drifts() bool { return math.Abs(l.slope) > 0.35*l.peak }

// unsure is the standard uncertainty of a level from its samples alone, in volts.
func (l level) unsure(conv capture.Converter) float64 {
	return math.Hypot(l.repeat, gum.HalfWidth("rectangular", l.rounding(conv)))
}

// dithered is the noise, in steps of the readings, from which on it spreads them over so
// many steps that their mean is known better than to a step.
const dithered = 0.5

// rounding is the half-width of what rounding readings to steps leaves of a state's mean. A
// level that noise hardly moves reads the same all the time, or one of two values, and lies
// anywhere within half a step of these. Gaussian noise of s steps leaves exp(-2(πs)²)/π of
// one (the first term of the Fourier series of the rounding's sawtooth, textbook). Samples
// that lie on three values or fewer do not show that it is noise. What has been rounded to
// steps and is rounded again when it is written can be off to one side each time.
func (l level) rounding(conv capture.Converter) float64 {
	step := conv.StepVolts
	if step <= 0 || l.peak < 2.5*step {
		return step / 2
	}
	s := l.noise*l.noise/(step*step) - 1.0/12 // rounding adds a variance of its own
	if s < dithered*dithered {
		return step / 2
	}
	return math.Max(conv.WrittenVolts/2, step/math.Pi*math.Exp(-2*math.Pi*math.Pi*s))
}

// arrival is how near a transition must come to its level, as a share of the
// amplitude, to have ended.
const arrival = 0.02

// levelOf measures a stretch's level: that of its settled part, or of the whole
// where no sample fell into that. Where a slow transition reaches into the settled
// part, that begins when it has ended.
//
// Of a stretch whose end was left out of the capture the part that was kept counts.
func levelOf(tr *capture.Trace, s span, o *observed) level {
	if o.cut && s.to > o.last {
		s.to = o.last + 1
	}
	from, to := s.settled(o.interval)
	l := levelBetween(tr, from, to, o.lo, o.hi)
	if !l.known() {
		return levelBetween(tr, s.from, s.to, o.lo, o.hi)
	}
	for range 2 {
		if !s.crossed || l.peak < arrival*(o.hi-o.lo) {
			break
		}
		from = max(from, reached(tr, s.from, to, l.volts, arrival*(o.hi-o.lo), s.high))
		if 4*(to-from) < to-s.from { // it never settles
			break
		}
		if better := levelBetween(tr, from, to, o.lo, o.hi); better.known() {
			l = better
		}
	}
	return l
}

// noiseSamples is how many samples are looked at for their noise.
const noiseSamples = 2 * capture.BlockLen

// shortNoise is the standard deviation of what changes from one sample to the
// next: from third differences, which drift and slow hum hardly reach. For white
// noise their variance is 1+9+9+1 = 20 times the samples', and as they are correlated by
// -15/20, 6/20 and -1/20 with those next to them, the mean of their squares has n/2.31
// degrees of freedom: 1 + 2·(0.75² + 0.3² + 0.05²).
func shortNoise(tr *capture.Trace, from, to capture.Instant) (deviation, dof float64) {
	var a, b, c, sum float64
	n, known := 0, 0 // differences, and neighbours before
	for p := range tr.Pieces(from, to) {
		if p.Sum != nil {
			sum += p.Sum.Rough
			n += p.Sum.RoughN
			known = 0
		}
		for _, v := range p.V {
			if !reading(v) {
				continue
			}
			if d := float64(v) - 3*c + 3*b - a; known >= 3 {
				sum += d * d
				n++
			}
			a, b, c = b, c, float64(v)
			known++
		}
		if n+3 >= noiseSamples {
			break
		}
	}
	if n < 5 {
		return math.Inf(1), math.NaN()
	}
	return math.Sqrt(sum / float64(n) / 20), float64(n) / 2.31
}

// sums are those of some samples and of their squares.
type sums struct {
	n        int
	sum, sqr float64
}

func (s *sums) take(n int, sum, sqr float64) { s.n, s.sum, s.sqr = s.n+n, s.sum+sum, s.sqr+sqr }

// deviation is the samples' standard deviation; there must be two or more.
func (s sums) deviation() float64 {
	return math.Sqrt(math.Max(0, s.sqr-s.sum*s.sum/float64(s.n)) / float64(s.n-1))
}

// refine averages the samples within tol of the centre.
func refine(tr *capture.Trace, from, to capture.Instant, centre, tol float64) level {
	mid := int64(from) + int64(to-from)/2
	var half [2]sums
	c, t := float32(centre), float32(math.Min(tol, math.MaxFloat32))
	for p := range tr.Pieces(from, to) {
		at, vs := p.At, p.V
		if p.Sum != nil {
			later := 0
			if int64(p.Sum.Middle()) >= mid {
				later = 1
			}
			half[later].take(p.Sum.Within(float64(c), float64(t)))
			continue
		}
		split, _ := slices.BinarySearch(at, mid)
		for k, part := range [2][]float32{vs[:split], vs[split:]} {
			n, sum, sqr := 0, 0.0, 0.0
			for _, v := range part {
				if d := v - c; d <= t && d >= -t {
					n++
					sum += float64(d)
					sqr += float64(d) * float64(d)
				}
			}
			half[k].take(n, sum, sqr)
		}
	}
	all := sums{half[0].n + half[1].n, half[0].sum + half[1].sum, half[0].sqr + half[1].sqr}
	if all.n == 0 {
		return level{unknown: analyze.NoSamplesAtLevel}
	}
	l := level{volts: float64(c) + all.sum/float64(all.n), n: all.n, dof: math.Inf(1)}
	if all.n > 1 {
		l.sigma = all.deviation()
		l.dof = float64(all.n - 1)
	}
	if half[0].n > 0 && half[1].n > 0 {
		l.slope = half[1].sum/float64(half[1].n) - half[0].sum/float64(half[0].n)
	}
	l.quieterSigma = l.sigma
	for _, h := range half {
		if h.n > fewest {
			l.quieterSigma = math.Min(l.quieterSigma, h.deviation())
		}
	}
	l.repeat = repeatability(l)
	return l
}

// repeatability is the standard uncertainty of a mean of samples that scatter and
// may drift: the scatter's s/√n, and the difference of the two halves' means as
// a rectangular width, which also catches scatter that is not independent.
func repeatability(l level) float64 {
	scatter := l.sigma / math.Sqrt(float64(l.n))
	drift := l.slope / math.Sqrt(12)
	if l.n == 1 {
		// It says nothing of the scatter: it may lie anywhere in the state's tolerance.
		return gum.HalfWidth("rectangular", leastTolerance)
	}
	return math.Hypot(scatter, drift)
}
