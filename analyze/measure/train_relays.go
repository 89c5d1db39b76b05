package measure

import (
	"math"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// tells reports whether an output told the relay behind it several things, each of which counts.
func (t *train) tells() bool {
	return t != nil && !t.crowded && (len(t.turns) > 1 || t.after && len(t.turns) > 0)
}

// measureTrain looks at what a relay's contacts did at each edge of its output, and reports of each
// quantity the worst.
func (r *relayMeter) measureTrain(m *Meter, c *capture.Capture, e capture.Event, to capture.Instant) []contacts {
	t, tr := r.output.now.train, c.Traces[r.output.index]
	row := len(m.out)
	all := make([]contacts, 0, len(t.turns))
	for i := range t.turns {
		x := &t.turns[i]
		from, till := told(tr, x, e), to
		if i == 0 && t.x.Demand == analyze.Train {
			from = e.At // what it does before its output is its own doing
		}
		if i+1 < len(t.turns) {
			till = told(tr, &t.turns[i+1], e)
		}
		k := r.changes(c, from, till)
		k.command = command{true, x.high, x.cross, x.placed}
		if i+1 == len(t.turns) && !t.ends() && k.brief() && !k.done() {
			continue // the event came while it was on its way
		}
		r.report(m, e, k)
		all = append(all, k)
	}
	m.worst(row)
	r.reportMargins(m, c, e)
	return all
}

// ends reports whether the output was to come to rest before the next event.
func (t *train) ends() bool { return t.x.Demand != analyze.Any && !t.x.Flashes() }

// done reports whether the contacts that are wired came to rest where they were told to.
func (x contacts) done() bool {
	is := func(c change, closed bool) bool { return c.track == nil || c.end == closed && c.rests }
	return is(x.make, x.command.rising) && is(x.brk, !x.command.rising)
}

// told is when an output's turn told its relay something: no later than at the first sample after
// it, and no sooner than at the last one before.
func told(tr *capture.Trace, t *turn, e capture.Event) capture.Instant {
	at := t.from
	if times, _, earlier := tr.Near(at, 1, 0); earlier == 1 {
		at = capture.Instant(times[0])
	}
	return max(e.At, at)
}

// worst leaves of the rows from one on the worst of each signal and quantity. It is the farthest
// of so many, and its uncertainty says so.
func (m *Meter) worst(row int) {
	type key struct {
		signal string
		q      analyze.Quantity
	}
	rows := m.out[row:]
	at, n := map[key]int{}, map[key]int{}
	kept := make([]analyze.Measurement, 0, len(rows))
	for i := range rows {
		x := &rows[i]
		k := key{x.Signal, x.Quantity}
		n[k]++
		j, seen := at[k]
		switch {
		case !seen:
			at[k] = len(kept)
			kept = append(kept, *x)
		case worseThan(x, &kept[j]):
			kept[j] = *x
		}
	}
	m.out = m.out[:row]
	for i := range kept {
		x := kept[i]
		if count := n[key{x.Signal, x.Quantity}]; count > 1 && len(x.Budget) > 0 && x.Bound() == analyze.NoBound {
			before := x.Verdict
			x.Budget = farthestBudget(x.Budget, count)
			Judge(&x, m.plan.Decide)
			if before == analyze.Undecided && x.Verdict == analyze.Pass {
				x.LeaveUndecided()
			}
		}
		m.out = append(m.out, x)
	}
}

// worseThan reports whether one figure is worse than another of its quantity: by its verdict, then
// by how near it is to its limit, or beyond; without a limit the larger one is.
func worseThan(a, b *analyze.Measurement) bool {
	if x, y := a.Verdict.Gravity(), b.Verdict.Gravity(); x != y {
		return x > y
	}
	switch x, y := room(a), room(b); {
	case math.IsNaN(y):
		return !math.IsNaN(x)
	case math.IsNaN(x):
		return false
	default:
		return x < y
	}
}

// room is how far a figure lies within its limit, negative beyond it; without one the less the
// larger the figure is.
func room(x *analyze.Measurement) float64 {
	switch lo, hi := x.Value-x.Limit.Lower, x.Limit.Upper-x.Value; {
	case x.Limit.None():
		return -x.Value
	case math.IsNaN(lo):
		return hi
	case math.IsNaN(hi):
		return lo
	default:
		return math.Min(lo, hi)
	}
}
