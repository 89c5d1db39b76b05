package reliability

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"makebreak/rig/words"
)

// Errors of a fit that can't be made.
var (
	ErrNoFailures = errors.New("no board has failed: give the shape, and the cycles alone bound the life")
	ErrNoSpread   = errors.New("no board failed before the longest count of cycles of all boards: no shape fits that")
)

// Weibull is a life distribution fitted to boards that failed or were stopped: the
// share exp(-(t/scale)^shape) lives longer than t cycles. Shape below 1 means early
// failures, 1 failures at a constant rate, above 1 wear.
type Weibull struct {
	Shape      Estimate
	Scale      Estimate // cycles, by which 63.2 % have failed
	Confidence float64  // share, 0 to 1
	Units      int
	Failures   int
	// LogLikelihood at the fit, densities per cycle.
	LogLikelihood float64 // natural logarithm
	// Covariance of ln scale (0) and ln shape (1), from the observed information.
	Covariance [2][2]float64
	// ConstantP is the probability of a shape so far from 1 if the rate were
	// constant: likelihood ratio, one degree of freedom.
	ConstantP float64 // probability, 0 to 1
	Doubts    []string

	life life
}

// life holds what the likelihood needs: logarithms of cycles relative to the longest,
// so that no power overflows.
type life struct {
	longest float64   // cycles
	y       []float64 // ln(cycles/longest) of all boards, none above 0
	failed  float64   // number of failures
	sum     float64   // of y over the failed ones
}

func lifeOf(units []Unit) life {
	var l life
	for _, u := range units {
		l.longest = math.Max(l.longest, u.Cycles)
	}
	for _, u := range units {
		y := math.Log(u.Cycles / l.longest)
		l.y = append(l.y, y)
		if u.Failed {
			l.failed++
			l.sum += y
		}
	}
	return l
}

// powers returns Σ(t/longest)^k, and that weighted with y and y².
func (l *life) powers(k float64) (s, sy, syy float64) {
	for _, y := range l.y {
		p := math.Exp(k * y)
		s += p
		sy += p * y
		syy += p * y * y
	}
	return s, sy, syy
}

const maxShape = 1e4

// FitWeibull fits boards by maximum likelihood; stopped boards count as living on
// (right censored). Bounds have the given confidence.
func FitWeibull(units []Unit, confidence float64) (Weibull, error) {
	err := checkConfidence(confidence)
	if err == nil {
		err = checkUnits(units)
	}
	if err != nil {
		return Weibull{}, fmt.Errorf("weibull fit: %w", err)
	}
	w := Weibull{Confidence: confidence, Units: len(units), life: lifeOf(units)}
	l := &w.life
	w.Failures = int(l.failed)
	if l.failed == 0 {
		return Weibull{}, fmt.Errorf("weibull fit: %w", ErrNoFailures)
	}
	shape, ok := l.shape()
	if !ok {
		return Weibull{}, fmt.Errorf("weibull fit: %w", ErrNoSpread)
	}
	s, _, _ := l.powers(shape)
	w.Shape.Value, w.Scale.Value = shape, l.longest*math.Pow(s/l.failed, 1/shape)
	w.LogLikelihood = l.atShape(shape)
	w.ConstantP = mathext.GammaIncRegComp(0.5, math.Max(0, w.LogLikelihood-l.atShape(1)))
	w.covariance()
	w.Shape = w.shapeBounds()
	w.Scale = w.quantile(1)
	w.doubt(units)
	return w, nil
}

// shape solves the likelihood equation
//
//	Σ tᵏ ln t / Σ tᵏ - 1/k = mean of ln t over the failed
//
// whose left side rises with k (Meeker and Escobar 1998, 8.2; any text on life data).
func (l *life) shape() (float64, bool) {
	return rootOfRising(1, maxShape, func(k float64) float64 {
		s, sy, _ := l.powers(k)
		return sy/s - 1/k - l.sum/l.failed
	})
}

// atShape is the log-likelihood of a shape with the scale that suits it best.
func (l *life) atShape(k float64) float64 {
	s, _, _ := l.powers(k)
	r := l.failed
	return r*math.Log(k) - r*math.Log(s/r) + k*l.sum - l.sum - r - r*math.Log(l.longest)
}

