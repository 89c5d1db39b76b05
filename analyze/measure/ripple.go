package measure

import (
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mathext"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// What a ripple's figure claims.
const (
	// RippleUpTo is the highest frequency of ripple that is claimed, in hertz: twice that of 60 Hz
	// mains, as a rectifier leaves it. Nothing is said of faster ripple.
	RippleUpTo = 120.0
	// ripplePeriod is the longest period that is claimed, in seconds: that of 50 Hz mains.
	ripplePeriod = 1.0 / 50
	// mostSmoothed is the factor by which a mean over a conversion may lessen a ripple of RippleUpTo,
	// at most, for its size to be claimed.
	mostSmoothed = 2.0
	// leastRipple is the least number of samples whose noise can be told from ripple.
	leastRipple = 8
)

// ripple is between what voltages a state's peak to peak value lies, less the noise of the
// samples. The noise may add all of its own range to it, or, where few samples lie at the peaks,
// nothing. What conversions smooth, and peaks between samples, may add to what these show.
type ripple struct {
	least, most float64
	doubts      []analyze.Doubt // why only the least is known
}

// rippleOf measures a state's ripple.
func rippleOf(tr *capture.Trace, l level) ripple {
	n := float64(l.all)
	step := 0.0 // by which rounding may hide some of it
	if half := l.rounding(tr.Converter); half == tr.Converter.StepVolts/2 {
		step = tr.Converter.StepVolts
	}
	x := ripple{least: math.Max(0, l.peak-step-rangeOf(n)*noiseAlone(tr, l))}
	smoothed := smoothing(tr.Converter.Span.Seconds())
	switch lasts := l.to.Sub(l.from).Seconds(); {
	case l.all < leastRipple:
		x.least, x.doubts = 0, figure(analyze.FewSamples, n)
	case lasts < ripplePeriod:
		x.doubts = figure(analyze.RippleBrief, lasts)
	case smoothed > mostSmoothed:
		x.doubts = figure(analyze.RippleSmoothed, tr.Converter.Span.Seconds())
	}
	// Samples that meet a sine at the same few phases all the time may miss its peaks, and not its
	// rms; of others the nearest to a peak lies pi/n off in phase in the mean.
	shown := math.Max(l.peak, 2*math.Sqrt2*l.sigma)
	x.most = (shown + step) * smoothed * (1 + 3*math.Pi*math.Pi/(n*n))
	return x
}

// smoothing is the factor by which a mean over a time, in seconds, lessens a sine of RippleUpTo;
// infinite from a whole period on.
func smoothing(span float64) float64 {
	x := math.Pi * RippleUpTo * span
	switch {
	case x == 0:
		return 1
	case x >= math.Pi:
		return math.Inf(1)
	}
	return x / math.Sin(x)
}

// rangeOf is the peak to peak value that n samples of white noise hardly pass, in its standard
// deviations: the expected one and two of its own deviations. The highest of n lies at the normal
// quantile of (n-3/8)/(n+1/4) in the mean (Blom's, textbook); its deviation is near pi/√6 of
// 1/(z+1/z) (the extreme value distribution's, textbook).
func rangeOf(n float64) float64 {
	z := mathext.NormalQuantile((n - 0.375) / (n + 0.25))
	if z <= 0 {
		return 0
	}
	return 2*z + 2*math.Sqrt2*math.Pi/math.Sqrt(6)/(z+1/z)
}

// noiseAlone is the standard deviation of the samples' noise, in volts, and rather more: what
// changes from one sample to the next; where that is not all of the scatter, what the spectrum
// has between its lines, since hum of few samples a period changes from one to the next as well.
func noiseAlone(tr *capture.Trace, l level) float64 {
	noise, dof := l.noise, l.noiseDOF
	if all := rangeOf(float64(l.all)) * noise; l.peak > all || l.peak < 0.6*all || l.sigma > 1.2*noise {
		if floor, bins := noiseFloor(tr, l.from, l.to); bins > 0 && floor < noise {
			noise, dof = floor, float64(bins)
		}
	}
	if !(dof > 1) {
		return noise
	}
	return noise * (1 + 1/math.Sqrt(2*dof))
}

// spectrum holds what transforms of one length need.
type spectrum struct {
	fft     *fourier.FFT
	samples []float64
	bins    []complex128
	power   []float64
}

// Lengths of the transform, in samples.
const (
	leastTransform = 64
	mostTransform  = 512
)

var spectra sync.Pool

// noiseFloor is the standard deviation of white noise with the median power of the samples'
// spectrum, behind a Hann window: the lines of a hum and of its harmonics are few. A single bin's
// power is distributed exponentially, whose median is ln 2 of its mean (textbook). bins is how
// many were used; 0 where there are too few samples.
func noiseFloor(tr *capture.Trace, from, to capture.Instant) (deviation float64, bins int) {
	s, _ := spectra.Get().(*spectrum)
	if s == nil {
		s = &spectrum{}
	}
	defer spectra.Put(s)
	s.samples = s.samples[:0]
	for p := range tr.Pieces(from, to) {
		if p.Sum != nil { // what follows it is no neighbour of what came before
			s.samples = s.samples[:0]
		}
		for _, v := range p.V {
			if reading(v) && len(s.samples) < mostTransform {
				s.samples = append(s.samples, float64(v))
			}
		}
		if len(s.samples) == mostTransform {
			break
		}
	}
	n := len(s.samples)
	if n < leastTransform {
		return 0, 0
	}
	if s.fft == nil {
		s.fft = fourier.NewFFT(n)
	} else if s.fft.Len() != n {
		s.fft.Reset(n)
	}
	window := s.weigh()
	s.bins = s.fft.Coefficients(slices.Grow(s.bins[:0], n/2+1)[:n/2+1], s.samples)
	s.power = s.power[:0]
	for _, c := range s.bins[2 : n/2] {
		s.power = append(s.power, real(c)*real(c)+imag(c)*imag(c))
	}
	slices.Sort(s.power)
	return math.Sqrt(s.power[len(s.power)/2] / math.Ln2 / window), len(s.power)
}

// weigh takes the mean off the samples, puts them behind the window and returns the sum of the
// window's squares.
func (s *spectrum) weigh() (squares float64) {
	mean := 0.0
	for _, v := range s.samples {
		mean += v / float64(len(s.samples))
	}
	for i := range s.samples {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(s.samples)))
		s.samples[i] = (s.samples[i] - mean) * w
		squares += w * w
	}
	return squares
}

