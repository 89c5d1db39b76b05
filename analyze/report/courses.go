package report

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/analyze/trend"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

const (
	// shownCourses is how many quantities of a soak a page draws plainly, and foldedCourses
	// how many more in a list to be opened.
	shownCourses  = 8
	foldedCourses = 60
	// mostBands is how many bands a course has. Up to singleValues its values are drawn as
	// dots.
	mostBands = 96
	// mostRead is how many cycles are read to draw a soak that an earlier program has summed.
	// Of more, about sampledCycles are.
	mostRead      = 100_000
	sampledCycles = 8_000
	// shownLanes is how many quantities the time line of failures has a lane for.
	shownLanes = 10
)

// soakPage is what a page draws of a soak.
type soakPage struct {
	Failures template.HTML // when cycles failed; empty: none did
	Courses  []pageDrawing // what a reader needs, what failed first
	More     []pageDrawing // the others
	Others   []string      // what is to be said of quantities that are not drawn
	Constant []string      // quantities that had one value throughout
	Lives    template.HTML // of boards of this kind, on Weibull paper; empty: they are too few
	Notes    []string      // to the lives
	Left     int           // quantities beyond those drawn
	// Sampled is one cycle in how many the bands are drawn from, where an earlier program has
	// summed the figures and they are too many to be read; 0: all are in them.
	Sampled int
}

// pageDrawing is a drawing with the name of what it is of.
type pageDrawing struct {
	Name    string
	Drawing template.HTML
}

// soakPageOf draws a soak; nil where the record is of none. The figures are read only where
// an earlier program has summed them, and then once.
func soakPageOf(r *Record, trends []Trend) (*soakPage, error) {
	if r.Tally == nil || r.Tally.Last == 0 {
		return nil, nil
	}
	p := &soakPage{}
	if err := p.complete(r); err != nil {
		return nil, err
	}
	if err := p.addLives(r); err != nil {
		return nil, err
	}
	gaps, err := gapsOf(r)
	if err != nil {
		return nil, err
	}
	if line := failuresOf(r, trends, gaps); line != nil {
		if p.Failures, err = look.Drawn(line.Inline); err != nil {
			return nil, err
		}
	}
	all := slices.Clone(trends)
	slices.SortStableFunc(all, func(a, b Trend) int { return a.rank().compare(b.rank()) })
	return p, p.addCourses(all, r.Tally.Last, gaps)
}

// complete makes what the drawings need, where an earlier program has not: of all figures, or of
// some cycles where they are very many.
func (p *soakPage) complete(r *Record) error {
	t := r.Tally
	if t.Drawn() {
		return nil
	}
	if t.Last <= mostRead || r.Cycle == nil {
		return t.Draw(r.measurements())
	}
	p.Sampled = (t.Last + sampledCycles - 1) / sampledCycles
	return t.DrawSome(func(yield func(analyze.Measurement, error) bool) {
		for n := 1; n <= t.Last; n += p.Sampled {
			for m, err := range r.Cycle(n) {
				if !yield(m, err) {
					return
				}
			}
		}
	})
}

func (p *soakPage) addLives(r *Record) error {
	if r.Lives == nil {
		return nil
	}
	l, err := r.Lives()
	if err != nil || l == nil {
		return err
	}
	p.Notes = l.Notes
	p.Lives, err = look.Drawn(l.Paper.Inline)
	return err
}

func (p *soakPage) addCourses(all []Trend, last int, gaps []picture.Gap) error {
	for i := range all {
		t := &all[i]
		switch full := len(p.Courses)+len(p.More) == shownCourses+foldedCourses; {
		case t.N == 0:
			p.Others = append(p.Others, t.lines()...)
			continue
		case t.Min.Value == t.Max.Value && t.Failures.Outside == 0:
			p.Others = append(p.Others, t.lines()...)
			p.Constant = append(p.Constant, t.constant())
			continue
		case full:
			p.Others = append(p.Others, t.lines()...)
			p.Left++
			continue
		}
		svg, err := look.Drawn(t.course(last, gaps).Inline)
		if err != nil {
			return err
		}
		drawn := pageDrawing{t.heading(), svg}
		if len(p.Courses) < shownCourses && t.rank().kind < plain {
			p.Courses = append(p.Courses, drawn)
		} else {
			p.More = append(p.More, drawn)
		}
	}
	return nil
}

