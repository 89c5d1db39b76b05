package drawnbench

import (
	"math"
	"math/rand/v2"
)

// dice draws.
type dice struct{ *rand.Rand }

func newDice(seed uint64, part uint64) dice { return dice{rand.New(rand.NewPCG(seed, part))} }

// chance is true with a probability.
func (d dice) chance(p float64) bool { return d.Float64() < p }

// between draws evenly.
func (d dice) between(low, high float64) float64 { return low + (high-low)*d.Float64() }

// spread draws evenly in the logarithm: as many between 1 and 2 as between 10 and 20.
func (d dice) spread(low, high float64) float64 {
	return low * math.Exp(d.Float64()*math.Log(high/low))
}

func oneOf[T any](d dice, all ...T) T { return all[d.IntN(len(all))] }

// upTo draws 0 to the number of shares less one, each with its share.
func (d dice) upTo(shares ...float64) int {
	sum := 0.0
	for _, s := range shares {
		sum += s
	}
	x := d.Float64() * sum
	for i, s := range shares {
		if x -= s; x < 0 {
			return i
		}
	}
	return len(shares) - 1
}
