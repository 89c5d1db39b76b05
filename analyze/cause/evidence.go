package cause

import (
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/tally"
	"makebreak/rig/capture"
)

// Evidence is what a run shows, gathered in one pass over its symptoms and its figures. Its
// size depends on the numbers of signals, events and kinds alone, so that a run may have any
// number of cycles. It is not safe for use by several goroutines at once.
type Evidence struct {
	plan *analyze.Plan
	// Cycles were run, Complete says whether the run came to its end.
	Cycles   int
	Complete bool
	Counts   capture.Counts
	// Converters say what each of the rig's converters has of the counts; nil: not known.
	Converters []capture.ConverterCounts
	// Ending is why the run did not come to its end; the zero Ending: it did, or it is not known.
	Ending capture.Ending
	// Unreferenced says that the rig has no line that reports the instant of an event.
	Unreferenced bool

	symptoms map[symptomKey]*seen
	order    []symptomKey // of their first appearance
	figures  map[tally.Key]*figure
	rows     []*figure // in the order of their first appearance
}

// New returns evidence of a run by a plan; nil: nothing was demanded.
func New(plan *analyze.Plan) *Evidence {
	if plan == nil {
		plan = &analyze.Plan{}
	}
	return &Evidence{plan: plan, Complete: true, symptoms: map[symptomKey]*seen{}, figures: map[tally.Key]*figure{}}
}

// symptomKey says which symptoms are counted together.
type symptomKey struct {
	kind                 analyze.Kind
	signal, other, event string
}

// seen is how often and when a symptom was seen, and the range of its values in the base unit
// of what its kind is about.
type seen struct {
	n           int
	cycles      int // different ones
	first, last int // cycles
	low, high   float64
	early, late int // in the first and in the second half of the cycles that were known then
}

// Symptom takes in a symptom. Those of one cycle come together.
func (e *Evidence) Symptom(s analyze.Symptom) {
	k := symptomKey{s.Kind, s.Signal, s.Other, s.Event}
	x := e.symptoms[k]
	if x == nil {
		x = &seen{first: s.Cycle, low: math.NaN(), high: math.NaN()}
		e.symptoms[k] = x
		e.order = append(e.order, k)
	}
	x.n++
	if x.cycles == 0 || x.last != s.Cycle {
		x.cycles++
	}
	x.last = s.Cycle
	if !(s.Value >= x.low) && !math.IsNaN(s.Value) {
		x.low = s.Value
	}
	if !(s.Value <= x.high) && !math.IsNaN(s.Value) {
		x.high = s.Value
	}
}

// figure is one quantity of one signal at one event over all cycles, in its base unit.
type figure struct {
	tally.Key
	n, values       int
	fails, doubtful int
	low, high       float64
	unsure          float64 // smallest expanded uncertainty; NaN: not known
	limit           analyze.Limit
	line            line
	doubts          map[analyze.DoubtCode]int
	drift           float64 // change over the run, in the base unit; NaN: not known
	drifts          bool    // clearly
}

// Figure takes in a figure. Cycles must not go back.
func (e *Evidence) Figure(m *analyze.Measurement) {
	x := e.figure(tally.Key{Signal: m.Signal, Quantity: m.Quantity, Event: m.Event}, m.Limit)
	x.n++
	switch m.Verdict {
	case analyze.Fail:
		x.fails++
	case analyze.Undecided:
		x.doubtful++
	}
	for i := range m.Doubts {
		x.doubts[m.Doubts[i].Code]++
	}
	if math.IsNaN(m.Value) || math.IsInf(m.Value, 0) {
		return
	}
	x.values++
	x.range_(m.Value, m.Value)
	if !(m.Expanded >= x.unsure) && !math.IsNaN(m.Expanded) {
		x.unsure = m.Expanded
	}
	if m.Followed() {
		x.line.add(float64(m.Cycle), m.Value)
	}
}

