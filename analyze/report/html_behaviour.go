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
	Rows   []pageOutput
}

// pageOutput are outputs that had to do the same and did the same.
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
		part := pageBehaviour{}
		for _, e := range t.Events[from:to] {
			part.Events = append(part.Events, oneLine(eventWords(e.Name)))
		}
		part.Rows = behaviourRows(t, from, to)
		parts = append(parts, part)
	}
	return parts
}

// behaviourRows are a part's rows: the outputs that the plan names, then those that did what
// they must not, then the others. Outputs of which the same is to be said share a row.
func behaviourRows(t *behaviour.Table, from, to int) []pageOutput {
	var rows []pageOutput
	var names [][]string // of the outputs of each row
	var joined []bool
	for _, o := range t.Outputs {
		cells := pageCells(t, &o, from, to)
		i := slices.IndexFunc(rows, func(x pageOutput) bool { return slices.Equal(x.Cells, cells) })
		if i < 0 || o.Named || !joined[i] {
			i = len(rows)
			rows, names, joined = append(rows, pageOutput{Cells: cells}), append(names, nil), append(joined, !o.Named)
		}
		names[i] = append(names[i], oneLine(o.Signal))
	}
	for i := range rows {
		slices.SortFunc(names[i], func(a, b string) int { return cmp.Or(len(a)-len(b), strings.Compare(a, b)) })
		rows[i].Outputs = words.List(words.Runs(names[i]))
	}
	named := 0
	for named < len(rows) && !joined[named] {
		named++
	}
	slices.SortStableFunc(rows[named:], func(a, b pageOutput) int { return b.gravity() - a.gravity() })
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
