package drawnpanel

import (
	"math"
	"math/rand/v2"
	"time"
)

// dice draws.
type dice struct{ *rand.Rand }

func newDice(seed, part uint64) dice { return dice{rand.New(rand.NewPCG(seed, part))} }

// chance is true with a probability.
func (d dice) chance(p float64) bool { return d.Float64() < p }

// between draws evenly.
func (d dice) between(low, high float64) float64 { return low + (high-low)*d.Float64() }

// time draws evenly in the logarithm, as a panel's programming has it: in steps of 10 ms.
func (d dice) time(low, high time.Duration) time.Duration {
	x := float64(low) * math.Exp(d.Float64()*math.Log(float64(high)/float64(low)))
	return time.Duration(x).Round(10 * time.Millisecond)
}

func oneOf[T any](d dice, all ...T) T { return all[d.IntN(len(all))] }
