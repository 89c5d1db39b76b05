package report

import (
	"cmp"
	"slices"

	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/analyze/tally"
)

// mostCompared is how many courses of two soaks are drawn one over the other.
const mostCompared = 8

// courses draws quantities of two soaks one over the other: those that moved, then those that a
// reader needs most.
func (c *Comparison) courses() ([]overlay, error) {
	if c.Now.Tally == nil || c.Before.Tally == nil {
		return nil, nil
	}
	for _, r := range []*Record{c.Now, c.Before} {
		if err := (&soakPage{}).complete(r); err != nil {
			return nil, err
		}
	}
	before := map[tally.Key]*Trend{}
	earlier := trendsOf(c.Before)
	for i := range earlier {
		before[earlier[i].row.Key] = &earlier[i]
	}
	moved := map[tally.Key]bool{}
	for _, r := range c.moved() {
		moved[tally.Key{Signal: r.Signal, Quantity: r.Quantity, Event: r.Event}] = true
	}
	all := trendsOf(c.Now)
	slices.SortStableFunc(all, func(a, b Trend) int {
		first := func(t *Trend) int { return map[bool]int{true: 0, false: 1}[moved[t.row.Key]] }
		return cmp.Or(first(&a)-first(&b), a.rank().compare(b.rank()))
	})
	var out []overlay
	for i := range all {
		now := &all[i]
		then := before[now.row.Key]
		constant := now.Min.Value == now.Max.Value && (then == nil || then.Min.Value == then.Max.Value) && !moved[now.row.Key]
		if then == nil || now.N == 0 || then.N == 0 || constant || len(out) == mostCompared {
			continue
		}
		drawing, err := look.Drawn(c.courseOver(now, then).Inline)
		if err != nil {
			return nil, err
		}
		out = append(out, overlay{now.heading(), drawing})
	}
	return out, nil
}

// courseOver is a quantity's course with the other run's behind it.
func (c *Comparison) courseOver(now, then *Trend) *picture.Course {
	x := now.course(c.Now.Tally.Last, nil)
	b := &picture.Behind{Words: "dashed: run " + oneLine(c.Before.Run)}
	b.Values, b.Bands = now.drawer().spread(then)
	x.Behind = b
	return x
}
