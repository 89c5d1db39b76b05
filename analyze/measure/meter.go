package measure

import (
	"fmt"
	"math"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
	"makebreak/rig/words"
)

// Meter measures a capture state by state: a state lasts from one event to the
// next. It keeps what it must know of the states before, so that a capture of any
// length can be measured while it is read.
type Meter struct {
	plan       *analyze.Plan
	cycle      int
	outputs    []*outputMeter
	relays     []*relayMeter
	undemanded bool           // no plan: measure everything, demand nothing
	late       float64        // seconds that the kernel's handler is known to have been late
	keptSpans  []capture.Span // where samples were kept, see capture.Capture.Kept
	out        []analyze.Measurement
	started    bool
	// doubted are outputs whose calibrations vouch for nothing, and why; nil: none are.
	doubted map[string]analyze.DoubtCode
	// firstRow is where the present state's rows begin.
	firstRow int
}

type outputMeter struct {
	signal  string
	index   int                 // of the trace
	nominal float64             // volts of an output that is on
	plan    *analyze.OutputPlan // nil: not named by the plan
	level   level               // of the present state
	high    bool
	known   bool
	demand  analyze.Demand // the last one that named a state
	// flashed is what was expected at the event before.
	flashed analyze.Expectation
	// lowReported and highReported: the level before the first event has been reported.
	lowReported, highReported bool
	// lowest and highest levels that the output has had, NaN until known.
	lowLevel, highLevel float64
	levelsBefore        levels          // before the present state
	movedAt             capture.Instant // when it crossed its mid level last
	averaging           Averaging
	now                 seen
}

// levels are those that an output has had, NaN until known.
type levels struct{ low, high float64 }

// seen is what one output did in the state under measurement.
type seen struct {
	o        observed
	expect   analyze.Expectation
	before   level
	wasHigh  bool // high before
	wasKnown bool
	stretch  span    // the one that is judged
	state    level   // its level
	high     bool    // which state that is
	endLevel level   // the one that it ends in
	brief    bool    // it did not go where it should, and was not watched for long enough
	watched  float64 // seconds from the event to the last sample
	entry    span
	moved    bool
	cross    crossing
	placed   bool
	// aberration is how far, in volts, it went before it settled.
	aberration float64
	end        crossing // of a pulse
	ended      bool     // end is placed
	absent     absence  // from the state
	train      *train   // nil: it is not followed from edge to edge
	// gap and crossGap are seconds without samples, in the state and at the crossing,
	// where they are too many; else 0.
	gap, crossGap float64
}

type relayMeter struct {
	plan      analyze.RelayPlan
	output    *outputMeter // nil: none known
	make, brk int          // indices of tracks; -1: none
}

// NewMeter returns a meter for captures with the signals of c. Signals that the
// plan names and the capture does not have are an error; a nil or zero plan
// measures all and judges nothing.
func NewMeter(plan *analyze.Plan, c *capture.Capture) (*Meter, error) {
	if plan == nil {
		plan = &analyze.Plan{}
	}
	m := &Meter{plan: plan, cycle: 1}
	m.undemanded = len(plan.Outputs) == 0 && len(plan.Relays) == 0 && !plan.OthersUnmoved
	for i, t := range c.Traces {
		p := plan.Output(t.Signal)
		if p == nil && !m.undemanded && !plan.OthersUnmoved {
			continue
		}
		m.outputs = append(m.outputs, &outputMeter{signal: t.Signal, index: i, nominal: nominal(t), plan: p,
			lowLevel: math.NaN(), highLevel: math.NaN(), movedAt: never})
	}
	for i := range plan.Outputs {
		if p := &plan.Outputs[i]; c.Trace(p.Signal) == nil && plan.Demands(p) {
			return nil, fmt.Errorf("the capture has no output %s, which the sequence names (it has: %s)", p.Signal, traceNames(c))
		}
	}
	if err := m.addRelays(c); err != nil {
		return nil, err
	}
	return m, nil
}

func (m *Meter) addRelays(c *capture.Capture) error {
	relays := m.plan.Relays
	if m.undemanded {
		relays = analyze.RelaysOf(c)
	}
	for _, p := range relays {
		r := &relayMeter{plan: p, make: -1, brk: -1}
		var err error
		if r.make, err = trackIndex(c, p.Make, p.Signal); err != nil {
			return err
		}
		if r.brk, err = trackIndex(c, p.Break, p.Signal); err != nil {
			return err
		}
		for _, o := range m.outputs {
			if o.plan != nil && o.plan.Relay == p.Signal {
				r.output = o
			}
		}
		// One output and one relay need no word that they belong together.
		if r.output == nil && m.undemanded && len(m.outputs) == 1 && len(relays) == 1 {
			r.output = m.outputs[0]
		}
		m.relays = append(m.relays, r)
	}
	return nil
}

func traceNames(c *capture.Capture) string {
	names := make([]string, len(c.Traces))
	for i, t := range c.Traces {
		names[i] = t.Signal
	}
	return words.List(names)
}

func trackIndex(c *capture.Capture, signal, relay string) (int, error) {
	if signal == "" {
		return -1, nil
	}
	for i, t := range c.Tracks {
		if t.Signal == signal {
			return i, nil
		}
	}
	names := make([]string, len(c.Tracks))
	for i, t := range c.Tracks {
		names[i] = t.Signal
	}
	return -1, fmt.Errorf("the capture has no contact %s of relay %s (it has: %s)", signal, relay, words.List(names))
}