// Row takes in what a tally has of a quantity, in place of its figures.
func (e *Evidence) Row(r *tally.Row) {
	x := e.figure(r.Key, r.Limit)
	x.n, x.values = r.Figures, r.Values
	x.fails, x.doubtful = r.Verdicts[analyze.Fail.Gravity()], r.Verdicts[analyze.Undecided.Gravity()]
	x.range_(r.Low, r.High)
	for i := range r.Remarks {
		for _, d := range r.Remarks[i].Example.Doubts {
			x.doubts[d.Code] += r.Remarks[i].N
		}
	}
	if r.Trend != nil {
		s := r.Trend.Summary()
		x.line = line{mean: s.Mean}
		x.drift, x.drifts = s.Drift.Change, s.Drift.P < clearDrift
	}
}

func (e *Evidence) figure(k tally.Key, l analyze.Limit) *figure {
	x := e.figures[k]
	if x == nil {
		nan := math.NaN()
		x = &figure{Key: k, low: nan, high: nan, unsure: nan, limit: l, doubts: map[analyze.DoubtCode]int{}, drift: nan}
		e.figures[k] = x
		e.rows = append(e.rows, x)
	}
	return x
}

func (x *figure) range_(low, high float64) {
	if !(low >= x.low) && !math.IsNaN(low) {
		x.low = low
	}
	if !(high <= x.high) && !math.IsNaN(high) {
		x.high = high
	}
}

// Quiet reports whether the run shows nothing that a cause would have to explain: no symptom
// that has a say in a verdict, none that is a danger by itself, and no measuring problem. A run in
// which all is as it must be is not put down to a cause, whatever it shows beside that.
func (e *Evidence) Quiet() bool {
	return e.Counts == capture.Counts{} && endOf(e.Ending.Code) == "" && !slices.ContainsFunc(e.order, func(k symptomKey) bool { return k.kind.Verdict() != analyze.NoVerdict || k.kind == analyze.NoDiode })
}

// endOf is what of the rig ended a run; empty: nothing of it did.
func endOf(code capture.EndCode) string {
	switch code {
	case capture.ConverterSilent, capture.ConverterReset, capture.ConverterNoEdges, capture.ConverterStopped:
		return "converter"
	case capture.SupplySilent:
		return "supply"
	case capture.ReferenceSilent:
		return "reference-silent"
	case capture.ReferenceReversed:
		return "reference-reversed"
	case capture.LinesLost, capture.DriveLost:
		return "lines"
	}
	return ""
}

// line fits a straight line through values over cycles, in one pass.
type line struct {
	n                   float64
	meanX, mean         float64
	sumXX, sumXY, sumYY float64
}

func (l *line) add(x, y float64) {
	l.n++
	dx, dy := x-l.meanX, y-l.mean
	l.meanX += dx / l.n
	l.mean += dy / l.n
	l.sumXX += dx * (x - l.meanX)
	l.sumYY += dy * (y - l.mean)
	l.sumXY += dx * (y - l.mean)
}

// slope is per cycle, deviate how many of its standard deviations it is from zero.
func (l *line) slope() (slope, deviate float64) {
	if l.n < 4 || l.sumXX == 0 {
		return 0, 0
	}
	slope = l.sumXY / l.sumXX
	left := math.Max(0, l.sumYY-slope*l.sumXY)
	sd := math.Sqrt(left / (l.n - 2) / l.sumXX)
	if sd == 0 {
		return slope, 0
	}
	return slope, slope / sd
}

// A line is taken for one that grows with this many values, this many standard deviations from
// zero, and by this share of its mean over its length.
const (
	fewest = 8
	grown  = 6
	growth = 0.3
)

// grows reports whether the values grow.
func (l *line) grows() bool {
	slope, deviate := l.slope()
	spread := math.Sqrt(l.sumXX / math.Max(1, l.n))
	return l.n >= fewest && deviate > grown && slope*spread*2*math.Sqrt(3) > growth*math.Abs(l.mean)
}

// clearDrift is the probability below which a soak's drift is taken for one.
const clearDrift = 1e-4
