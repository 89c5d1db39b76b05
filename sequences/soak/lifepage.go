package soak

import (
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"strconv"

	"makebreak/analyze/look"
	"makebreak/analyze/picture"
	"makebreak/analyze/reliability"
	"makebreak/rig/words"
)

//go:embed life.html
var lifeSource string

var lifePage = look.NewPage(lifeSource)

// lifeParts is what the page of several boards' lives shows.
type lifeParts struct {
	Title, Simulated string
	Paper            template.HTML // empty where no board has failed
	Facts            [][2]string
	Boards           [][3]string
	Doubts           []string
}

// HTML writes the result as one page that stands alone: the boards on Weibull paper where one
// has failed, what they show, and the boards. perYear is as in Text.
func (r *LifeResult) HTML(w io.Writer, perYear float64) error {
	p := lifeParts{Title: "What the soaks of " + words.Count(len(r.Units), "board") + " show",
		Simulated: words.Safe(words.Capital(r.Simulated))}
	for _, d := range r.Doubts {
		if d != r.Simulated {
			p.Doubts = append(p.Doubts, words.Safe(words.Capital(d)))
		}
	}
	for _, u := range r.Units {
		p.Boards = append(p.Boards, [3]string{words.Safe(u.Name), cyclesText(u.Cycles), endText(u)})
	}
	var err error
	if p.Facts, err = r.facts(perYear); err != nil {
		return err
	}
	switch paper, err := picture.PaperOf(r.Units, r.Fit); {
	case errors.Is(err, picture.ErrNothing):
	case err != nil:
		return err
	default:
		if p.Paper, err = look.Drawn(paper.Inline); err != nil {
			return err
		}
	}
	return lifePage.Write(w, p)
}

// endText says how a board's cycles ended.
func endText(u reliability.Unit) string {
	if u.Failed {
		return "a failure"
	}
	return "stopped, not failed"
}

// facts are what the boards show, each with its name.
func (r *LifeResult) facts(perYear float64) ([][2]string, error) {
	facts := [][2]string{{"Boards that failed", fmt.Sprintf("%d of %d", r.Failures, len(r.Units))}, {"Confidence of the bounds", fmt.Sprintf("%g %%", 100*r.Confidence)}}
	add := func(name, format string, a ...any) { facts = append(facts, [2]string{name, fmt.Sprintf(format, a...)}) }
	mean := "at least " + cyclesText(r.Mean.AtLeast)
	if r.Failures > 0 {
		mean += fmt.Sprintf(", estimated %s (%s to %s)", cyclesText(r.Mean.Value), cyclesText(r.Mean.Lower), cyclesText(r.Mean.Upper))
	}
	add("Mean cycles between failures, if they come at a constant rate", "%s", mean)
	if r.Fit == nil {
		add("Weibull distribution", "%s", r.NoFit)
	} else {
		three := func(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }
		for _, e := range []struct {
			name   string
			value  reliability.Estimate
			format func(float64) string
		}{{"Weibull shape", r.Fit.Shape, three}, {"Weibull scale, cycles", r.Fit.Scale, cyclesText}, {"B10, cycles", r.B10, cyclesText}} {
			add(e.name, "%s (%s to %s by likelihood; %s to %s by information)", e.format(e.value.Value), e.format(e.value.Likelihood.Lower), e.format(e.value.Likelihood.Upper),
				e.format(e.value.Fisher.Lower), e.format(e.value.Fisher.Upper))
		}
	}
	if k := r.Known; k != nil {
		add(fmt.Sprintf("With the shape %g from experience", k.Shape), "B10 at least %s cycles, scale at least %s", cyclesText(k.B10AtLeast), cyclesText(k.ScaleAtLeast))
	}
	d, what, err := r.dangerous(perYear)
	if d != nil {
		add(fmt.Sprintf("%s as B10d, every failure taken as dangerous, %s cycles a year", words.Capital(what), cyclesText(perYear)), "%s", dangerousText(*d))
	}
	return facts, err
}
