package sim

import "math"

// Weights are how a converter's filter weighs the voltage over a conversion: one weight for
// each of so many parts of equal length, the first part first. Their sum is 1, so that a
// steady voltage is read as it is. Nil: a plain mean.
type Weights []float64

// weightParts is how many parts the filters below have: a filter of the third order is then
// off by no more than 0.0003 of a step.
const weightParts = 80

// Sinc is a filter of so many plain means one after the other, each over an equal share of the
// conversion, as converters that oversample have them: of the order 1 or more. Its weights are
// those of a sum of evenly drawn numbers (textbook: Irwin and Hall).
func Sinc(order int) Weights {
	return inParts(func(t float64) float64 {
		sum, ways := 0.0, 1.0
		for k := range order {
			if x := float64(order)*t - float64(k); x >= 0 {
				sum += ways * math.Pow(x, float64(order-1))
			}
			ways *= -float64(order-k) / float64(k+1)
		}
		return sum
	})
}

// Last is a plain mean over the last share of the conversion: above 0 and at most 1.
func Last(share float64) Weights {
	return inParts(func(t float64) float64 {
		if t < 1-share {
			return 0
		}
		return 1
	})
}

// Fading is a filter that begins with its largest weight, which then falls as an exponential
// with a time constant given as a share of the conversion.
func Fading(tau float64) Weights {
	return inParts(func(t float64) float64 { return math.Exp(-t / tau) })
}

// inParts gathers a filter's weights, given by the way through the conversion from 0 to 1, in
// parts.
func inParts(weight func(t float64) float64) Weights {
	const points = 100 // in each part
	w, sum := make(Weights, weightParts), 0.0
	for i := range w {
		for j := range points {
			w[i] += weight((float64(i) + (float64(j)+0.5)/points) / weightParts)
		}
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// weighted returns the signal's mean over the interval as the weights make it, in volts.
func (g *signal) weighted(from, to int64, weights Weights) float64 {
	if from >= g.flatFrom {
		return g.level
	}
	sum, begin := 0.0, from
	for i, w := range weights {
		end := from + (to-from)*int64(i+1)/int64(len(weights))
		if w != 0 {
			sum += w * g.mean(begin, end)
		}
		begin = end
	}
	return sum
}
