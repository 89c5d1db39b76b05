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

// measured has the captures measured by what the steps demand, as a run would be. Phases are the
// times for which outputs that were to pulse or flash were high and low, each as a row of its own:
// of all those in a state, a run's row has the one that is farthest off.
func (t *Table) measured(captures Captures, steps []step) (rows, phases []analyze.Measurement, err error) {
	plan := t.plan(steps)
	names := t.stepOf(steps)
	var meter *measure.Meter
	i := 0
	err = eachState(captures, func(c Capture) (err error) {
		if meter == nil || c.Anew {
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
			for k := range t.Outputs {
				phases = append(phases, phasesOf(meter, t.Outputs[k].Signal, e.Name)...)
			}
		}
		i++
	})
	return rows, phases, err
}

// phasesOf are the rows of an output's pulses, and of the times between them, in the state
// measured last.
func phasesOf(meter *measure.Meter, signal, event string) (rows []analyze.Measurement) {
	for _, high := range []bool{true, false} {
		q := analyze.OffTime
		if high {
			q = analyze.OnTime
		}
		for _, p := range meter.Phases(signal, high) {
			rows = append(rows, analyze.Measurement{Signal: signal, Event: event, Quantity: q, Value: p.Seconds, Expanded: p.Expanded})
		}
	}
	return rows
}

// withPhases replaces the rows of the times within trains by those of all times within them.
func withPhases(rows, phases []analyze.Measurement) []analyze.Measurement {
	pulsing := map[string]bool{}
	for i := range phases {
		pulsing[phases[i].Signal] = true
	}
	var all []analyze.Measurement
	for i := range rows {
		if m := &rows[i]; !pulsing[m.Signal] || m.Quantity != analyze.OnTime && m.Quantity != analyze.OffTime {
			all = append(all, *m)
		}
	}
	return append(all, phases...)
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
			intervals[t.Signal] = math.Max(intervals[t.Signal], intervalOf(t))
		}
	}
	return volts, intervals, nil
}

// intervalOf is how far an output's first samples are apart, in seconds; 0: it is not known.
func intervalOf(t *capture.Trace) float64 {
	first, _, ok := t.First()
	if !ok {
		return 0
	}
	at, _, _ := t.Near(first, 0, 2)
	if len(at) < 2 {
		return 0
	}
	return float64(at[1]-at[0]) * 1e-9
}
