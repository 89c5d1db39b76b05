package gum

import "math"

// Combined is the outcome of propagating a budget.
type Combined struct {
	Standard         float64 // combined standard uncertainty, GUM equation 10
	DegreesOfFreedom float64 // effective ones, GUM equation G.2b; may be infinite
	Excess           float64 // excess kurtosis of the sum, 0 for a normal one
}

// Combine propagates uncorrelated components through a linear model: the law of
// propagation of uncertainty
//
//	u_c² = Σ (c_i·u_i)²                  (GUM 5.1.2, equation 10)
//
// the Welch-Satterthwaite formula
//
//	ν_eff = u_c⁴ / Σ (c_i·u_i)⁴/ν_i      (GUM G.4.1, equation G.2b)
//
// and, as fourth cumulants of independent quantities add, the excess kurtosis
//
//	γ = Σ γ_i·(c_i·u_i)⁴ / u_c⁴
//
// ν_eff is not truncated to a whole number. Negative or undefined standard
// uncertainties are the caller's mistake and give NaN.
func Combine(components []Component) Combined {
	var variance, welch, fourth float64
	for i := range components {
		c := &components[i]
		x := c.Contribution()
		if !(x >= 0) {
			return Combined{math.NaN(), math.NaN(), math.NaN()}
		}
		v := x * x
		variance += v
		if c.DegreesOfFreedom > 0 && !math.IsInf(c.DegreesOfFreedom, 1) {
			welch += v * v / c.DegreesOfFreedom
		}
		fourth += v * v * excess(c.Distribution)
	}
	out := Combined{Standard: math.Sqrt(variance), DegreesOfFreedom: math.Inf(1)}
	if variance > 0 {
		if welch > 0 {
			out.DegreesOfFreedom = variance * variance / welch
		}
		out.Excess = fourth / (variance * variance)
	}
	return out
}

// Covariance returns the covariance of two results that depend on the same inputs:
// a and b are the inputs as the budgets of either (their standard uncertainties
// agree, their sensitivities do not), r[i][j] is the correlation coefficient of
// inputs i and j:
//
//	u(y_a, y_b) = Σ_i Σ_j c_ai·c_bj·u_i·u_j·r_ij      (GUM H.2.3, equation H.9)
func Covariance(a, b []Component, r [][]float64) float64 {
	var sum float64
	for i, x := range a {
		for j, y := range b {
			sum += x.Sensitivity * y.Sensitivity * x.Standard * y.Standard * r[i][j]
		}
	}
	return sum
}

// Correlated returns the combined standard uncertainty where inputs i and j have the
// correlation coefficient r[i][j] (GUM 5.2.2, equation 16).
func Correlated(components []Component, r [][]float64) float64 {
	return math.Sqrt(math.Max(0, Covariance(components, components, r)))
}

// Sensitivities returns the partial derivatives of f by its arguments at x as the
// GUM lets them be found: by how much f changes where argument i changes by its
// standard uncertainty u[i] to both sides (GUM 5.1.3, note 2). An argument that is
// known exactly has none.
func Sensitivities(f func(x []float64) float64, x, u []float64) []float64 {
	c := make([]float64, len(x))
	at := append([]float64(nil), x...)
	for i := range x {
		if u[i] == 0 {
			continue
		}
		at[i] = x[i] + u[i]
		above := f(at)
		at[i] = x[i] - u[i]
		c[i] = (above - f(at)) / (2 * u[i])
		at[i] = x[i]
	}
	return c
}
