package survey

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/measure"
	"makebreak/rig/capture"
)

// plan is what the steps demand, without limits.
func (t *Table) plan(steps []step) *analyze.Plan {
	p := &analyze.Plan{Decide: analyze.Guarded}
	for i := range steps {
		p.Steps = append(p.Steps, steps[i].name)
	}
	for i := range t.Outputs {
		b := &t.Outputs[i]
		o := analyze.OutputPlan{Signal: b.Signal, Expect: map[string]analyze.Expectation{}}
		for k := range steps {
			o.Expect[steps[k].name] = steps[k].expect[b.Signal].Expectation
		}
		if r := t.relayOf(b.Signal); r != nil {
			o.Relay = r.Plan.Signal
			p.Relays = append(p.Relays, r.Plan)
		}
		p.Outputs = append(p.Outputs, o)
	}
	return p
}

// relayOf is the relay behind an output, nil where none is known to be.
func (t *Table) relayOf(output string) *RelayBehaviour {
	for i := range t.Relays {
		if r := &t.Relays[i]; len(r.Behind.Outputs) > 0 && r.Behind.Outputs[0] == output {
			return r
		}
	}
	return nil
}

// stepOf says to which step each state belongs.
func (t *Table) stepOf(steps []step) []string {
	names := make([]string, len(t.seen.states))
	first, last := t.round()
	skipped := len(steps) - 1 - (last - first + 1) // -1: the first state is the step that begins
	at, cycle := 0, -1
	for i, s := range t.seen.states {
		if s.cycle != cycle {
			at, cycle = 0, s.cycle
		}
		k := at + 1 + skipped
		at++
		switch {
		case k == 0:
			names[i] = begins
		case k < len(steps) && steps[k].event == s.event && s.before != "":
			names[i] = steps[k].name
		default:
			names[i] = begins // what was before is not known
		}
	}
	return names
}

// measured has the captures measured by what the steps demand, as a run would be.
func (t *Table) measured(captures Captures, steps []step) ([]analyze.Measurement, error) {
	plan := t.plan(steps)
	names := t.stepOf(steps)
	var meter *measure.Meter
	var rows []analyze.Measurement
	i := 0
	err := eachState(captures, func(c Capture) (err error) {
		if meter == nil {
			meter, err = measure.NewMeter(plan, c.Capture)
		}
		if meter != nil {
			meter.SetCycle(c.Cycle)
		}
		return err
	}, func(c Capture, e capture.Event, to capture.Instant) {
		if i < len(names) {
			e.Name = names[i]
			meter.State(c.Capture, e, to)
			rows = append(rows, meter.Take()...)
		}
		i++
	})
	return rows, err
}

// figures sums up the rows: of each signal and quantity at each step, and at all of them.
func (t *Table) figures(rows []analyze.Measurement) {
	type key struct {
		signal, event string
		quantity      analyze.Quantity
		bound         analyze.Bound
	}
	values, expanded := map[key][]float64{}, map[key][]float64{}
	var order []key
	for i := range rows {
		m := &rows[i]
		if math.IsNaN(m.Value) || math.IsInf(m.Value, 0) || m.Event == "" {
			continue
		}
		for _, event := range []string{m.Event, ""} {
			k := key{m.Signal, event, m.Quantity, m.Bound()}
			if values[k] == nil {
				order = append(order, k)
			}
			values[k] = append(values[k], m.Value)
			expanded[k] = append(expanded[k], m.Expanded)
		}
	}
	quantities := analyze.Quantities()
	slices.SortStableFunc(order, func(a, b key) int {
		if n := slices.Index(quantities, a.quantity) - slices.Index(quantities, b.quantity); n != 0 {
			return n
		}
		return strings.Compare(a.event, b.event)
	})
	for _, k := range order {
		f := Figure{Event: k.event, Quantity: k.quantity, Bound: k.bound, Spread: spreadOf(values[k], expanded[k])}
		t.add(k.signal, f)
	}
}

// add adds a figure to what it is of.
func (t *Table) add(signal string, f Figure) {
	if b := t.Output(signal); b != nil {
		b.Figures = append(b.Figures, f)
		return
	}
	for i := range t.Relays {
		r := &t.Relays[i]
		if r.Plan.Signal == signal || r.Plan.Make == signal || r.Plan.Break == signal {
			f.Contact = ""
			if signal != r.Plan.Signal {
				f.Contact = signal
			}
			r.Figures = append(r.Figures, f)
		}
	}
}

// likeliest puts first, of several outputs that a relay may stand behind, the one with the lowest
// high level, as a coil loads its output; and reports whether that was another.
func (t *Table) likeliest(rows []analyze.Measurement) (changed bool) {
	for i := range t.Relays {
		all := t.Relays[i].Behind.Outputs
		if len(all) < 2 {
			continue
		}
		level := func(output string) float64 {
			var values []float64
			for k := range rows {
				if m := &rows[k]; m.Signal == output && m.Quantity == analyze.HighLevel && finite(m.Value) {
					values = append(values, m.Value)
				}
			}
			return median(values)
		}
		first := all[0]
		slices.SortStableFunc(all, func(a, b string) int { return cmp.Compare(level(a), level(b)) })
		changed = changed || all[0] != first
	}
	return changed
}

// sampling is what the rig can tell apart, by output: the least voltage, in volts, and how far
// samples are apart where they come closest together in a round, in seconds.
func sampling(captures Captures) (volts, intervals map[string]float64, err error) {
	volts, intervals = map[string]float64{}, map[string]float64{}
	for c, err := range captures {
		if err != nil {
			return nil, nil, err
		}
		for _, t := range c.Traces {
			volts[t.Signal] = math.Max(volts[t.Signal], t.Converter.StepVolts)
			if first, _, ok := t.First(); ok {
				if at, _, _ := t.Near(first, 0, 2); len(at) == 2 {
					intervals[t.Signal] = math.Max(intervals[t.Signal], float64(at[1]-at[0])*1e-9)
				}
			}
		}
	}
	return volts, intervals, nil
}
