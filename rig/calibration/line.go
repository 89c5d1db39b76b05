package calibration

import (
	"errors"
	"math"
)

// line is a straight line y = offset + gain·x through points that are uncertain in
// both directions.
type line struct {
	gain, offset                float64
	varGain, varOffset, covBoth float64 // of the points' own scatter, as stated
	chiSquare                   float64
	weights                     []float64 // 1/(uy² + gain²·ux²)
	xs                          []float64 // adjusted abscissas
	middle                      float64   // weighted mean of xs
}

var errLine = errors.New("no straight line can be drawn through the points")

// fit draws the line by weighted least squares. The variance of a point counts with
// what its abscissa adds to it through the slope: uy² + gain²·ux² (effective
// variance). The slope that makes the weighted sum of squares least is found by
// iteration, and the variances come from the adjusted points (York, Evensen, Martínez
// and De Basabe Delgado, Am. J. Phys. 72, 367 (2004), without correlation). With ux
// zero it is the ordinary weighted fit. The uy must be above zero.
func fit(x, y, ux, uy []float64) (line, error) {
	l := line{gain: startSlope(x, y)}
	if math.IsNaN(l.gain) || math.IsInf(l.gain, 0) {
		return line{}, errLine
	}
	const most = 200
	for range most {
		before := l.gain
		l.turn(x, y, ux, uy)
		if math.IsNaN(l.gain) || math.IsInf(l.gain, 0) {
			return line{}, errLine
		}
		if math.Abs(l.gain-before) <= 1e-14*math.Abs(l.gain) {
			break
		}
	}
	l.conclude(x, y)
	return l, nil
}

// startSlope is the slope of the unweighted fit.
func startSlope(x, y []float64) float64 {
	var mx, my, sxx, sxy float64
	n := float64(len(x))
	for i := range x {
		mx += x[i] / n
		my += y[i] / n
	}
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	return sxy / sxx
}

// turn makes one step of the iteration: weights by the present slope, then the slope
// by the weights.
func (l *line) turn(x, y, ux, uy []float64) {
	l.weights, l.xs = make([]float64, len(x)), make([]float64, len(x))
	var sum, mx, my float64
	for i := range x {
		w := 1 / (uy[i]*uy[i] + l.gain*l.gain*ux[i]*ux[i])
		l.weights[i] = w
		sum += w
		mx += w * x[i]
		my += w * y[i]
	}
	mx, my = mx/sum, my/sum
	var up, down float64
	for i := range x {
		u, v, w := x[i]-mx, y[i]-my, l.weights[i]
		beta := w * (u*uy[i]*uy[i] + l.gain*v*ux[i]*ux[i])
		l.xs[i] = mx + beta
		up += w * beta * v
		down += w * beta * u
	}
	l.gain = up / down
	l.offset = my - l.gain*mx
}

// conclude works out how well the line is known.
func (l *line) conclude(x, y []float64) {
	var sum, squares float64
	l.middle, l.chiSquare = 0, 0
	for i, w := range l.weights {
		sum += w
		l.middle += w * l.xs[i]
		r := y[i] - l.offset - l.gain*x[i]
		l.chiSquare += w * r * r
	}
	l.middle /= sum
	for i, w := range l.weights {
		squares += w * (l.xs[i] - l.middle) * (l.xs[i] - l.middle)
	}
	l.varGain = 1 / squares
	l.varOffset = 1/sum + l.middle*l.middle*l.varGain
	l.covBoth = -l.middle * l.varGain
}

// shift returns by how much gain and offset change where the ordinates change by h:
// the weighted fit is linear in them.
func (l *line) shift(h []float64) (gain, offset float64) {
	var sum, mean float64
	for i, w := range l.weights {
		sum += w
		mean += w * h[i]
		gain += w * (l.xs[i] - l.middle) * h[i] * l.varGain
	}
	return gain, mean/sum - gain*l.middle
}

// variance returns the line's own variance at x.
func (l *line) variance(x float64) float64 {
	return l.varOffset + 2*x*l.covBoth + x*x*l.varGain
}
