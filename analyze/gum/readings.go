package gum

import "math"

// Mean returns the mean of repeated independent readings, the experimental standard
// deviation of one reading, and the component that the mean is: s/√n with n-1
// degrees of freedom (GUM 4.2.1 to 4.2.3), of sensitivity 1. Fewer than two readings
// say nothing of their scatter: deviation and standard uncertainty are NaN.
func Mean(source string, readings []float64) (mean, deviation float64, c Component) {
	n := float64(len(readings))
	for _, x := range readings {
		mean += x / n
	}
	var squares, rest float64
	for _, x := range readings {
		d := x - mean
		squares += d * d
		rest += d
	}
	mean += rest / n // what rounding left, so that large readings of small scatter keep their digits
	deviation = math.NaN()
	if n >= 2 {
		deviation = math.Sqrt((squares - rest*rest/n) / (n - 1))
	} else if n == 0 {
		mean = math.NaN()
	}
	return mean, deviation, Component{Source: source, Distribution: "normal",
		Standard: deviation / math.Sqrt(n), Sensitivity: 1, DegreesOfFreedom: n - 1}
}

// Correlation returns the correlation coefficient of the means of two quantities
// that were read together, pair by pair (GUM 5.2.3, equations 17 and 14). It is 0
// where either does not scatter and NaN for fewer than two pairs.
func Correlation(x, y []float64) float64 {
	n := min(len(x), len(y))
	if n < 2 {
		return math.NaN()
	}
	mx, sx, _ := Mean("", x[:n])
	my, sy, _ := Mean("", y[:n])
	if sx == 0 || sy == 0 {
		return 0
	}
	var sum float64
	for i := range n {
		sum += (x[i] - mx) * (y[i] - my)
	}
	return sum / float64(n-1) / (sx * sy)
}
