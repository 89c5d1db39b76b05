package report

import (
	"math"
	"math/rand/v2"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/picture"
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
	// drawn are the first values with what became of them; nil as soon as they are too many to draw.
	drawn []picture.Dot
}

func (s *reservoir) add(x float64, v analyze.Verdict) {
	s.n++
	if s.n <= picture.MostDots {
		s.drawn = append(s.drawn, picture.Dot{Value: x, Out: v == analyze.Fail, Open: v == analyze.Undecided})
	} else {
		s.drawn = nil
	}
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

// dots are all values with what became of them, nil where they are too many to draw.
func (s *reservoir) dots() []picture.Dot { return s.drawn }

// quantile is the value that a share of the sample, 0 to 1, does not exceed. There must be
// one.
func (s *reservoir) quantile(share float64) float64 {
	x := slices.Sorted(slices.Values(s.sample))
	return x[max(0, int(math.Ceil(share*float64(len(x))))-1)]
}

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