// courseKind says how much a reader needs a course.
type courseKind int

const (
	failing courseKind = iota
	warned
	moving
	doubtful
	limited
	plain // without a limit, and steady
)

// courseRank is a course's place among others.
type courseRank struct {
	kind  courseKind
	first int // cycle out of its limit
}

func (r courseRank) compare(o courseRank) int {
	return cmp.Or(cmp.Compare(r.kind, o.kind), cmp.Compare(r.first, o.first))
}

func (t *Trend) rank() courseRank {
	switch {
	case t.Failures.Outside > 0:
		return courseRank{failing, t.Failures.First}
	case len(t.warnings()) > 0:
		return courseRank{kind: warned}
	case t.moved() != "":
		return courseRank{kind: moving}
	case t.Failures.Doubtful > 0:
		return courseRank{kind: doubtful}
	case !t.limit.None():
		return courseRank{kind: limited}
	}
	return courseRank{kind: plain}
}

// heading names the quantity.
func (t *Trend) heading() string {
	return fmt.Sprintf("%s %s at %s", oneLine(t.Signal), t.Quantity.Words(), oneLine(eventWords(t.Event)))
}

// constant says that a quantity never changed.
func (t *Trend) constant() string {
	s := scalerOf(t.Quantity, t.limit, math.NaN(), t.Min.Value)
	return fmt.Sprintf("%s: %s, %s", t.heading(), s.Text(t.Min.Value), times(t.N))
}

// drawer draws the trend in the unit that suits its values.
func (t *Trend) drawer() *drawer {
	return &drawer{t, scalerOf(t.Quantity, t.limit, math.NaN(), t.Quantiles[1].Value, t.Quantiles[len(t.Quantiles)-2].Value)}
}

// course is the trend as a picture shows it.
func (t *Trend) course(last int, gaps []picture.Gap) *picture.Course {
	d := t.drawer()
	c := &picture.Course{Heading: t.heading(), Words: t.headlines(), Unit: d.scale.Unit(), Gaps: gaps, First: 1, Last: last,
		Limits: d.limits(), FirstOut: t.Failures.First, Out: spansOf(t.row.Failed), Extremes: d.extremes(), Ahead: d.ahead(), Fits: d.fits()}
	c.About = strings.Join(c.Words, ". ")
	if u := t.row.Uncertainty; finite(u) {
		c.Guard = d.scale.In(u)
	}
	c.Values, c.Bands = d.spread(t)
	return c
}

// spread are the values of a trend, or their bands where they are many, in the drawer's unit.
func (d *drawer) spread(t *Trend) (values []picture.Place, bands []picture.Spread) {
	if t.BlockValues == 1 {
		for _, b := range t.series.Blocks() {
			values = append(values, d.place(b.Cycle, b.Value))
		}
		return values, nil
	}
	for _, b := range t.row.Bands.Bands(mostBands) {
		band := picture.Spread{First: b.First, Last: b.Last}
		for i, x := range b.Values {
			band.Values[i] = d.scale.In(x)
		}
		bands = append(bands, band)
	}
	return nil, bands
}

// headlines are the first words of a course: what is wrong with it, or that nothing is.
func (t *Trend) headlines() []string {
	said := t.said()
	if f := t.Failures; f.Doubtful > 0 {
		said = append(said, fmt.Sprintf("undecided in %s of %s", itoa(f.Doubtful), itoa(f.Judged)))
	}
	if len(said) > 0 {
		return []string{strings.Join(said, "; ")}
	}
	steady := "steady: no drift, no step"
	if t.Shape == trend.Unknown {
		steady = "too few values to tell a drift or a step"
	}
	if f := t.Failures; f.Judged > 0 {
		steady = fmt.Sprintf("within its limit in all of %s; %s", itoa(f.Judged), steady)
	}
	return []string{steady}
}

