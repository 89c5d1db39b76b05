package measure_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
)

// sineArea is the integral of a sine of 1 V from 0 to an instant.
func sineArea(frequency, phase, t float64) float64 {
	w := 2 * math.Pi * frequency
	return (math.Cos(phase) - math.Cos(w*t+phase)) / w
}

// humming is a state that is on for some seconds, with hum and noise, sampled as means over the whole of their
// interval or as values. step is what readings are rounded to.
func humming(r *rand.Rand, rate, seconds, frequency, volts, noise, step float64, averaged bool) *capture.Capture {
	period := 1 / (rate * between(r, 0.9, 1.1))
	conv := capture.Converter{StepVolts: step}
	if averaged {
		conv.Span = time.Duration(period * 1e9)
	}
	phase, high := 2*math.Pi*r.Float64(), between(r, 11, 14)
	tr := capture.NewTrace("OUT1", conv)
	on := 0.5
	for at := r.Float64() * period; at < on+seconds; at += period {
		v := 0.5
		if at > on {
			v = high
			switch {
			case averaged:
				v += volts / 2 * (sineArea(frequency, phase, at) - sineArea(frequency, phase, at-period)) / period
			default:
				v += volts / 2 * math.Sin(2*math.Pi*frequency*at+phase)
			}
		}
		v += noise * r.NormFloat64()
		if step > 0 {
			v = step * math.Round(v/step)
		}
		tr.Append(capture.FromSeconds(at), v)
	}
	return &capture.Capture{End: capture.FromSeconds(on + seconds), Traces: []*capture.Trace{tr},
		Events: []capture.Event{{Name: "on", At: capture.FromSeconds(on)}}}
}

// TestRipple_Held draws outputs that hum or are quiet, measured by an instrument whose only error is its noise, and
// counts how often the ripple's interval, or its bound, holds what the output does: 0 where it is quiet. Nothing
// but the samples tells the noise.
func TestRipple_Held(t *testing.T) {
	draws := 60
	if testing.Short() {
		draws = 30
	}
	for _, how := range []struct {
		name       string
		rates      []float64
		averaged   bool
		seconds    float64
		bound      bool    // nothing but a lower bound can be told
		most       float64 // median expanded uncertainty, in standard deviations of the noise and
		mostShares float64 // in shares of the hum
	}{
		{name: "means", rates: []float64{860}, averaged: true, seconds: 1, most: 5, mostShares: 0.03},
		{name: "means", rates: []float64{475}, averaged: true, seconds: 1, most: 5, mostShares: 0.1},
		{name: "means", rates: []float64{275}, averaged: true, seconds: 1, most: 5, mostShares: 0.5},
		{name: "means", rates: []float64{128}, averaged: true, seconds: 1, bound: true},
		{name: "values", rates: []float64{128, 475, 860, 5000}, seconds: 1, most: 6, mostShares: 0.05},
		{name: "values, short", rates: []float64{475, 860}, seconds: 0.1, most: 6, mostShares: 0.2},
		{name: "means, short", rates: []float64{860}, averaged: true, seconds: 0.1, most: 6, mostShares: 0.2},
		{name: "values, too short for a period", rates: []float64{860, 5000}, seconds: 0.02, bound: true},
	} {
		for _, volts := range []float64{0, 0.005, 0.03, 0.3} {
			r := rand.New(rand.NewPCG(uint64(1e4*volts), 5))
			held, all, bounds := 0, 0, 0
			var off, excess []float64
			for range draws {
				rate, noise := how.rates[r.IntN(len(how.rates))], logBetween(r, 0.5e-3, 5e-3)
				frequency := []float64{50, 60, 100, 120}[r.IntN(4)] * between(r, 0.995, 1.005)
				if frequency > 1.001*120 {
					frequency = 120
				}
				c := humming(r, rate, how.seconds, frequency, volts, noise, []float64{0, 1e-3, 4e-3}[r.IntN(3)], how.averaged)
				got, err := diagnose.Examine(nil, c)
				if err != nil {
					t.Fatal(err)
				}
				for _, m := range rowsOf(got, "on", "OUT1", analyze.Ripple) {
					all++
					if m.Bound() == analyze.LowerBound {
						bounds++
						if m.Value <= volts {
							held++
						}
						continue
					}
					if math.Abs(m.Value-volts) <= m.Expanded {
						held++
					}
					off = append(off, m.Value-volts)
					excess = append(excess, (m.Expanded-how.mostShares*volts)/math.Hypot(noise, 4e-3/4))
				}
			}
			name := fmt.Sprintf("%s at %v/s, %g mV", how.name, how.rates, volts*1e3)
			t.Logf("%s: held in %d of %d, %d of them bounds; median error %.2f mV, U beyond its share %.1f of the noise", name, held, all, bounds, 1e3*median(off), median(excess))
			if all != draws || float64(held) < 0.93*float64(all)-1 {
				t.Errorf("%s: held in %d of %d", name, held, all)
			}
			if how.bound != (bounds == all) || !how.bound && bounds > 0 {
				t.Errorf("%s: %d of %d are bounds", name, bounds, all)
			}
			if m := median(excess); m > how.most {
				t.Errorf("%s: U is %.1f times the noise, want at most %g", name, m, how.most)
			}
		}
	}
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	slices.Sort(x)
	return x[len(x)/2]
}