// atQuantile is the log-likelihood with the best shape, if (t/scale)^shape is c at
// t cycles, t = longest·exp(x).
func (l *life) atQuantile(x, c float64) float64 {
	slope := func(k float64) float64 {
		d, e := l.sum-l.failed*x, 0.0
		for _, y := range l.y {
			e += (y - x) * math.Exp(k*(y-x))
		}
		return c*e - l.failed/k - d
	}
	k, ok := rootOfRising(1, maxShape, slope)
	if !ok {
		k = maxShape
	}
	sum := 0.0
	for _, y := range l.y {
		sum += math.Exp(k * (y - x))
	}
	r := l.failed
	return r*math.Log(k*c) + k*(l.sum-r*x) - c*sum - l.sum - r*math.Log(l.longest)
}

// covariance inverts the observed information. With z = (t/scale)^shape it is, in
// ln scale and ln shape, r·shape², -shape·Σ z ln z and r + Σ z ln²z.
func (w *Weibull) covariance() {
	l, k := &w.life, w.Shape.Value
	offset := math.Log(w.Scale.Value / l.longest)
	var zl, zll float64
	for _, y := range l.y {
		lz := k * (y - offset)
		z := math.Exp(lz)
		zl += z * lz
		zll += z * lz * lz
	}
	a, b, c := l.failed*k*k, -k*zl, l.failed+zll
	det := a*c - b*b
	w.Covariance = [2][2]float64{{c / det, -b / det}, {-b / det, a / det}}
}

func (w *Weibull) deviate() float64 { return distuv.UnitNormal.Quantile((1 + w.Confidence) / 2) }

// fall is by how much the log-likelihood may fall within the bounds.
func (w *Weibull) fall() float64 { return chiSquare(w.Confidence, 1) / 2 }

func (w *Weibull) shapeBounds() Estimate {
	sd := math.Sqrt(w.Covariance[1][1])
	e := spread(w.Shape.Value, w.deviate()*sd)
	top := w.LogLikelihood - w.fall()
	l := &w.life
	x := math.Log(w.Shape.Value)
	at := func(x float64) float64 { return l.atShape(math.Exp(x)) - top }
	e.Likelihood = Interval{math.Exp(edge(x, -sd, at)), math.Exp(edge(x, sd, at))}
	return e
}

// quantile estimates the cycles t with (t/scale)^shape = c.
func (w *Weibull) quantile(c float64) Estimate {
	l, k := &w.life, w.Shape.Value
	lc := math.Log(c)
	v := w.Covariance
	g := -lc / k // of ln t by ln shape
	sd := math.Sqrt(math.Max(0, v[0][0]+2*g*v[0][1]+g*g*v[1][1]))
	scale := w.Scale.Value
	e := spread(scale*math.Exp(lc/k), w.deviate()*sd)
	top := w.LogLikelihood - w.fall()
	x := math.Log(e.Value / l.longest)
	at := func(x float64) float64 { return l.atQuantile(x, c) - top }
	e.Likelihood = Interval{l.longest * math.Exp(edge(x, -sd, at)), l.longest * math.Exp(edge(x, sd, at))}
	return e
}

// Life estimates the cycles by which the share p of boards has failed, p between 0
// and 1: Life(0.1) is B10.
func (w *Weibull) Life(p float64) (Estimate, error) {
	if !(p > 0 && p < 1) {
		return Estimate{}, fmt.Errorf("life of the share %g: it must lie between 0 and 1", p)
	}
	return w.quantile(-math.Log1p(-p)), nil
}

func (w *Weibull) doubt(units []Unit) {
	add := func(format string, a ...any) { w.Doubts = append(w.Doubts, fmt.Sprintf(format, a...)) }
	switch {
	case w.Failures == 1:
		add("a single failure fixes no shape; give one from experience instead, and see the bounds it gives")
	case w.Failures < 10:
		add("%s only: the shape comes out too high on average, and the Fisher bounds too narrow; use the likelihood bounds", words.Count(w.Failures, "failure"))
	}
	if w.Failures >= 2 && w.Shape.Value < 0.8 && w.ConstantP < 0.05 {
		add("shape %.2g: early failures; boards of two kinds (good and bad) mixed look the same", w.Shape.Value)
	}
	w.Doubts = append(w.Doubts, doubtLoads(units)...)
}

// spread is a value with its bounds on a logarithmic scale.
func spread(value, d float64) Estimate {
	return Estimate{Value: value, Fisher: Interval{value * math.Exp(-d), value * math.Exp(d)}}
}