func spansOf(m *trend.Marks) []picture.Span {
	var out []picture.Span
	if m == nil {
		return nil
	}
	for _, x := range m.List {
		out = append(out, picture.Span{First: x.First, Last: x.Last})
	}
	return out
}

// drawer draws a trend in a unit.
type drawer struct {
	*Trend
	scale unit.Scaler
}

func (d *drawer) place(cycle, value float64) picture.Place {
	return picture.Place{Cycle: cycle, Value: d.scale.In(value)}
}

func (d *drawer) limits() []picture.Limit {
	var out []picture.Limit
	nan := math.NaN()
	if x := d.limit.Lower; finite(x) {
		out = append(out, picture.Limit{Value: d.scale.In(x), Words: limitWords(d.scale, analyze.Limit{Lower: x, Upper: nan})})
	}
	if x := d.limit.Upper; finite(x) {
		out = append(out, picture.Limit{Value: d.scale.In(x), Upper: true, Words: limitWords(d.scale, analyze.Limit{Lower: nan, Upper: x})})
	}
	return out
}

// extremes are the lowest and the highest value, where they are out of the limits.
func (d *drawer) extremes() []picture.Extreme {
	var out []picture.Extreme
	for _, e := range []struct {
		word string
		trend.Extreme
	}{{"lowest", d.Min}, {"highest", d.Max}} {
		if !(e.Value < d.limit.Lower || e.Value > d.limit.Upper) {
			continue
		}
		s := scalerOf(d.Quantity, d.limit, d.row.Uncertainty, e.Value)
		words := fmt.Sprintf("%s %s, cycle %s", e.word, s.Text(e.Value), itoa(e.Cycle))
		out = append(out, picture.Extreme{Place: d.place(float64(e.Cycle), e.Value), Words: words})
	}
	return out
}

// fits are the drift's line with its interval, or the levels before and after a step, or both.
func (d *drawer) fits() []picture.Fit {
	blocks := d.series.Blocks()
	if d.moved() == "" || len(blocks) == 0 {
		return nil
	}
	var out []picture.Fit
	first, last := blocks[0].Cycle, blocks[len(blocks)-1].Cycle
	words := string(d.moved())
	if d.moved() != trend.Drifting {
		at := float64(d.Step.At)
		out = append(out, picture.Fit{Line: []picture.Place{d.place(first, d.Step.Before), d.place(at, d.Step.Before)}},
			picture.Fit{Line: []picture.Place{d.place(at, d.Step.After), d.place(last, d.Step.After)}, Words: words})
		words = ""
	}
	line, ok := d.series.Line()
	if d.moved() == trend.Stepped || !ok {
		return out
	}
	drift := picture.Fit{Words: words}
	const parts = 8
	for i := range parts + 1 {
		cycle := first + (last-first)*float64(i)/parts
		value, low, high := line.At(cycle)
		drift.Line = append(drift.Line, d.place(cycle, value))
		drift.Low = append(drift.Low, d.place(cycle, low))
		drift.High = append(drift.High, d.place(cycle, high))
	}
	return append(out, drift)
}

// ahead is where the drift reaches a limit if it goes on; nil: it does not, or lies too far
// ahead to say.
func (d *drawer) ahead() *picture.Ahead {
	for _, f := range d.Forecasts {
		if f.Crossing <= d.To || f.Beyond || !f.Warn && !(f.Planned <= d.To && d.moved() == trend.Drifting && f.Crossing-d.To <= 2*d.To) {
			continue
		}
		l := analyze.NoLimit()
		if f.Limit.Upper {
			l.Upper = f.Limit.Value
		} else {
			l.Lower = f.Limit.Value
		}
		return &picture.Ahead{From: d.place(float64(d.To), f.Level), To: d.place(float64(f.Crossing), f.Limit.Value),
			Earliest: float64(f.Earliest), Latest: float64(f.Latest),
			Words: fmt.Sprintf("if it goes on: %s at about cycle %s", limitWords(d.scale, l), itoa(f.Crossing))}
	}
	return nil
}

