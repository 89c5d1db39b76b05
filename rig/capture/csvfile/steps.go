package csvfile

import "math"

// What the samples of a column must show of their own resolution.
const (
	// fewSamples is how many samples a column has until they say anything of their steps: a
	// capture typed by hand has few, and is taken at its decimals.
	fewSamples = 20
	// coarsest is how many steps an instrument has, at least, over what a capture spans: a
	// quarter of the 256 of a converter of 8 bits (common practice, no source).
	coarsest = 64
	// leastSpan is the least that a capture is taken to span, in volts: until an output has
	// switched nobody knows what its instrument was set to.
	leastSpan = 12.0
	// someValues is how many different values are compared with each new one.
	someValues = 48
)

// steps follows a column's voltages for the steps that they come in. An instrument's steps
// can be coarser than its decimals: one of 8 bits that spans 20 V has steps of 78 mV, to
// however many places it writes them. Any two of its values differ by whole steps, so that
// the smallest difference seen is one step or more, never less but for the rounding of
// decimals. Where all samples of a state have one value, they show no step at all: what an
// instrument of few bits would have stands for it.
type steps struct {
	n       int
	unit    float64 // of the last decimal place, volts
	before  float64 // the sample before
	least   float64 // smallest difference of two values, volts
	lo, hi  float64
	some    [someValues]float64
	entries int // of some
}

// take takes a sample in and reports whether the step may have changed.
func (s *steps) take(v float64) (changed bool) {
	s.n++
	if v == s.before && s.n > fewSamples {
		return false
	}
	if s.n == 1 {
		s.before, s.lo, s.hi, s.least = v, v, v, math.Inf(1)
	}
	if d := math.Abs(v - s.before); d < s.least && d > 0 {
		s.least, changed = d, true
	}
	s.before = v
	if v < s.lo || v > s.hi {
		s.lo, s.hi, changed = min(s.lo, v), max(s.hi, v), true
	}
	if s.entries < someValues {
		changed = s.compare(v) || changed
	}
	return changed || s.n == fewSamples
}

// compare takes in how near the value lies to some of those before.
func (s *steps) compare(v float64) (changed bool) {
	for _, w := range s.some[:s.entries] {
		d := math.Abs(v - w)
		if d == 0 {
			return changed
		}
		if d < s.least {
			s.least, changed = d, true
		}
	}
	s.some[s.entries] = v
	s.entries++
	return changed
}

// volts is the step: one unit of the last decimal place where the values differ by no more,
// or where there are too few to tell.
func (s *steps) volts() float64 {
	if s.n < fewSamples {
		return s.unit
	}
	step := math.Min(s.least, max(s.hi-s.lo, leastSpan)/coarsest)
	perVolt := math.Round(1 / s.unit)
	// Differences of decimals are whole units, but for the last bits of a float64.
	return max(s.unit, math.Round(step*perVolt)/perVolt)
}
