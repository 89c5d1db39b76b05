package soak

import (
	"math"

	"makebreak/analyze"
	"makebreak/sequences/journal"
)

// A Keeper decides which captures of a soak are kept: by their number, because the
// cycle did not pass, or because one of its figures went further than ever.
type Keeper struct {
	policy journal.Retention
	bad    int // kept so far because they did not pass or drifted
	missed int // not kept, though they did not pass or drifted
	ranges map[quantityAt]*valueRange
}

type quantityAt struct {
	event, signal string
	quantity      analyze.Quantity
}

const (
	// learning is how many values of a quantity are seen before one can be unusual.
	learning = 1000
	// further is by how many standard deviations a value must lie beyond all those
	// before it, so that a slow drift keeps some captures on its way and not each one.
	further = 0.5
)

// NewKeeper returns a keeper. bad is how many captures the run has kept already
// because a cycle did not pass or drifted.
func NewKeeper(policy journal.Retention, bad int) *Keeper {
	return &Keeper{policy: policy, bad: bad, ranges: map[quantityAt]*valueRange{}}
}

// Keep returns whether and why a cycle's capture is kept. It is called once for each
// cycle, in their order.
func (k *Keeper) Keep(c *journal.Cycle) journal.Kept {
	drifted := false
	for i := range c.Measurements {
		drifted = k.Learn(&c.Measurements[i]) || drifted
	}
	p := &k.policy
	badly := !c.Complete || c.Verdict == analyze.Fail || c.Verdict == analyze.Undecided
	switch {
	case c.N <= p.First:
		return journal.KeptFirst
	case p.Every > 0 && c.N%p.Every == 0:
		return journal.KeptEvery
	case badly && k.bad < p.Bad:
		k.bad++
		return journal.KeptBad
	case drifted && k.bad < p.Bad:
		k.bad++
		return journal.KeptDrifted
	case badly || drifted:
		k.missed++
	}
	if p.Last > 0 {
		return journal.KeptLast
	}
	return journal.NotKept
}

// NotKept returns how many cycles did not pass, or drifted, and were not kept for it, as
// there were more than the policy keeps.
func (k *Keeper) NotKept() int { return k.missed }

// Learn takes in a figure and reports whether it went further than ever.
func (k *Keeper) Learn(m *analyze.Measurement) bool {
	if math.IsNaN(m.Value) || math.IsInf(m.Value, 0) || !m.Followed() {
		return false
	}
	at := quantityAt{m.Event, m.Signal, m.Quantity}
	r := k.ranges[at]
	if r == nil {
		r = &valueRange{}
		k.ranges[at] = r
	}
	return r.add(m.Value)
}

// valueRange is the range of a quantity's values so far, and their standard deviation by
// Welford's update (Knuth, The Art of Computer Programming 2, 4.2.2).
type valueRange struct {
	n         int
	mean, m2  float64
	low, high float64
}

func (r *valueRange) add(x float64) (unusual bool) {
	if r.n == 0 {
		r.low, r.high = x, x
	}
	reach := 0.0
	if r.n >= learning {
		reach = further * math.Sqrt(r.m2/float64(r.n-1))
		unusual = x > r.high+reach || x < r.low-reach
	}
	// A value only just beyond the others does not count and does not move the
	// range, else a slow drift would never be seen.
	if r.n < learning || unusual {
		r.low, r.high = math.Min(r.low, x), math.Max(r.high, x)
	}
	r.n++
	d := x - r.mean
	r.mean += d / float64(r.n)
	r.m2 += d * (x - r.mean)
	return unusual
}
