package measure

import (
	"math"
	"testing"

	"makebreak/rig/capture"
)

// sampledAt returns a trace of n samples of v, the first at 0 s.
func sampledAt(rate float64, n int, v func(t float64) float64) *capture.Trace {
	tr := capture.NewTrace("OUT1", capture.Converter{})
	for i := range n {
		t := float64(i) / rate
		tr.Append(capture.FromSeconds(t), v(t))
	}
	return tr
}

// trapezoid rises from 10 to 20 ms, falls from 40 to 44 ms: 0, 12 V, 0.
func trapezoid(t float64) float64 {
	ms := t * 1e3
	switch {
	case ms <= 10:
		return 0
	case ms <= 20:
		return 1.2 * (ms - 10)
	case ms <= 40:
		return 12
	case ms <= 44:
		return 12 - 3*(ms-40)
	}
	return 0
}

// scatter lays eight offsets on three states of 64 samples: 0.10, 12.30, 0.10 V.
func scatter(outlier bool) func(float64) float64 {
	offsets := [8]float64{-.02, -.01, 0, 0, 0, 0, .01, .02}
	return func(t float64) float64 {
		i := int(math.Round(t * 1e3))
		if outlier && i == 64 {
			return 13.5
		}
		return [3]float64{0.10, 12.30, 0.10}[i/64] + offsets[i%8]
	}
}

const all = capture.Instant(math.MaxInt64)

func histogramOf(tr *capture.Trace) histogram {
	x := extremesOf(tr, 0, all)
	h := newHistogram(x.lo, x.hi)
	h.fill(tr, 0, all)
	return h
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %.2g", what, got, want, tol)
	}
}

// The state levels by histogram mode of worked waveforms: 100 bins from the lowest
// to the highest sample, the fullest bin's centre of each half. Values computed from
// that definition, as makers of general waveform libraries document it, by hand and
// with an independent program (Python); IEEE Std 181 itself leaves the bins to the user. Samples
// are kept in single precision, which is 0.5 µV at 12 V.
func TestLevels_HistogramMode(t *testing.T) {
	for _, tc := range []struct {
		name      string
		tr        *capture.Trace
		low, high float64
	}{
		{"trapezoid", sampledAt(1000, 60, trapezoid), 0.06, 11.94},
		{"scatter", sampledAt(1000, 192, scatter(false)), 0.1412, 12.2588},
		{"scatter with an outlier", sampledAt(1000, 192, scatter(true)), 0.1471, 12.3593},
	} {
		h := histogramOf(tc.tr)
		low, high := h.stateLevels()
		near(t, tc.name+": low", low, tc.low, 2e-6)
		near(t, tc.name+": high", high, tc.high, 2e-6)
	}
}

// The mean of the samples near the mode has no bin's width of error in it: of the
// same waveforms it is the true level, where each state's offsets cancel. The
// outlier replaces a sample of -0.02 V, so the other 63 lie 0.02/63 V higher.
func TestLevels_RefinedIsTrue(t *testing.T) {
	for _, tc := range []struct {
		name      string
		tr        *capture.Trace
		low, high float64
	}{
		{"trapezoid", sampledAt(1000, 60, trapezoid), 0, 12},
		{"scatter", sampledAt(1000, 192, scatter(false)), 0.10, 12.30},
		{"scatter with an outlier", sampledAt(1000, 192, scatter(true)), 0.10, 12.30 + 0.02/63},
	} {
		h := histogramOf(tc.tr)
		low, high := h.stateLevels()
		for _, x := range []struct{ mode, want float64 }{{low, tc.low}, {high, tc.high}} {
			l := refine(tc.tr, 0, all, x.mode, leastTolerance)
			l = refine(tc.tr, 0, all, l.volts, leastTolerance)
			near(t, tc.name, l.volts, x.want, 1e-6)
		}
	}
}

// instants are the 10 %, 50 % and 90 % instants of a transition, in seconds.
func instants(tr *capture.Trace, at capture.Instant, before, after float64) [3]float64 {
	var out [3]float64
	for i, share := range [3]float64{0.1, 0.5, 0.9} {
		r := referenceInstant(tr, 0, all, at, before+share*(after-before), after > before, i == 0, 0)
		out[i] = at.Seconds() + r.at
	}
	return out
}

