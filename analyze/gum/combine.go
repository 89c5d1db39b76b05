package gum

import "math"

// Combined is the outcome of propagating a budget.
type Combined struct {
	Standard         float64 // combined standard uncertainty in the result's unit, GUM equation 10
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