// gapsOf are a soak's interruptions, with how long each was.
func gapsOf(r *Record) ([]picture.Gap, error) {
	var out []picture.Gap
	for _, i := range r.Interruptions {
		g := picture.Gap{After: i.After, Words: "interrupted"}
		from, sign := i.Stopped, ""
		if from.IsZero() && r.CycleStart != nil && i.After > 0 {
			// Where nobody could note the end, the last cycle began before it.
			at, err := r.CycleStart(i.After)
			if err != nil {
				return nil, err
			}
			from, sign = at, "≤ "
		}
		if !from.IsZero() && !i.Resumed.Before(from) {
			g.Words, g.Long = sign+words.Lasting(i.Resumed.Sub(from)), i.Resumed.Sub(from).Seconds()
		}
		out = append(out, g)
	}
	return out, nil
}

// failuresOf is the time line of the cycles that failed; nil: none did.
func failuresOf(r *Record, all []Trend, gaps []picture.Gap) *picture.Timeline {
	var failed []*Trend
	for i := range all {
		if all[i].Failures.Outside > 0 {
			failed = append(failed, &all[i])
		}
	}
	if r.Tally.Failed == nil || len(r.Tally.Failed.List) == 0 {
		return nil
	}
	slices.SortStableFunc(failed, func(a, b *Trend) int { return cmp.Compare(a.Failures.First, b.Failures.First) })
	f := r.Tally.Outcomes.Summary().Failures
	t := &picture.Timeline{Heading: "Failures over the cycles", First: 1, Last: r.Tally.Last, Gaps: gaps, When: whenOf(r),
		Lanes: []picture.FailureLane{laneOf("cycles that failed", r.Tally.Failed, f)}}
	t.Words = []string{fmt.Sprintf("%s of %s failed, first cycle %s, last %s%s", itoa(f.Outside), itoa(f.Judged), itoa(f.First), itoa(f.Last), clusters(f))}
	if len(failed) > 0 {
		t.Words[0] = fmt.Sprintf("%s; the first: %s", t.Words[0], failed[0].heading())
	}
	if n := len(failed) - shownLanes; n > 0 {
		t.Words = append(t.Words, fmt.Sprintf("%d more quantities that failed have no lane", n))
		failed = failed[:shownLanes]
	}
	for _, x := range failed {
		t.Lanes = append(t.Lanes, laneOf(x.heading(), x.row.Failed, x.Failures))
	}
	t.About = strings.Join(t.Words, ". ")
	return t
}

func laneOf(name string, m *trend.Marks, f trend.Failures) picture.FailureLane {
	l := picture.FailureLane{Name: name, Count: fmt.Sprintf("%s of %s", itoa(f.Outside), itoa(f.Judged)), Width: m.Width}
	for _, x := range m.List {
		l.Marks = append(l.Marks, picture.FailureMark{Span: picture.Span{First: x.First, Last: x.Last}, N: x.N})
	}
	return l
}

// whenOf says when a cycle began, to the minute; nil where that is not known, or the same for
// the first cycle and the last.
func whenOf(r *Record) func(int) string {
	if r.CycleStart == nil {
		return nil
	}
	when := func(cycle int) string {
		at, err := r.CycleStart(cycle)
		if err != nil || at.IsZero() { // the second scale is a help, and no figure
			return ""
		}
		return at.In(r.Started.Location()).Format("2 Jan 15:04")
	}
	if when(1) == when(r.Tally.Last) {
		return nil
	}
	return when
}
