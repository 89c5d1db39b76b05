package report

import (
	"cmp"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/behaviour"
	"makebreak/rig/words"
)

// mostEvents is how many events stand beside one another in a table on paper; of more the
// table has several parts.
const mostEvents = 5

// pageBehaviour is the behaviour table, or a part of it.
type pageBehaviour struct {
	Events []string
	Relays bool // there are some among the rows
	Rows   []pageOutput
}

// pageOutput are outputs that had to do the same and did the same, or a relay.
type pageOutput struct {
	Outputs string
	Cells   []pageCell
}

type pageCell struct{ Event, Expected, Seen, Verdict string }

// addBehaviour adds the behaviour table and the timing diagrams. It reads the measurements
// once, of a soak those of some cycles.
func (p *page) addBehaviour(r *Record) error {
	c := newChooser(r)
	t, err := lookedThrough(r, c)
	if err != nil {
		return err
	}
	if t != nil && len(t.Outputs) > 0 && len(t.Events) > 0 {
		p.Behaviour = behaviourParts(t)
	}
	p.Timings, p.MoreTimings, err = c.timings()
	p.Drawn = len(r.Drawn) > 0
	return err
}

// lookedThrough makes the behaviour table, while the chooser sees the same figures.
func lookedThrough(r *Record, c *chooser) (*behaviour.Table, error) {
	b := behaviour.New(r.Plan)
	for m, err := range watched(r) {
		if err != nil {
			return nil, err
		}
		b.Add(&m)
		c.add(&m)
	}
	switch {
	case !demandsBehaviour(r):
		return nil, nil
	case r.Tally != nil:
		return behaviour.OfTally(r.Plan, r.Tally), nil
	}
	return b.Table(), nil
}

// behaviourParts is the behaviour table in words, in parts as wide as paper.
func behaviourParts(t *behaviour.Table) []pageBehaviour {
	var parts []pageBehaviour
	for from := 0; from < len(t.Events); from += mostEvents {
		to := min(from+mostEvents, len(t.Events))
		part := pageBehaviour{Relays: len(t.Relays) > 0}
		for _, e := range t.Events[from:to] {
			part.Events = append(part.Events, oneLine(eventWords(e.Name)))
		}
		part.Rows = behaviourRows(t, from, to)
		parts = append(parts, part)
	}
	return parts
}

// behaviourRows are a part's rows: the outputs that the plan names, each with its relay below,
// then those that did what they must not, then the others.
func behaviourRows(t *behaviour.Table, from, to int) []pageOutput {
	var rows []pageOutput
	for i := range t.Outputs {
		if o := &t.Outputs[i]; o.Named {
			rows = append(rows, pageOutput{oneLine(o.Signal), pageCells(t, o, from, to)})
			rows = append(rows, relayRows(t, o.Signal, from, to)...)
		}
	}
	rows = append(rows, relayRows(t, "", from, to)...)
	return append(rows, otherRows(t, from, to)...)
}

// relayRows are the relays behind an output; an empty name: those of which it is not known.
func relayRows(t *behaviour.Table, output string, from, to int) []pageOutput {
	var rows []pageOutput
	for i := range t.Relays {
		if r := &t.Relays[i]; r.Output == output {
			rows = append(rows, pageOutput{oneLine(r.Signal), relayCells(t, r, from, to)})
		}
	}
	return rows
}

// otherRows are the outputs that the plan does not name, the gravest first. Those of which the
// same is to be said share a row.
func otherRows(t *behaviour.Table, from, to int) []pageOutput {
	var rows []pageOutput
	var names [][]string // of the outputs of each row
	for i := range t.Outputs {
		o := &t.Outputs[i]
		if o.Named {
			continue
		}
		cells := pageCells(t, o, from, to)
		at := slices.IndexFunc(rows, func(x pageOutput) bool { return slices.Equal(x.Cells, cells) })
		if at < 0 {
			at = len(rows)
			rows, names = append(rows, pageOutput{Cells: cells}), append(names, nil)
		}
		names[at] = append(names[at], oneLine(o.Signal))
	}
	for i := range rows {
		slices.SortFunc(names[i], func(a, b string) int { return cmp.Or(len(a)-len(b), strings.Compare(a, b)) })
		rows[i].Outputs = words.List(words.Runs(names[i]))
	}
	slices.SortStableFunc(rows, func(a, b pageOutput) int { return b.gravity() - a.gravity() })
	return rows
}

// gravity is that of the row's gravest cell.
func (o pageOutput) gravity() int {
	gravity := 0
	for _, c := range o.Cells {
		gravity = max(gravity, analyze.Verdict(c.Verdict).Gravity())
	}
	return gravity
}

func pageCells(t *behaviour.Table, o *behaviour.Output, from, to int) []pageCell {
	var cells []pageCell
	for i := from; i < to; i++ {
		c := &o.Cells[i]
		cells = append(cells, pageCell{oneLine(eventWords(t.Events[i].Name)), Expected(c), Seen(c), c.Verdict().Name()})
	}
	return cells
}

func relayCells(t *behaviour.Table, r *behaviour.Relay, from, to int) []pageCell {
	var cells []pageCell
	for i := from; i < to; i++ {
		c := &r.Cells[i]
		cells = append(cells, pageCell{oneLine(eventWords(t.Events[i].Name)), RelayExpected(r, c), RelaySeen(c), c.Verdict().Name()})
	}
	return cells
}
