package live

import (
	"math"

	"makebreak/analyze"
	"makebreak/analyze/behaviour"
	"makebreak/analyze/report"
)

// rows are the figures over the cycles so far.
type rows struct {
	all   []row
	index map[rowKey]int
	next  int // where the figure that comes is most probably: they come in one order
}

type rowKey struct {
	event, signal string
	quantity      analyze.Quantity
}

type row struct {
	key    rowKey
	figure Figure
}

func (r *rows) add(m *analyze.Measurement) {
	k := rowKey{m.Event, m.Signal, m.Quantity}
	i := r.next
	if i >= len(r.all) || r.all[i].key != k {
		var is bool
		if i, is = r.index[k]; !is {
			i = len(r.all)
			r.index[k] = i
			r.all = append(r.all, row{key: k})
		}
	}
	if r.next = i + 1; r.next == len(r.all) {
		r.next = 0
	}
	r.all[i].add(m)
}

func (x *row) add(m *analyze.Measurement) {
	n, verdicts := x.figure.N, x.figure.Verdicts
	x.figure = figureOf(m)
	verdicts[m.Verdict.Gravity()]++
	x.figure.N, x.figure.Verdicts = n+x.figure.N, verdicts
}

// figureOf is a measurement as a figure by itself.
func figureOf(m *analyze.Measurement) Figure {
	f := Figure{Event: m.Event, Signal: m.Signal, Quantity: m.Quantity, Value: Number(m.Value), Expanded: Number(m.Expanded),
		Lower: Number(m.Limit.Lower), Upper: Number(m.Limit.Upper), Bound: m.Bound(), Verdict: m.Verdict}
	if !math.IsNaN(m.Value) {
		f.N = 1
	}
	return f
}

// figures are the rows as they stand.
func (r *rows) figures() []Figure {
	all := make([]Figure, len(r.all))
	for i := range r.all {
		all[i] = r.all[i].figure
	}
	return all
}

// behaviourOf is the table in words, each output's relay below it.
func behaviourOf(t *behaviour.Table) *Behaviour {
	b := &Behaviour{}
	for _, e := range t.Events {
		b.Events = append(b.Events, e.Name)
	}
	for i := range t.Outputs {
		o := &t.Outputs[i]
		did := Did{Output: o.Signal, Named: o.Named}
		for k := range o.Cells {
			c := &o.Cells[k]
			did.Cells = append(did.Cells, Deed{Expected: report.Expected(c), Seen: report.Seen(c), Verdict: c.Verdict()})
		}
		b.Outputs = append(b.Outputs, did)
		b.addRelays(t, o.Signal)
	}
	b.addRelays(t, "")
	return b
}

// addRelays adds the relays behind an output; an empty name: those of which it is not known.
func (b *Behaviour) addRelays(t *behaviour.Table, output string) {
	for i := range t.Relays {
		r := &t.Relays[i]
		if r.Output != output {
			continue
		}
		did := Did{Output: r.Signal, Named: true}
		for k := range r.Cells {
			c := &r.Cells[k]
			did.Cells = append(did.Cells, Deed{Expected: report.RelayExpected(r, c), Seen: report.RelaySeen(c), Verdict: c.Verdict()})
		}
		b.Outputs = append(b.Outputs, did)
	}
}
