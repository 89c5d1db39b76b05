package survey

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// Spread is how the figures of one quantity are spread. Figures are in the quantity's base unit.
type Spread struct {
	N         int
	Mean      float64 // in the quantity's base unit
	Deviation float64 // standard deviation, in the quantity's base unit; NaN: of one figure
	Least     float64 // in the quantity's base unit
	Most      float64 // in the quantity's base unit
	// Expanded is the largest expanded uncertainty (95 %) of a figure, in the quantity's base
	// unit; NaN: none is known.
	Expanded float64
}

// spreadOf sums up figures and their expanded uncertainties.
func spreadOf(values, expanded []float64) Spread {
	s := Spread{N: len(values), Mean: math.NaN(), Deviation: math.NaN(), Least: math.NaN(), Most: math.NaN(), Expanded: math.NaN()}
	if s.N == 0 {
		return s
	}
	s.Mean, s.Least, s.Most = 0, values[0], values[0]
	for i, v := range values {
		s.Mean += (v - s.Mean) / float64(i+1)
		s.Least, s.Most = math.Min(s.Least, v), math.Max(s.Most, v)
	}
	for _, u := range expanded {
		if !math.IsNaN(u) && !(u <= s.Expanded) {
			s.Expanded = u
		}
	}
	if s.N < 2 {
		return s
	}
	sum := 0.0
	for _, v := range values {
		sum += (v - s.Mean) * (v - s.Mean)
	}
	s.Deviation = math.Sqrt(sum / float64(s.N-1))
	return s
}

// Interval returns the limits between which the share coverage of all such figures lies, with
// the probability confidence, where they are normally distributed. Both are NaN where there are
// fewer than two figures.
func (s Spread) Interval(coverage, confidence float64) (low, high float64) {
	if s.N < 2 {
		return math.NaN(), math.NaN()
	}
	half := Factor(s.N, coverage, confidence) * s.Deviation
	return s.Mean - half, s.Mean + half
}

// Factor is how many standard deviations a two-sided statistical tolerance interval reaches to
// each side of the mean of n figures of a normal distribution: with the probability confidence it
// holds the share coverage of that distribution. It is the exact one, which ISO 16269-6
// tabulates (from memory): with x the mean's distance from the middle in standard deviations and
// r half the width that holds the share from there,
//
//	P(χ²(n-1) > (n-1)·r(x)²/k²)  in the mean over x ~ N(0, 1/n)  =  confidence
//
// It is NaN where n is below 2 or a share is not between 0 and 1.
func Factor(n int, coverage, confidence float64) float64 {
	if n < 2 || !(coverage > 0 && coverage < 1) || !(confidence > 0 && confidence < 1) {
		return math.NaN()
	}
	about := around(n, coverage)
	high := howe(n, coverage, confidence)
	low := high / 2
	for about.confidence(low) > confidence {
		low /= 2
	}
	for about.confidence(high) < confidence {
		high *= 2
	}
	for high-low > 1e-7*high {
		if k := (low + high) / 2; about.confidence(k) < confidence {
			low = k
		} else {
			high = k
		}
	}
	return (low + high) / 2
}

// howe is Howe's approximation of the factor (W. G. Howe, Journal of the American Statistical
// Association 64, 1969, 610; NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3).
func howe(n int, coverage, confidence float64) float64 {
	nu := float64(n - 1)
	z := distuv.UnitNormal.Quantile((1 + coverage) / 2)
	return z * math.Sqrt(nu*(1+1/float64(n))/distuv.ChiSquared{K: nu}.Quantile(1-confidence))
}

// widths are the half-widths that hold a share about the mean of n figures, by how far the mean
// lies off, with the weight of each.
type widths struct {
	chi     distuv.ChiSquared
	squares []float64 // of the half-widths, in variances
	weights []float64
}

// around returns the widths for means of n figures.
func around(n int, coverage float64) widths {
	const reach, points = 9, 60 // standard deviations of the mean: beyond, nothing counts
	w := widths{chi: distuv.ChiSquared{K: float64(n - 1)}, squares: make([]float64, points), weights: make([]float64, points)}
	at := make([]float64, points)
	quad.Legendre{}.FixedLocations(at, w.weights, 0, reach)
	for i, z := range at {
		r := halfWidth(z/math.Sqrt(float64(n)), coverage)
		w.squares[i] = r * r
		w.weights[i] *= 2 * distuv.UnitNormal.Prob(z)
	}
	return w
}

// confidence is the probability with which k standard deviations to each side hold the share.
func (w *widths) confidence(k float64) float64 {
	sum := 0.0
	for i, r := range w.squares {
		sum += w.weights[i] * w.chi.Survival(w.chi.K*r/(k*k))
	}
	return sum
}

// halfWidth is half the width, in standard deviations, of the interval about x that holds the
// share of the unit normal distribution.
func halfWidth(x, coverage float64) float64 {
	z := distuv.UnitNormal.Quantile((1 + coverage) / 2)
	low, high := z, z+math.Abs(x)
	for range 100 {
		r := (low + high) / 2
		if high-low < 1e-12*r {
			break
		}
		if distuv.UnitNormal.CDF(x+r)-distuv.UnitNormal.CDF(x-r) < coverage {
			low = r
		} else {
			high = r
		}
	}
	return (low + high) / 2
}
