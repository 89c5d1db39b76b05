package report

import (
	"cmp"
	"errors"
	"html/template"
	"iter"
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/rig/capture"
)

// mostDiagrams is how many timing diagrams a page has at most. What failed comes first.
const mostDiagrams = 16

// mostWatched is of how many captured cycles a soak's diagrams are chosen.
const mostWatched = 40

// chosen is the cycle whose diagram shows an output at an event: the first of those with the
// gravest verdict; where all passed, the one that came closest to its limits.
type chosen struct {
	output, event string
	cycle         int
	verdict       analyze.Verdict
	strain        float64 // largest share of a limit that a figure took
	astray        bool    // it moved though it must not
}

// chooser finds the cycles that are worth a diagram, among those whose captures are kept.
type chooser struct {
	r    *Record
	mine map[string][]string // outputs whose diagrams show a signal
	// wants says which diagrams are asked for.
	wants func(output, event string) bool
	// astray says that outputs which moved though they must not are asked for, too.
	astray bool
	all    []chosen
}

// newChooser returns a chooser for the events at which an output must go high or low, and for
// one at which an output moved that must not.
func newChooser(r *Record) *chooser {
	c := &chooser{r: r, mine: map[string][]string{}, astray: true}
	c.wants = func(output, event string) bool {
		_, named := r.Plan.Output(output).Expect[event].Demand.State()
		return named
	}
	if r.Plan == nil || r.CaptureOf == nil || len(r.Captures) == 0 {
		return c
	}
	for _, o := range r.Plan.Outputs {
		signals := []string{o.Signal}
		if k := r.Plan.Relay(o.Relay); k != nil {
			signals = append(signals, k.Signal, k.Make, k.Break)
		}
		for _, s := range signals {
			c.mine[s] = append(c.mine[s], o.Signal)
		}
	}
	return c
}

// add takes in a figure.
func (c *chooser) add(m *analyze.Measurement) {
	if m.Event == "" || !captured(c.r, m.Cycle) {
		return
	}
	if c.astray && wentAstray(c.r.Plan, m) {
		c.weigh(chosen{m.Signal, m.Event, m.Cycle, m.Verdict, strainOf(m), true})
		return
	}
	for _, output := range c.mine[m.Signal] {
		if c.wants(output, m.Event) {
			c.weigh(chosen{output, m.Event, m.Cycle, m.Verdict, strainOf(m), false})
		}
	}
}

// wentAstray reports whether a figure says that an output moved which must not.
func wentAstray(p *analyze.Plan, m *analyze.Measurement) bool {
	if p == nil || m.Quantity != analyze.Hold || m.Verdict.Gravity() <= analyze.Pass.Gravity() || !(m.Value > 0) {
		return false
	}
	o := p.Output(m.Signal)
	return o == nil || o.At(m.Event).Demand == analyze.Unmoved
}

func (c *chooser) weigh(x chosen) {
	i := slices.IndexFunc(c.all, func(y chosen) bool { return y.output == x.output && y.event == x.event })
	switch {
	case i < 0:
		c.all = append(c.all, x)
	case x.verdict.Gravity() > c.all[i].verdict.Gravity(),
		x.verdict == c.all[i].verdict && x.verdict.Gravity() <= analyze.Pass.Gravity() && cmp.Less(c.all[i].strain, x.strain):
		c.all[i] = x
	}
}

// strainOf is what share of its limit a figure takes: 1 is all of it. NaN: it has none, or
// one at zero.
func strainOf(m *analyze.Measurement) float64 {
	strain := math.NaN()
	for _, share := range []float64{m.Value / m.Limit.Upper, m.Limit.Lower / m.Value} {
		if finite(share) && !(share < strain) {
			strain = share
		}
	}
	return strain
}

