package runner

import (
	"math"

	"makebreak/analyze"
	"makebreak/sequences/journal"
)

// Keeper decides which captures of a soak are kept: by their number, because the
// cycle did not pass, or because one of its figures went further than ever.
type Keeper struct {
	policy journal.Retention
	bad    int // kept so far because they did not pass or drifted
	left   int // not kept, though they did not pass or drifted
	usual  map[quantityAt]*usual
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
	return &Keeper{policy: policy, bad: bad, usual: map[quantityAt]*usual{}}
}

// Keep says whether and why a cycle's capture is kept. It is called once for each
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
		k.left++
	}
	if p.Last > 0 {
		return journal.KeptLast
	}
	return journal.NotKept
}

// Left says how many cycles did not pass, or drifted, and were not kept for it, as
// there were more than the policy keeps.
func (k *Keeper) Left() int { return k.left }

// Learn takes in a figure and reports whether it went further than ever.
func (k *Keeper) Learn(m *analyze.Measurement) bool {
	if math.IsNaN(m.Value) || math.IsInf(m.Value, 0) {
		return false
	}
	at := quantityAt{m.Event, m.Signal, m.Quantity}
	u := k.usual[at]
	if u == nil {
		u = &usual{}
		k.usual[at] = u
	}
	return u.add(m.Value)
}

// usual is the range of a quantity's values so far, and their standard deviation by
// Welford's update (Knuth, The Art of Computer Programming 2, 4.2.2).
type usual struct {
	n         int
	mean, m2  float64
	low, high float64
}

func (u *usual) add(x float64) (unusual bool) {
	if u.n == 0 {
		u.low, u.high = x, x
	}
	reach := 0.0
	if u.n >= learning {
		reach = further * math.Sqrt(u.m2/float64(u.n-1))
		unusual = x > u.high+reach || x < u.low-reach
	}
	// A value only just beyond the others does not count and does not move the
	// range, else a slow drift would never be seen.
	if u.n < learning || unusual {
		u.low, u.high = math.Min(u.low, x), math.Max(u.high, x)
	}
	u.n++
	d := x - u.mean
	u.mean += d / float64(u.n)
	u.m2 += d * (x - u.mean)
	return unusual
}