// Begin measures the state before the first event, from the capture's start, and
// reports its levels with no event. State calls it where it has not been called.
// Where there are no samples before the first event, that event's figures that
// need a state before are missing. It may be called again as more of a long time
// before the first event is read; each level is reported once.
func (m *Meter) Begin(c *capture.Capture, to capture.Instant) {
	m.started = true
	for _, o := range m.outputs {
		tr := c.Traces[o.index]
		seen := observe(tr, c.Start, to, c.Kept, o.prior(tr))
		if seen.n == 0 {
			continue
		}
		last := seen.final()
		if other, ok := seen.longest(!last.high); ok {
			m.baseline(tr, o, seen, other)
		}
		o.settle(m.baseline(tr, o, seen, last), last.high)
	}
}

// baseline reports a state's level before the first event: it is part of the
// record and no event's.
func (m *Meter) baseline(tr *capture.Trace, o *outputMeter, seen observed, s span) level {
	l := levelOf(tr, s, &seen)
	said := &o.lowReported
	q := analyze.LowLevel
	if s.high {
		said, q = &o.highReported, analyze.HighLevel
	}
	if l.known() && (o.plan != nil || m.undemanded) && !*said {
		*said = true
		m.levelRow(tr, "", o, q, l, analyze.NoLimit())
	}
	return l
}

// settle takes over the state that an output is in.
func (o *outputMeter) settle(l level, high bool) {
	o.level, o.high, o.known = l, high, l.known()
	if !l.known() {
		return
	}
	if high {
		o.highLevel = l.volts
	} else {
		o.lowLevel = l.volts
	}
}

// prior is what is known of the output before its next state.
func (o *outputMeter) prior(tr *capture.Trace) prior {
	p := prior{level: o.level, high: o.high, known: o.known, nominal: nominal(tr)}
	if p.swing = o.highLevel - o.lowLevel; math.IsNaN(p.swing) {
		p.swing = p.nominal
	}
	return p
}

func nominal(tr *capture.Trace) float64 {
	if tr.NominalVolts > 0 {
		return tr.NominalVolts
	}
	return float64(analyze.AssumedNominal)
}

// SetCycle says which cycle the next states belong to. Cycles count from 1.
func (m *Meter) SetCycle(n int) { m.cycle = n }

// State measures the state from an event to the next one (or the capture's end),
// appends its figures to those that Take returns, and returns what else was seen, which
// holds until the next call: nil where the plan demands nothing.
func (m *Meter) State(c *capture.Capture, e capture.Event, to capture.Instant) *State {
	row := len(m.out)
	if !m.started {
		if m.Begin(c, e.At); unsupplied(c, e.At) {
			m.distrust(row, analyze.SupplySettingLost)
		}
	}
	m.keptSpans, m.late = c.Kept, lateness(c)
	m.firstRow = len(m.out)
	for _, o := range m.outputs {
		o.levelsBefore = levels{o.lowLevel, o.highLevel}
		o.measure(m, c.Traces[o.index], e, to)
	}
	changes := make([][]contacts, len(m.relays))
	for i, r := range m.relays {
		changes[i] = r.measure(m, c, e, to)
	}
	lost := unsupplied(c, to)
	if lost {
		m.distrust(m.firstRow, analyze.SupplySettingLost)
	}
	seen := m.state(e, to, changes, lost)
	m.miswired(seen, c, e, to, row)
	for _, o := range m.outputs {
		if o.after(); lost && c.Unsupplied[len(c.Unsupplied)-1].To > e.At {
			o.resettle(c, to)
		}
	}
	return seen
}

// Take returns what has been measured since the last call.
func (m *Meter) Take() []analyze.Measurement {
	rows := m.out
	m.out = nil
	return rows
}

// limitOf returns the limit that the plan sets to a quantity of an output.
func (o *outputMeter) limitOf(q analyze.Quantity) analyze.Limit {
	if o.plan == nil {
		return analyze.NoLimit()
	}
	return o.plan.Limits.Of(q)
}

// expectation returns what the output must do at the event.
func (m *Meter) expectation(o *outputMeter, event string) analyze.Expectation {
	if o.plan == nil {
		if m.undemanded {
			return analyze.Expectation{Demand: analyze.Any}
		}
		return analyze.Expectation{Demand: analyze.Unmoved}
	}
	return o.plan.At(event)
}

// row appends a measurement with its budget, judged against its limit.
func (m *Meter) row(x analyze.Measurement, budget []gum.Component) {
	x.Cycle, x.Budget = m.cycle, budget
	Judge(&x, m.plan.Decide)
	m.doubtCalibration(&x)
	m.out = append(m.out, x)
}

// lastRow is the measurement appended last.
func (m *Meter) lastRow() *analyze.Measurement { return &m.out[len(m.out)-1] }

// missing appends a quantity that could not be measured, with what says why and the
// verdict that follows from it.
func (m *Meter) missing(event, signal string, q analyze.Quantity, limit analyze.Limit, v analyze.Verdict, why ...analyze.Doubt) {
	m.out = append(m.out, m.unmeasured(event, signal, q, limit, v, why...))
}

func (m *Meter) unmeasured(event, signal string, q analyze.Quantity, limit analyze.Limit, v analyze.Verdict, why ...analyze.Doubt) analyze.Measurement {
	if limit.None() {
		v = analyze.NoVerdict
	}
	return analyze.Measurement{
		Cycle: m.cycle, Event: event, Signal: signal, Quantity: q,
		Value: math.NaN(), Expanded: math.NaN(), Standard: math.NaN(), Coverage: math.NaN(), DegreesOfFreedom: math.NaN(),
		Limit: limit, Verdict: v, Conformance: math.NaN(), Doubts: why}
}