// drawn are those to draw, in the order of the outputs: all that did not pass, the gravest
// first if they are too many, of an output that must not move one, and of what passed the
// worst rise and the worst fall of each output.
func (c *chooser) drawn() []chosen {
	var wanted []chosen
	seen := map[[2]any]bool{}
	order := slices.Clone(c.all)
	slices.SortStableFunc(order, func(a, b chosen) int { // cmp takes NaN for the least: it comes last
		return cmp.Or(b.verdict.Gravity()-a.verdict.Gravity(), cmp.Compare(b.strain, a.strain))
	})
	for _, x := range order {
		key := [2]any{x.output, "astray"}
		if !x.astray {
			key[1], _ = c.r.Plan.Output(x.output).Expect[x.event].Demand.State()
		}
		if len(wanted) == mostDiagrams || seen[key] && (x.astray || x.verdict.Gravity() <= analyze.Pass.Gravity()) {
			continue
		}
		seen[key] = true
		wanted = append(wanted, x)
	}
	outputs := make([]string, len(c.r.Plan.Outputs))
	for i, o := range c.r.Plan.Outputs {
		outputs[i] = o.Signal
	}
	for _, x := range wanted {
		outputs = append(outputs, x.output) // that the plan does not name come last
	}
	output, step := ranks(outputs), ranks(c.r.Plan.Steps)
	slices.SortStableFunc(wanted, func(a, b chosen) int {
		return cmp.Or(output[a.output]-output[b.output], step[a.event]-step[b.event])
	})
	return wanted
}

// timings draws the timing diagrams of a record, and says how many more there could be. One
// whose capture cannot be drawn is left out: the record's figures stand without it.
func (c *chooser) timings() (drawings []template.HTML, left int, err error) {
	for _, t := range c.r.Drawn {
		drawing, err := look.Drawn(t.Inline)
		if err != nil {
			return nil, 0, err
		}
		drawings = append(drawings, drawing)
	}
	if len(c.all) == 0 || len(drawings) > 0 {
		return drawings, 0, nil
	}
	r := *c.r
	r.CaptureOf = kept(r.CaptureOf)
	for _, x := range c.drawn() {
		t, err := DiagramOf(&r, x.output, x.event, x.cycle)
		var absent *picture.AbsentError
		if errors.As(err, &absent) {
			continue // the log holds another capture than the figures are of
		}
		if err != nil {
			return nil, 0, err
		}
		drawing, err := look.Drawn(t.Inline)
		if err != nil {
			return nil, 0, err
		}
		drawings = append(drawings, drawing)
	}
	return drawings, len(c.all) - len(drawings), nil
}

// mostKept is how many captures are held in memory while a page is made: those of one
// diagram with what lies behind it.
const mostKept = mostBehind + 1

// kept remembers the captures that were read last: diagrams of one run show the same ones.
func kept(read func(int) (*capture.Capture, error)) func(int) (*capture.Capture, error) {
	held := map[int]*capture.Capture{}
	var order []int
	return func(n int) (*capture.Capture, error) {
		if c := held[n]; c != nil {
			return c, nil
		}
		c, err := read(n)
		if err != nil || c == nil {
			return c, err
		}
		if len(order) == mostKept {
			delete(held, order[0])
			order = order[1:]
		}
		held[n], order = c, append(order, n)
		return c, nil
	}
}

// watched streams the figures by which diagrams are chosen: all of them, of a soak those of some
// cycles.
func watched(r *Record) iter.Seq2[analyze.Measurement, error] {
	if r.Tally == nil {
		return r.measurements()
	}
	return func(yield func(analyze.Measurement, error) bool) {
		for _, n := range watchedCycles(r) {
			figures, err := figuresOf(r, n)
			if err != nil {
				yield(analyze.Measurement{}, err)
				return
			}
			for i := range figures {
				if !yield(figures[i], nil) {
					return
				}
			}
		}
	}
}

// watchedCycles are the cycles of a soak of which diagrams are chosen: the first that did not
// pass, and others spread over those whose captures are kept.
func watchedCycles(r *Record) []int {
	var all []int
	for _, n := range r.Tally.Doubtful {
		if captured(r, n) && len(all) < mostWatched/2 {
			all = append(all, n)
		}
	}
	for _, n := range spreadOver(r.Captures, mostWatched/2) {
		if !slices.Contains(all, n) {
			all = append(all, n)
		}
	}
	slices.Sort(all)
	return all
}
