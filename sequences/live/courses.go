package live

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/analyze/report"
	"makebreak/analyze/tally"
	"makebreak/analyze/trend"
	"makebreak/rig/words"
)

const (
	// mostCourses is how many quantities of a soak are drawn: those that fare worst.
	mostCourses = 6
	// mostBands is how many bands a course has.
	mostBands = 64
)

// A Course is how a quantity went over all cycles of a soak, those before an interruption too.
type Course struct {
	Event    string           `json:"event"`
	Signal   string           `json:"signal"`
	Quantity analyze.Quantity `json:"quantity"`
	Lower    Number           `json:"lower"`    // limit, in the quantity's base unit; NaN: none
	Upper    Number           `json:"upper"`    // limit, in the same unit; NaN: none
	Expanded Number           `json:"expanded"` // the largest at 95 %, in the same unit; NaN: not stated
	Low      Number           `json:"low"`      // lowest value, in the same unit
	High     Number           `json:"high"`     // highest value, in the same unit
	Figures  int              `json:"figures"`
	Verdicts [4]int           `json:"verdicts"` // by place in analyze.Verdicts
	Out      []analyze.Cycles `json:"out,omitempty"`
	Bands    []Band           `json:"bands"` // successive cycles; of few each is one value's
	Last     int              `json:"last"`  // cycle
}

// A Band is the spread of the values of successive cycles.
type Band struct {
	First  int      `json:"first"`
	Last   int      `json:"last"`
	Values []Number `json:"values"` // at trend.BandShares, in the quantity's base unit; of one cycle one
}

// pendingCourse is a course before its bands are made.
type pendingCourse struct {
	Course
	bands *trend.Bands
}

// coursesOf takes what is needed to draw those quantities of a soak that fare worst, of those
// that are judged and vary.
func coursesOf(t *tally.Tally) []pendingCourse {
	var rows []*tally.Row
	for _, x := range t.Rows {
		failed := x.Verdicts[analyze.Fail.Gravity()] > 0
		if x.Verdicts[analyze.NoVerdict.Gravity()] < x.Figures && x.Bands != nil && x.Values > 0 && (failed || x.Low < x.High) {
			rows = append(rows, x)
		}
	}
	slices.SortStableFunc(rows, func(a, b *tally.Row) int {
		for v := analyze.Fail.Gravity(); v > analyze.Pass.Gravity(); v-- {
			if d := b.Verdicts[v] - a.Verdicts[v]; d != 0 {
				return d
			}
		}
		return cmp.Compare(strainOf(b), strainOf(a))
	})
	var all []pendingCourse
	for _, x := range rows[:min(len(rows), mostCourses)] {
		c := Course{Event: x.Event, Signal: x.Signal, Quantity: x.Quantity, Lower: Number(x.Limit.Lower), Upper: Number(x.Limit.Upper), Expanded: Number(x.Uncertainty),
			Low: Number(x.Low), High: Number(x.High), Figures: x.Figures, Verdicts: x.Verdicts, Last: t.Last}
		if x.Failed != nil {
			for _, s := range x.Failed.List {
				c.Out = append(c.Out, analyze.Cycles{First: s.First, Last: s.Last})
			}
		}
		all = append(all, pendingCourse{c, x.Bands.Clone()})
	}
	return all
}

// strainOf is how much of the room to its limit a row's values fill, from the end that is farther
// off: 1 is all of it. What keeps its value fills little, however close it is.
func strainOf(x *tally.Row) float64 {
	strain := 0.0
	for _, share := range []float64{(x.High - x.Low) / (x.Limit.Upper - x.Low), (x.High - x.Low) / (x.High - x.Limit.Lower)} {
		if share > strain && !math.IsInf(share, 0) {
			strain = share
		}
	}
	return strain
}

// madeOf makes courses of what was taken.
func madeOf(taken []pendingCourse) []Course {
	all := make([]Course, len(taken))
	for i := range taken {
		all[i] = taken[i].course()
	}
	return all
}

// course makes the bands.
func (p *pendingCourse) course() Course {
	c := p.Course
	cycles, values := p.bands.Singles()
	for i, v := range values {
		c.Bands = append(c.Bands, Band{cycles[i], cycles[i], []Number{Number(v)}})
	}
	if len(values) > 0 {
		return c
	}
	for _, b := range p.bands.Bands(mostBands) {
		x := Band{First: b.First, Last: b.Last}
		for _, v := range b.Values {
			x.Values = append(x.Values, Number(v))
		}
		c.Bands = append(c.Bands, x)
	}
	return c
}

type courseView struct {
	Name, Word string
	Drawing    template.HTML // empty: there is none
}

// courseViews are the courses as the page shows them.
func courseViews(all []Course) []courseView {
	var out []courseView
	for i := range all {
		out = append(out, all[i].view())
	}
	return out
}

func (c *Course) view() courseView {
	at := "at " + c.Event
	if c.Event == "" {
		at = "at the start"
	}
	x := courseView{Name: words.Safe(fmt.Sprintf("%s %s %s", c.Signal, c.Quantity.Words(), at))}
	for _, v := range []analyze.Verdict{analyze.Pass, analyze.Undecided, analyze.Fail} {
		if n := c.Verdicts[v.Gravity()]; n > 0 {
			x.Word = fmt.Sprintf("%s %s in %s of %s", v.Mark(), v.Name(), apart(n), apart(c.Figures))
		}
	}
	p := c.picture(x.Name)
	p.Words = []string{x.Word}
	if drawing, err := look.Drawn(p.Inline); err == nil {
		x.Drawing = drawing
	}
	return x
}

// picture is the course as it is drawn, in the unit that suits its values.
func (c *Course) picture(name string) *picture.Course {
	limit := analyze.Limit{Lower: float64(c.Lower), Upper: float64(c.Upper)}
	s := report.ScalerOf(c.Quantity, limit, float64(c.Expanded), float64(c.Low), float64(c.High))
	p := &picture.Course{Heading: name, About: fmt.Sprintf("From %s to %s over %s.", s.Text(float64(c.Low)), s.Text(float64(c.High)), words.Count(c.Last, "cycle")),
		Unit: s.Unit(), First: 1, Last: max(1, c.Last)}
	if u := float64(c.Expanded); !math.IsNaN(u) {
		p.Guard = s.In(u)
	}
	if x := limit.Lower; !math.IsNaN(x) {
		p.Limits = append(p.Limits, picture.Limit{Value: s.In(x), Words: "min " + s.LimitText(x)})
	}
	if x := limit.Upper; !math.IsNaN(x) {
		p.Limits = append(p.Limits, picture.Limit{Value: s.In(x), Upper: true, Words: "max " + s.LimitText(x)})
	}
	for _, o := range c.Out {
		p.Out = append(p.Out, picture.Span{First: o.First, Last: o.Last})
		if p.FirstOut == 0 {
			p.FirstOut = o.First
		}
	}
	for _, b := range c.Bands {
		switch len(b.Values) {
		case 1:
			p.Values = append(p.Values, picture.Place{Cycle: float64(b.First), Value: s.In(float64(b.Values[0]))})
		case len(trend.BandShares):
			x := picture.Spread{First: b.First, Last: b.Last}
			for i, v := range b.Values {
				x.Values[i] = s.In(float64(v))
			}
			p.Bands = append(p.Bands, x)
		}
	}
	return p
}