// Reference level instants by linear interpolation. The trapezoid's are exact by
// hand; those of the exponential are the ones that interpolation gives between
// samples of the formula (computed in double precision with another program); of
// the second-order step the exact ones, from its formula. Single precision of a
// sample shifts an instant by up to 0.5 µV over the slope.
func TestCrossing_WorkedWaveforms(t *testing.T) {
	exponential := func(tau float64) func(float64) float64 {
		return func(t float64) float64 { return 12 * (1 - math.Exp(-t/tau)) }
	}
	ringing := func(t float64) float64 { // ζ 0.5, natural frequency 10 Hz
		wn := 2 * math.Pi * 10
		wd := wn * math.Sqrt(0.75)
		return 12 * (1 - math.Exp(-wn*t/2)*(math.Cos(wd*t)+math.Sin(wd*t)/math.Sqrt(3)))
	}
	trap := sampledAt(1000, 60, trapezoid)
	for _, tc := range []struct {
		name          string
		tr            *capture.Trace
		at            float64 // of a sample at the crossing
		before, after float64
		want          [3]float64
		tol           float64
	}{
		{"trapezoid up", trap, 0.015, 0, 12, [3]float64{0.011, 0.015, 0.019}, 2e-9},
		{"trapezoid down", trap, 0.042, 12, 0, [3]float64{0.0404, 0.042, 0.0436}, 2e-9},
		{"exponential, 10 samples a time constant", sampledAt(10, 100, exponential(1)), 0.7, 0, 12,
			[3]float64{0.1056179, 0.6934617, 2.3027130}, 6e-7},
		{"exponential of 5 ms at 860 samples/s", sampledAt(860, 300, exponential(5e-3)), 3 / 860.0, 0, 12,
			[3]float64{math.NaN(), 3.46822e-3, math.NaN()}, 1e-8},
		{"second order at 10 kHz", sampledAt(10e3, 20000, ringing), 0.0206, 0, 12,
			[3]float64{7.77041e-3, 20.59528e-3, 33.83319e-3}, 1e-6},
	} {
		got := instants(tc.tr, capture.FromSeconds(tc.at), tc.before, tc.after)
		for i, want := range tc.want {
			if !math.IsNaN(want) {
				near(t, tc.name, got[i], want, tc.tol)
			}
		}
	}
}

// Transition durations of 10 % to 90 %: 8 and 3.2 ms of the trapezoid by hand, with
// raw histogram levels 7.92 and 3.168 ms; ln 9 time constants of the exponential
// (exact 2.1972246, 10.98612 ms; interpolated between its samples 2.1970951,
// 10.96420 ms). And 50 % to 50 %, the pulse's 27 ms.
func TestCrossing_Durations(t *testing.T) {
	trap := sampledAt(1000, 60, trapezoid)
	for _, tc := range []struct {
		name          string
		tr            *capture.Trace
		at            float64
		before, after float64
		want, tol     float64
	}{
		{"rise", trap, 0.015, 0, 12, 8e-3, 4e-9},
		{"fall", trap, 0.042, 12, 0, 3.2e-3, 4e-9},
		{"rise, raw levels", trap, 0.015, 0.06, 11.94, 7.92e-3, 4e-9},
		{"fall, raw levels", trap, 0.042, 11.94, 0.06, 3.168e-3, 4e-9},
		{"exponential", sampledAt(10, 100, func(t float64) float64 { return 12 * (1 - math.Exp(-t)) }), 0.7, 0, 12, 2.1970951, 6e-7},
		{"exponential at 860/s", sampledAt(860, 300, func(t float64) float64 { return 12 * (1 - math.Exp(-t/5e-3)) }), 3 / 860.0, 0, 12, 10.96420e-3, 1e-8},
	} {
		got, ok := duration(tc.tr, 0, capture.FromSeconds(tc.at), all, level{volts: tc.before}, level{volts: tc.after})
		if !ok {
			t.Errorf("%s: no duration", tc.name)
		}
		near(t, tc.name, got.seconds, tc.want, tc.tol)
	}
	up, down := instants(trap, capture.FromSeconds(0.015), 0, 12), instants(trap, capture.FromSeconds(0.042), 12, 0)
	near(t, "pulse duration", down[1]-up[1], 27e-3, 4e-9)
}

// The overshoot of a second-order step is exp(-πζ/√(1-ζ²)); for ζ = 0.5 that is
// 16.30335 % (any textbook of control). The analysis must not take it for the level.
func TestLevels_OvershootIsNoLevel(t *testing.T) {
	wn, zeta := 2*math.Pi*10, 0.5
	wd := wn * math.Sqrt(1-zeta*zeta)
	tr := sampledAt(10e3, 30000, func(t float64) float64 {
		return 12 * (1 - math.Exp(-zeta*wn*t)*(math.Cos(wd*t)+zeta/math.Sqrt(1-zeta*zeta)*math.Sin(wd*t)))
	})
	near(t, "peak", extremesOf(tr, 0, all).hi, 12*1.1630335, 1e-5)
	o := observe(tr, 0, capture.FromSeconds(3), nil, prior{nominal: 12, swing: 12})
	high, ok := o.longest(true)
	if !ok {
		t.Fatal("the output did not go high")
	}
	l := levelOf(tr, high, &o)
	near(t, "level", l.volts, 12, 1e-5)
	near(t, "peak to peak of the settled part", l.peak, 0, 1e-3)
}
