package compare

import (
	"math"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/analyze/tally"
	"makebreak/analyze/trend"
)

// A Sample is what a run's cycles say of one quantity of one signal at one event. Values are
// in the quantity's base unit; what is not known is NaN.
type Sample struct {
	tally.Key
	Figures int // the missing ones included
	Values  int // those that have a value, bounds left out
	// Uppers and Lowers are values that are only bounds.
	Uppers, Lowers int
	Mean           float64 // in the quantity's base unit
	// SD is the standard deviation of the values, from cycle to cycle.
	SD float64 // in the quantity's base unit
	// Low and High are the extremes of all values, bounds included.
	Low, High float64       // in the quantity's base unit
	Limit     analyze.Limit // of the first figure
	Verdict   analyze.Verdict

	// ofMean is the standard uncertainty of the mean by the scatter of the values, with its
	// degrees of freedom; NaN with fewer than two values.
	ofMean, freedom float64
	lines           []line
}

// line is one source of uncertainty, over the cycles.
type line struct {
	source       gum.Source
	distribution string
	n            int
	sum          float64 // of the contributions
	freedom      float64 // of the last one
}

// mean is the contribution to a mean of errors that are the same in all cycles.
func (l *line) mean() float64 { return l.sum / float64(l.n) }

// Gatherer makes samples of a run's figures. Its zero value is ready for use.
type Gatherer struct {
	samples []*gathered
	index   map[tally.Key]*gathered
}

type gathered struct {
	Sample
	squares float64 // of deviations from the mean
}

// Add adds a figure.
func (g *Gatherer) Add(m *analyze.Measurement) {
	s := g.at(m)
	s.Figures++
	s.Verdict = s.Verdict.Worse(m.Verdict)
	if !finite(m.Value) {
		return
	}
	s.extend(m.Value)
	switch m.Bound() {
	case analyze.UpperBound:
		s.Uppers++
		return
	case analyze.LowerBound:
		s.Lowers++
		return
	}
	s.Values++
	d := m.Value - s.Mean
	if s.Values == 1 {
		s.Mean, d = m.Value, 0
	}
	s.Mean += d / float64(s.Values)
	s.squares += d * (m.Value - s.Mean)
	s.budget(m.Budget)
}

func (g *Gatherer) at(m *analyze.Measurement) *gathered {
	k := tally.Key{Signal: m.Signal, Quantity: m.Quantity, Event: m.Event}
	if s := g.index[k]; s != nil {
		return s
	}
	if g.index == nil {
		g.index = map[tally.Key]*gathered{}
	}
	s := &gathered{Sample: newSample(k, m.Limit)}
	g.index[k] = s
	g.samples = append(g.samples, s)
	return s
}

func newSample(k tally.Key, l analyze.Limit) Sample {
	nan := math.NaN()
	return Sample{Key: k, Limit: l, Mean: nan, SD: nan, Low: nan, High: nan, ofMean: nan, freedom: nan}
}

func (s *Sample) extend(value float64) {
	if !(value >= s.Low) {
		s.Low = value
	}
	if !(value <= s.High) {
		s.High = value
	}
}

// budget adds a figure's budget to the lines. Of one source there may be two lines in it.
func (s *Sample) budget(components []gum.Component) {
	for i := range components {
		c, occurs := &components[i], 0
		for k := range components[:i] {
			if components[k].Source == c.Source {
				occurs++
			}
		}
		l := s.line(c.Source, occurs)
		l.distribution, l.freedom = c.Distribution, c.DegreesOfFreedom
		l.n++
		l.sum += c.Contribution()
	}
}

// line returns the source's line that comes after so many of the same source.
func (s *Sample) line(source gum.Source, after int) *line {
	for i := range s.lines {
		if s.lines[i].source != source {
			continue
		}
		if after == 0 {
			return &s.lines[i]
		}
		after--
	}
	s.lines = append(s.lines, line{source: source})
	return &s.lines[len(s.lines)-1]
}

// Samples returns what was gathered, in the order in which it first came.
func (g *Gatherer) Samples() []*Sample {
	all := make([]*Sample, len(g.samples))
	for i, s := range g.samples {
		if s.Values >= 2 {
			n := float64(s.Values)
			s.SD = math.Sqrt(s.squares / (n - 1))
			s.ofMean, s.freedom = s.SD/math.Sqrt(n), n-1
		}
		all[i] = &s.Sample
	}
	return all
}

// OfTally makes samples of a soak's tally. The budgets are those of some of its figures, which
// stand for all. The scatter is that of the blocks of the trend, which hold neighbouring
// cycles: so the mean of values that follow one another is not taken for better than it is
// (batch means; Law, Simulation Modeling and Analysis, 9.5.3, from memory).
func OfTally(t *tally.Tally, some []analyze.Measurement) []*Sample {
	all := make([]*Sample, len(t.Rows))
	index := map[tally.Key]*Sample{}
	for i, row := range t.Rows {
		s := newSample(row.Key, row.Limit)
		s.Figures, s.Uppers, s.Lowers, s.Low, s.High = row.Figures, row.Uppers, row.Lowers, row.Low, row.High
		s.Values = row.Values - row.Uppers - row.Lowers
		for gravity, n := range row.Verdicts {
			if n > 0 {
				s.Verdict = analyze.Verdicts[gravity]
			}
		}
		if s.Values > 0 && row.Trend != nil && s.Uppers+s.Lowers == 0 {
			sum := row.Trend.Summary()
			s.Mean, s.SD = sum.Mean, sum.SD
			s.ofMean, s.freedom = ofBlocks(row.Trend.Blocks())
		}
		all[i], index[row.Key] = &s, &s
	}
	for i := range some {
		m := &some[i]
		if s := index[tally.Key{Signal: m.Signal, Quantity: m.Quantity, Event: m.Event}]; s != nil && finite(m.Value) && m.Bound() == analyze.NoBound {
			s.budget(m.Budget)
		}
	}
	return all
}

// ofBlocks is the standard uncertainty of a mean by the scatter of blocks of equal size.
func ofBlocks(blocks []trend.Block) (standard, freedom float64) {
	n := float64(len(blocks))
	if n < 2 {
		return math.NaN(), math.NaN()
	}
	mean, squares := 0.0, 0.0
	for i, b := range blocks {
		d := b.Value - mean
		mean += d / float64(i+1)
		squares += d * (b.Value - mean)
	}
	return math.Sqrt(squares/(n-1)) / math.Sqrt(n), n - 1
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// Expanded is the expanded uncertainty of the mean at 95 % by itself, with all that a rig gets
// wrong, in the quantity's base unit. Of a single value it is that of its budget; NaN without
// a value, or where nothing is stated of it.
func (s *Sample) Expanded() float64 {
	if s.Values == 0 || s.Values == 1 && len(s.lines) == 0 {
		return math.NaN()
	}
	scatter := random(s.least(), math.Inf(1))
	if s.Values > 1 {
		scatter.DegreesOfFreedom = s.freedom
	}
	all := []gum.Component{scatter}
	for i := range s.lines {
		if l := &s.lines[i]; parts[l.source] != ofCycle {
			all = append(all, l.component(l.mean()))
		}
	}
	_, expanded := gum.Combine(all).Expanded()
	return expanded
}
