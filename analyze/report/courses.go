package report

import (
	"bytes"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/picture"
	"makebreak/analyze/trend"
)

// shownCourses is how many quantities that moved are drawn on a page.
const shownCourses = 8

// courses draws the quantities of a soak that drift or step, as SVG of figures and
// escaped words only.
func courses(r *Record) ([]template.HTML, error) {
	if r.Tally == nil {
		return nil, nil
	}
	var out []template.HTML
	for _, t := range trendsOf(r) {
		if t.moved() == "" || len(out) == shownCourses {
			continue
		}
		var b bytes.Buffer
		c := t.course()
		if err := c.Inline(&b); err != nil {
			return nil, err
		}
		out = append(out, template.HTML(b.String()))
	}
	return out, nil
}

// course is the trend as a picture shows it, in the unit that suits its values.
func (t *Trend) course() *picture.Course {
	s := scalerOf(t.Quantity, t.limit, math.NaN(), t.Min.Value, t.Max.Value)
	c := &picture.Course{Heading: fmt.Sprintf("%s %s at %s", oneLine(t.Signal), t.Quantity.Words(), oneLine(eventWords(t.Event))),
		About: strings.Join(t.lines(), ". "), Unit: s.Unit(), FitWords: string(t.moved())}
	blocks := t.series.Blocks()
	for _, b := range blocks {
		c.Values = append(c.Values, picture.Place{Cycle: b.Cycle, Value: s.In(b.Value)})
	}
	if x := t.limit.Lower; finite(x) {
		c.Limits = append(c.Limits, picture.Limit{Value: s.In(x), Words: limitWords(s, analyze.Limit{Lower: x, Upper: math.NaN()})})
	}
	if x := t.limit.Upper; finite(x) {
		c.Limits = append(c.Limits, picture.Limit{Value: s.In(x), Upper: true, Words: limitWords(s, analyze.Limit{Lower: math.NaN(), Upper: x})})
	}
	first, last := blocks[0].Cycle, blocks[len(blocks)-1].Cycle
	level := func(from, to, value float64) []picture.Place {
		return []picture.Place{{Cycle: from, Value: s.In(value)}, {Cycle: to, Value: s.In(value)}}
	}
	if t.moved() != trend.Drifting {
		c.Fits = [][]picture.Place{level(first, float64(t.Step.At), t.Step.Before), level(float64(t.Step.At), last, t.Step.After)}
	}
	if t.moved() == trend.Stepped {
		return c
	}
	start := driftsFrom(blocks, t.Drift.Slope/1000)
	end := start + t.Drift.Slope/1000*(last-first)
	c.Fits = append(c.Fits, []picture.Place{{Cycle: first, Value: s.In(start)}, {Cycle: last, Value: s.In(end)}})
	return c
}

// driftsFrom is where a line of a slope, per cycle, begins: half of the blocks lie on
// either side of it (Sen's line with the median intercept).
func driftsFrom(blocks []trend.Block, slope float64) float64 {
	var off []float64
	for _, b := range blocks {
		off = append(off, b.Value-slope*(b.Cycle-blocks[0].Cycle))
	}
	slices.Sort(off)
	return (off[(len(off)-1)/2] + off[len(off)/2]) / 2
}
