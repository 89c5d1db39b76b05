package trend

import "math"

// moments are mean, variance and lag-1 autocorrelation of a stream.
type moments struct {
	n    int64
	mean float64
	m2   float64 // sum of squared deviations from the mean

	// For the autocorrelation, all relative to the first value, which keeps the
	// sums small where the values sit on a large offset.
	first, last float64
	sum         float64 // of all values
	products    float64 // of neighbours
}

func (m *moments) add(x float64) {
	if m.n == 0 {
		m.first = x
	}
	u := x - m.first
	if m.n > 0 {
		m.products += u * m.last
	}
	m.sum += u
	m.last = u
	m.n++
	d := x - m.mean
	m.mean += d / float64(m.n)
	m.m2 += d * (x - m.mean)
}

// sd is the sample standard deviation, NaN for fewer than two values.
func (m *moments) sd() float64 {
	if m.n < 2 {
		return math.NaN()
	}
	return math.Sqrt(m.m2 / float64(m.n-1))
}

// lag1 is the autocorrelation of neighbouring values: the sum of
// (x[i]-mean)(x[i+1]-mean) over the sum of (x[i]-mean)², as NIST StRD defines it.
// It is NaN where all values are equal.
func (m *moments) lag1() float64 {
	if m.n < 2 || m.m2 == 0 {
		return math.NaN()
	}
	d := m.mean - m.first
	// Sums without the last and without the first value (which is 0 here).
	head, tail := m.sum-m.last, m.sum
	r := (m.products - d*(head+tail) + float64(m.n-1)*d*d) / m.m2
	return math.Max(-1, math.Min(1, r))
}
