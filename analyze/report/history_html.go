package report

import (
	_ "embed"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/compare"
	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/analyze/tally"
)

//go:embed history.html
var historySource string

var lifePage = look.NewPage(historySource)

// historyPage is what the template shows. All texts are plain; the template escapes.
type historyPage struct {
	Unit, Word, Counts, Simulated string
	Runs                          []pageLife
	Courses                       []pageCourse
}

// pageLife is one run on the page.
type pageLife struct {
	Run, When, Sequence, Verdict, By string
	Cycles                           int
	Fields                           string // with a comma before each
	Wrong                            []string
	Since                            string
	Changed                          []string
	Compared                         bool // with a run before
	Only                             bool // there is none before of its sequence
}

// pageCourse is one sequence's figures over the runs.
type pageCourse struct {
	Sequence string
	Figures  []pageOver
}

// pageOver is one figure over the runs.
type pageOver struct {
	Figure, Event, First, Last, Limit string
	Runs                              int
	Strip                             template.HTML
}

// HTML writes the life as one page that stands alone, the newest run first.
func (h *History) HTML(w io.Writer) error {
	p := &historyPage{Unit: oneLine(h.Unit), Counts: h.counts(), Simulated: h.simulated()}
	for i := len(h.Runs) - 1; i >= 0; i-- {
		l := h.Runs[i]
		x := pageLife{Run: oneLine(l.Run), When: timeWords(l.Started), Sequence: oneLine(l.Sequence), Verdict: l.Verdict.Name(),
			By: oneLine(l.By), Cycles: l.Cycles, Fields: fieldWords(l.Fields), Wrong: l.said(), Compared: l.Since != nil}
		x.Only = h.Earlier == 0 && !slices.ContainsFunc(h.Runs[:i], func(before *Life) bool { return before.Sequence == l.Sequence })
		x.Since, x.Changed = l.changed()
		p.Runs = append(p.Runs, x)
	}
	if len(p.Runs) > 0 {
		p.Word = "Last: " + p.Runs[0].Verdict
	}
	var err error
	if p.Courses, err = h.courses(); err != nil {
		return err
	}
	return writePage(w, lifePage, p)
}

// courses draws, for each sequence that ran more than once, the figures that have a limit.
func (h *History) courses() ([]pageCourse, error) {
	var all []pageCourse
	for _, sequence := range h.sequences() {
		c := pageCourse{Sequence: oneLine(sequence)}
		keys, over := h.over(sequence)
		for _, k := range keys {
			x, err := drawOver(k, over[k])
			if err != nil {
				return nil, err
			}
			c.Figures = append(c.Figures, x)
		}
		if len(c.Figures) > 0 {
			all = append(all, c)
		}
	}
	return all, nil
}

// sequences are those of the life, in the order in which they came.
func (h *History) sequences() (all []string) {
	for _, l := range h.Runs {
		all = appendNew(all, l.Sequence)
	}
	return all
}

// over gathers the figures of one sequence that have a limit and a value in two runs or more.
func (h *History) over(sequence string) (keys []tally.Key, over map[tally.Key][]*compare.Sample) {
	over = map[tally.Key][]*compare.Sample{}
	for _, l := range h.Runs {
		if l.Sequence != sequence {
			continue
		}
		for _, s := range l.Samples {
			if s.Limit.None() || s.Values == 0 || s.Quantity == analyze.Hold && s.High == 0 {
				continue
			}
			if over[s.Key] == nil {
				keys = append(keys, s.Key)
			}
			over[s.Key] = append(over[s.Key], s)
		}
	}
	return slices.DeleteFunc(keys, func(k tally.Key) bool { return len(over[k]) < 2 }), over
}

// drawOver draws the means of a figure in the order of the runs, against the newest limit.
func drawOver(k tally.Key, runs []*compare.Sample) (x pageOver, err error) {
	limit, expanded := runs[len(runs)-1].Limit, 0.0
	var means []float64
	strip := picture.Strip{Lower: limit.Lower, Upper: limit.Upper, FromZero: true}
	for _, s := range runs {
		means = append(means, s.Mean)
		if e := s.Expanded(); !math.IsNaN(e) {
			expanded = max(expanded, e)
		}
		strip.Dots = append(strip.Dots, picture.Dot{Value: s.Mean, Out: s.Verdict == analyze.Fail, Open: s.Verdict == analyze.Undecided})
	}
	strip.Dots = strip.Dots[max(0, len(strip.Dots)-picture.MostDots):]
	scaler := scalerOf(k.Quantity, limit, expanded, means...)
	x = pageOver{Figure: oneLine(k.Signal + " " + k.Quantity.Words()), Event: oneLine(k.Event), Runs: len(runs),
		First: scaler.Text(means[0]), Last: scaler.Text(means[len(means)-1]), Limit: limitWords(scaler, limit)}
	strip.Name = strings.TrimSpace(x.Figure + " " + x.Event)
	strip.About = "first " + x.First + ", last " + x.Last + ", limit " + x.Limit
	x.Strip, err = look.Drawn(strip.Inline)
	return x, err
}
