package behaviour

import (
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/tally"
)

// Builder makes a table of figures that come one after the other, in the order in which
// they were measured. It keeps them as sums.
type Builder struct {
	plan   *analyze.Plan
	events []Event
	rows   map[place]*tally.Row
	order  []place  // of rows, as they came
	others []string // outputs that the plan does not name, as they came

	cycle, column int // where the figures are; column -1: before the first event
	here          map[tally.Key]bool
}

// place is one figure of one output in one column.
type place struct {
	column int
	tally.Key
}

// New returns a builder for what a plan demands. Nil demands nothing.
func New(plan *analyze.Plan) *Builder {
	if plan == nil {
		plan = &analyze.Plan{}
	}
	b := &Builder{plan: plan, rows: map[place]*tally.Row{}, column: -1, here: map[tally.Key]bool{}}
	for i, name := range plan.Steps {
		b.addEvent(name, i+1)
	}
	return b
}

func (b *Builder) addEvent(name string, step int) int {
	e := Event{Name: name, Step: step}
	if m, moves := b.plan.Moves[name]; moves {
		e.Move = &m
	}
	b.events = append(b.events, e)
	return len(b.events) - 1
}

// Add takes in a figure. Those of relays that the plan does not name, and of the state before
// the first event, have no part in the table.
func (b *Builder) Add(m *analyze.Measurement) {
	b.follow(m)
	if b.column < 0 || !b.shows(m.Quantity, m.Signal) {
		return
	}
	k := place{b.column, tally.Key{Signal: m.Signal, Quantity: m.Quantity, Event: m.Event}}
	x := b.rows[k]
	if x == nil {
		x = tally.NewRow(k.Key, m.Limit)
		b.put(k, x)
	}
	x.Add(m)
}

func isOutput(q analyze.Quantity) bool {
	d, known := q.Definition()
	return known && d.Of == analyze.OfOutput
}

// shows reports whether a figure is one of the table's: of an output, or of a relay of the plan.
func (b *Builder) shows(q analyze.Quantity, signal string) bool {
	d, known := q.Definition()
	return known && (d.Of == analyze.OfOutput || b.relayOf(signal) != nil)
}

func (b *Builder) put(k place, x *tally.Row) {
	b.rows[k] = x
	b.order = append(b.order, k)
	if !isOutput(k.Quantity) {
		return
	}
	if b.plan.Output(k.Signal) == nil && !slices.Contains(b.others, k.Signal) {
		b.others = append(b.others, k.Signal)
	}
}

// follow finds the step that a figure belongs to: figures name events, of which a cycle may
// have several of one name.
func (b *Builder) follow(m *analyze.Measurement) {
	k := tally.Key{Signal: m.Signal, Quantity: m.Quantity, Event: m.Event}
	if m.Cycle != b.cycle {
		b.cycle, b.column = m.Cycle, -1
		clear(b.here)
	}
	if m.Event == "" {
		return
	}
	if b.column < 0 || b.events[b.column].Name != m.Event || b.here[k] && isOutput(m.Quantity) { // a pulse's relay has a figure twice
		clear(b.here)
		b.column = b.next(m.Event)
	}
	b.here[k] = true
}

// next is the next column of an event's name: after the one where the figures are, or from
// the first on.
func (b *Builder) next(name string) int {
	for n := 1; n <= len(b.events); n++ {
		if i := (b.column + n) % len(b.events); b.events[i].Name == name {
			return i
		}
	}
	return b.addEvent(name, 0)
}

// OfTally makes the table of a soak's sums, in which steps of one name are one column.
func OfTally(plan *analyze.Plan, t *tally.Tally) *Table {
	if plan == nil {
		plan = &analyze.Plan{}
	}
	b := New(&analyze.Plan{})
	b.plan = plan
	column := map[string]int{}
	for i, name := range plan.Steps {
		if _, known := column[name]; known {
			b.events[column[name]].Step = 0
			continue
		}
		column[name] = b.addEvent(name, i+1)
	}
	for _, x := range t.Rows {
		if x.Event == "" || !b.shows(x.Quantity, x.Signal) {
			continue
		}
		if _, known := column[x.Event]; !known {
			column[x.Event] = b.addEvent(x.Event, 0)
		}
		b.put(place{column[x.Event], x.Key}, x)
	}
	return b.Table()
}

// Table is what has come so far. It shares its figures with the builder.
func (b *Builder) Table() *Table {
	t := &Table{Events: slices.Clone(b.events)}
	for i := range b.plan.Outputs {
		t.Outputs = append(t.Outputs, b.output(b.plan.Outputs[i].Signal, &b.plan.Outputs[i]))
	}
	for _, signal := range b.others {
		t.Outputs = append(t.Outputs, b.output(signal, nil))
	}
	for i := range b.plan.Relays {
		t.Relays = append(t.Relays, b.relay(&b.plan.Relays[i]))
	}
	return t
}

func (b *Builder) output(signal string, plan *analyze.OutputPlan) Output {
	o := Output{Signal: signal, Named: plan != nil, Cells: make([]Cell, len(b.events))}
	for i, e := range b.events {
		o.Cells[i] = Cell{Expect: b.expectation(plan, e.Name), Supply: e.Move != nil}
	}
	for _, k := range b.order {
		if k.Signal == signal && isOutput(k.Quantity) {
			o.Cells[k.column].add(b.rows[k])
		}
	}
	return o
}

// expectation is what an output must do at an event. One that is in the plan keeps its state
// where nothing is said of an event.
func (b *Builder) expectation(plan *analyze.OutputPlan, event string) analyze.Expectation {
	if plan == nil {
		if b.plan.OthersUnmoved {
			return analyze.Expectation{Demand: analyze.Unmoved}
		}
		return analyze.Expectation{Demand: analyze.Any}
	}
	return plan.At(event)
}

func (c *Cell) add(x *tally.Row) {
	c.Rows = append(c.Rows, x)
	switch x.Quantity {
	case analyze.SwitchingDelay:
		c.Delay = x
	case analyze.PulseDuration:
		c.Pulse = x
	case analyze.PulseCount:
		c.Count = x
	case analyze.OnTime:
		c.On = x
	case analyze.OffTime:
		c.Off = x
	case analyze.Hold:
		c.Hold = x
	case analyze.LowLevel:
		c.Low = x
	case analyze.HighLevel:
		c.High = x
	}
}