// rippleInside is how much of a rectangular distribution's half-width its 95 % are, and a little
// less: both ends of what is known of a ripple must be within the expanded uncertainty.
const rippleInside = 0.94

// reportRipple reports a state's ripple: between the least and the most that it can be, or that
// it is no less than the least.
func (o *outputMeter) reportRipple(m *Meter, tr *capture.Trace, event string) {
	l, limit := o.now.state, o.limitOf(analyze.Ripple)
	if l.n < FewHeld {
		m.missing(event, o.signal, analyze.Ripple, limit, analyze.Undecided, figure(analyze.FewSamples, float64(l.n))...)
		return
	}
	r := rippleOf(tr, l)
	x := analyze.Measurement{Event: event, Signal: o.signal, Quantity: analyze.Ripple, Value: (r.least + r.most) / 2, Limit: limit}
	if r.doubts == nil {
		m.row(x, rippleBudget(tr, l, r))
	} else {
		x.Value, x.Doubts = r.least, append([]analyze.Doubt{of(analyze.AtLeast)}, r.doubts...)
		m.row(x, nil)
	}
	m.doubtLeftOut(&o.now)
	m.doubtEarlier(&o.now)
}

// rippleBudget lists what the uncertainty of a state's peak to peak value is made of: how much of
// it is noise and how much more there may be than samples show, and of the doubts those that
// scale a reading. What shifts all readings alike cancels.
func rippleBudget(tr *capture.Trace, l level, r ripple) []gum.Component {
	budget := []gum.Component{gum.Line(analyze.RippleOrNoise, "rectangular", (r.most-r.least)/2/rippleInside, 1)}
	for _, d := range tr.Converter.Doubts {
		if d.Relative != 0 {
			// A calibration's points pull to either side; its sign says which.
			budget = append(budget, gum.Line(gum.Source(d.Source), string(d.Distribution), math.Abs(d.Relative), l.peak))
		}
	}
	return budget
}
