package report

import (
	"math/rand/v2"
	"slices"
)

// reservoirLen is up to how many values a row's median is exact.
const reservoirLen = 10_000

// reservoir keeps values for a median in bounded memory. Up to reservoirLen
// values it keeps all; beyond that an evenly drawn random sample of that many
// (Vitter's algorithm R), from which the median is estimated: its rank is then off
// by no more than 1 % of the values in 95 of 100 cases (2·√(0.25/10,000)). The draw has a
// fixed seed, so the same record gives the same text. Taking every second value
// instead would always meet the same one of two equal events in a cycle.
type reservoir struct {
	sample []float64
	n      int
	random *rand.Rand
}

func (s *reservoir) add(x float64) {
	s.n++
	if len(s.sample) < reservoirLen {
		s.sample = append(s.sample, x)
		return
	}
	if s.random == nil {
		s.random = rand.New(rand.NewPCG(1, 2))
	}
	if i := s.random.IntN(s.n); i < len(s.sample) {
		s.sample[i] = x
	}
}

// exact reports whether every value seen is in the sample.
func (s *reservoir) exact() bool { return s.n == len(s.sample) }

// median returns the middle value, or the mean of the two in the middle. There
// must be a value.
func (s *reservoir) median() float64 {
	x := slices.Sorted(slices.Values(s.sample))
	n := len(x)
	if n%2 == 1 {
		return x[n/2]
	}
	return x[n/2-1] + (x[n/2]-x[n/2-1])/2
}
