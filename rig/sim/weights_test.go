package sim

import (
	"math"
	"testing"
)

// What a converter shows of a step x of a conversion before its end: of plain means in a row
// by their own law (textbook: the integral of a B-spline), of the others by their weights'.
func TestWeights_step(t *testing.T) {
	for _, c := range []struct {
		name    string
		weights Weights
		share   func(x float64) float64
	}{
		{"mean", Sinc(1), func(x float64) float64 { return x }},
		{"second order", Sinc(2), func(x float64) float64 {
			if x > 0.5 {
				return 1 - 2*(1-x)*(1-x)
			}
			return 2 * x * x
		}},
		{"third order", Sinc(3), func(x float64) float64 {
			switch u := 3 * x; {
			case u < 1:
				return u * u * u / 6
			case u < 2:
				return (-2*u*u*u + 9*u*u - 9*u + 3) / 6
			default:
				return 1 - (3-u)*(3-u)*(3-u)/6
			}
		}},
		{"last 90 %", Last(0.9), func(x float64) float64 { return math.Min(1, x/0.9) }},
		{"fading", Fading(0.25), func(x float64) float64 { return (1 - math.Exp(4*x)) / (1 - math.Exp(4)) }},
	} {
		const span = 1_163_000
		for x := -0.1; x < 1.2; x += 0.01 {
			g := newSignal(0, 2)
			at := int64(5 * span)
			g.push(constant(at, 12))
			from := at + int64(x*span) - span
			got := (g.weighted(from, from+span, c.weights) - 2) / 10
			if want := c.share(math.Max(0, math.Min(1, x))); math.Abs(got-want) > 0.002 {
				t.Errorf("%s: %.5f of a step %.2f of a conversion before its end, want %.5f", c.name, got, x, want)
			}
		}
	}
}

// A filter changes nothing of a steady voltage, and a plain mean in parts is the plain mean.
func TestWeights_mean(t *testing.T) {
	g := newSignal(0, 2)
	g.push(segment{at: 100_000, c: 12, a: -10, tau: 120_000, slope: 1e-9})
	for from := int64(-1_000_000); from < 2_000_000; from += 77_777 {
		if got, want := g.weighted(from, from+1_000_000, Sinc(1)), g.mean(from, from+1_000_000); math.Abs(got-want) > 1e-9 {
			t.Errorf("from %d ns: %g V in parts, %g V as one mean", from, got, want)
		}
	}
	for _, w := range []Weights{Sinc(2), Sinc(3), Sinc(4), Last(0.5), Fading(0.2)} {
		if got := w.steady(3); math.Abs(got-3) > 1e-9 {
			t.Errorf("%v: 3 V are read as %g V", w, got)
		}
	}
}

// steady is what the weights make of a voltage that does not move but is not known to be flat.
func (w Weights) steady(volts float64) float64 {
	g := newSignal(0, volts)
	g.push(segment{at: 1000, c: volts, slope: 1e-30})
	return g.weighted(2000, 1_000_000, w)
}
