package behaviour

import (
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/tally"
)

// Table has the outputs and the relays down and the events across.
type Table struct {
	Events  []Event
	Outputs []Output
	Relays  []Relay // of the plan, in its order
}

// Event is one column.
type Event struct {
	Name string
	// Step is its place among the sequence's steps, from 1; 0: all steps of that name
	// together, or none of the sequence's.
	Step int
	Move *analyze.Move // what it does to the supply; nil: nothing
}

// Output is one row, with as many cells as there are events.
type Output struct {
	Signal string
	Named  bool // in the plan; else one of the others, which may have to keep their state
	Cells  []Cell
}

// Cell is what one output had to do at one event, and its figures there over all cycles.
type Cell struct {
	Expect analyze.Expectation // Any: nothing was demanded
	// Delay, Pulse, Hold, Low and High are the switching delay, the duration of a pulse, the
	// time out of the state and the levels; nil: there is no such figure.
	Delay, Pulse, Hold, Low, High *tally.Row
	// Count, On and Off are the number of pulses and their times, where it pulsed or flashed.
	Count, On, Off *tally.Row
	// Rows are all figures of the output there, those among them.
	Rows []*tally.Row
	// Supply says that the event moves the supply: an output then follows it.
	Supply bool
}

// Verdict is the gravest of the cell's figures.
func (c *Cell) Verdict() analyze.Verdict { return gravest(c.Rows) }

// gravest is the gravest verdict of figures.
func gravest(rows []*tally.Row) analyze.Verdict {
	for _, v := range []analyze.Verdict{analyze.Fail, analyze.Undecided, analyze.Pass} {
		if slices.ContainsFunc(rows, func(x *tally.Row) bool { return x.Verdicts[v.Gravity()] > 0 }) {
			return v
		}
	}
	return analyze.NoVerdict
}

// Deed is what an output did, by its figures.
type Deed int

// The deeds, the graver the earlier.
const (
	DidNotSwitch Deed = iota // it was to go high or low and did not
	DidNotPulse
	Left    // it was out of its state for a time
	NotSeen // what it did is not known
	WasThere
	Pulsed
	Counted  // it pulsed or flashed
	Switched // it went where it had to
	Stayed   // it kept its state
)

// Done is one thing that an output did.
type Done struct {
	Deed Deed
	N    int // figures that show it, one a cycle and event; 0: how many is not known
	Of   int // figures there are
	// Row has the times: the delay of Switched, the duration of Pulsed, the time out of the
	// state of Left; nil: there are none.
	Row *tally.Row
	// Remark says why it is not known what the output did; nil: nothing more is known.
	Remark *tally.Remark
}

// Done lists what the output did over the cycles, the gravest first. Nothing: it was not
// looked at.
func (c *Cell) Done() []Done {
	var all []Done
	switch {
	case c.Count != nil && c.Count.High > 0:
		all = moves(c.Count, Counted)
	case c.Count != nil && c.Delay != nil:
		all = moves(c.Delay, Switched) // which says that it did not go high
	case c.Pulse != nil:
		all = moves(c.Pulse, Pulsed)
	case c.Delay != nil:
		all = moves(c.Delay, Switched)
	}
	if c.Hold != nil {
		all = append(all, c.held(len(all) > 0)...)
	}
	slices.SortStableFunc(all, func(a, b Done) int { return int(a.Deed - b.Deed) })
	return all
}

// moves says what the figures of a move show.
func moves(x *tally.Row, did Deed) []Done {
	var all []Done
	if x.Values > 0 {
		all = append(all, Done{Deed: did, N: x.Values, Of: x.Figures, Row: x})
	}
	known := x.Values
	for i := range x.Remarks {
		r := &x.Remarks[i]
		if !r.Missing() {
			continue
		}
		d := Done{Deed: NotSeen, N: r.N, Of: x.Figures}
		if len(r.Example.Doubts) > 0 {
			switch r.Example.Doubts[0].Code {
			case analyze.DidNotGoHigh, analyze.DidNotGoLow:
				d.Deed = DidNotSwitch
			case analyze.DidNotPulse:
				d.Deed = DidNotPulse
			case analyze.AlreadyHigh, analyze.AlreadyLow:
				d.Deed = WasThere
			default:
				d.Remark = r
			}
		}
		all, known = append(all, d), known+r.N
	}
	if rest := x.Figures - known; rest > 0 {
		all = append(all, Done{Deed: NotSeen, N: rest, Of: x.Figures})
	}
	return all
}

// held says what the figure of the time out of the state shows. Where the output moved, its
// staying there needs no word, nor does a hold that is missing because it never came there.
func (c *Cell) held(moved bool) []Done {
	x := c.Hold
	var all []Done
	if x.Values > 0 && x.High > 0 {
		all = append(all, Done{Deed: Left, N: x.Verdicts[analyze.Fail.Gravity()], Of: x.Figures, Row: x})
	}
	if moved {
		return all
	}
	if len(all) == 0 && x.Values > 0 {
		all = append(all, Done{Deed: Stayed, N: x.Values, Of: x.Figures})
	}
	if missing := x.Figures - x.Values; missing > 0 {
		d := Done{Deed: NotSeen, N: missing, Of: x.Figures}
		for i := range x.Remarks {
			if r := &x.Remarks[i]; r.Missing() && d.Remark == nil {
				d.Remark = r
			}
		}
		all = append(all, d)
	}
	return all
}

// Beyond are the cell's figures with its gravest verdict, fail or undecided, that say more
// than Done does: levels, ripple, and times beyond their limits.
func (c *Cell) Beyond() []*tally.Row {
	rows := beyondOf(c.Rows, c.Verdict())
	still := slices.ContainsFunc(c.Done(), func(d Done) bool { return (d.Deed == DidNotSwitch || d.Deed == DidNotPulse) && d.N == d.Of })
	return slices.DeleteFunc(rows, func(x *tally.Row) bool {
		if x == c.On || x == c.Off || x == c.Count && still {
			return x.Values == 0 || still
		}
		return x == c.Hold || still && (x == c.Low || x == c.High) // a level it never left is no news
	})
}

// beyondOf are the rows of which figures with a value have a verdict, fail or undecided.
func beyondOf(all []*tally.Row, v analyze.Verdict) (rows []*tally.Row) {
	if v != analyze.Fail && v != analyze.Undecided {
		return nil
	}
	for _, x := range all {
		if beyond(x, v) > 0 {
			rows = append(rows, x)
		}
	}
	return rows
}

// beyond is how many figures with a value have a verdict.
func beyond(x *tally.Row, v analyze.Verdict) int {
	n := x.Verdicts[v.Gravity()]
	for i := range x.Remarks {
		if r := &x.Remarks[i]; r.Missing() && r.Example.Verdict == v {
			n -= r.N
		}
	}
	return min(n, x.Values)
}
