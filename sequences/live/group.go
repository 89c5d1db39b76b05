package live

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// grouped are runs with those beside them that are made at the same time on one rig.
func grouped(runs []Run) (all [][]Run) {
	for _, r := range runs {
		i := -1
		if r.Together != "" {
			i = slices.IndexFunc(all, func(g []Run) bool { return g[0].Together == r.Together })
		}
		if i < 0 {
			all = append(all, []Run{r})
			continue
		}
		all[i] = append(all[i], r)
	}
	return all
}

// chosen is one of several units that are tested at the same time; nil: there is none of this key.
func chosen(runs []Run, key string) [][]Run {
	if key == "" {
		return nil
	}
	for _, g := range grouped(runs) {
		for _, r := range g {
			if len(g) > 1 && keyOf(r.State) == key {
				return [][]Run{{r}}
			}
		}
	}
	return nil
}

// groupView is several units as the page's templates write them.
type groupView struct {
	Key, Sequence, Rig string
	Units              string // how many
	Soak               bool
	Simulated          string
	Counts             string // of verdicts
	Step               view   // where the units are: of one that goes on, else of the first
	Rows               []rowView
}

// rowView is one of several units in a line.
type rowView struct {
	Key, Link                   string
	Position, Unit              string
	Verdict, Mark, Word         string
	Cycle, Of                   string
	Ended, Silent               bool
	Why, Finding, More, Figures string
}

// keys are those of all that is shown of it.
func (g *groupView) keys() []string {
	return append([]string{g.Key}, words.Texts(g.Rows, func(r rowView) string { return r.Key })...)
}

// groupOf is several units at a glance.
func groupOf(g []Run) *groupView {
	step := slices.IndexFunc(g, func(r Run) bool { return r.End == nil && r.Step.Cycle > 0 })
	v := &groupView{Key: "g" + keyOf(g[0].State), Sequence: words.Safe(g[0].Sequence), Rig: words.Safe(g[0].Rig), Units: words.Count(len(g), "unit"), Soak: g[0].Soak,
		Step: viewOf(&g[max(0, step)])}
	for i := range g {
		u := viewOf(&g[i])
		v.Rows = append(v.Rows, rowOf(&g[i], &u))
		if g[i].Simulated {
			v.Simulated = "Simulated bench: nothing real is measured."
		}
	}
	v.Counts = counted(g)
	return v
}

// counted says how many units have which verdict.
func counted(g []Run) string {
	n := map[analyze.Verdict]int{}
	ended := 0
	for _, r := range g {
		v := r.Verdict
		if r.End != nil {
			v = r.End.Verdict
			ended++
		}
		n[v]++
	}
	var parts []string
	for _, x := range []struct {
		of   analyze.Verdict
		what string
	}{{analyze.Fail, "failed"}, {analyze.Undecided, "undecided"}, {analyze.Incomplete, "incomplete"}, {analyze.Pass, "passed"}, {analyze.NoVerdict, "not judged"}} {
		if n[x.of] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n[x.of], x.what))
		}
	}
	text := strings.Join(parts, ", ")
	switch {
	case ended == len(g):
		return text + ". All have ended."
	case ended > 0:
		return fmt.Sprintf("%s so far. %s.", text, words.Capital(words.Count(ended, "unit")+" "+has(ended)+" ended"))
	}
	return text + " so far."
}

func has(n int) string {
	if n == 1 {
		return "has"
	}
	return "have"
}

// rowOf is one unit in a line: what it is called, how it stands, and the figures that say most.
func rowOf(r *Run, u *view) rowView {
	x := rowView{Key: u.Key, Link: "/?now=" + u.Key, Position: words.Short(r.Position, words.MostName), Unit: u.Unit, Verdict: u.Verdict, Mark: u.Mark, Word: u.Word,
		Cycle: u.Cycle, Of: u.Of, Ended: u.Ended, Silent: u.Doubt != "" || u.Lost && !u.Ended}
	if x.Position == "" {
		x.Position = "Unit"
	}
	if r.End != nil && r.End.Reason != "" {
		x.Why = "Ended: " + words.Short(words.Safe(r.End.Reason), mostWhy)
	}
	if len(u.Findings) > 0 {
		first, _, _ := strings.Cut(u.Findings[0].Text, ". ")
		x.Finding = words.Short(strings.TrimSuffix(first, ".")+".", mostFinding)
		if n := len(u.Findings) - 1; n > 0 {
			x.More = fmt.Sprintf("and %s", words.Count(n, "other finding"))
		}
	}
	if r.Results != nil {
		x.Figures = strings.Join(lastFigures(r.Results.Figures), ", ")
	}
	return x
}

// What a line has at most: characters of why a run ended and of its first finding, and figures.
const (
	mostWhy     = 120
	mostFinding = 160
	mostFigures = 3
)

// lastFigures are the newest values of the quantities that say most: what did not pass first, then
// times, then levels. Of a quantity of a signal the gravest, or else the latest, counts.
func lastFigures(all []Figure) (told []string) {
	type of struct {
		signal   string
		quantity analyze.Quantity
	}
	best := map[of]int{}
	var order []of
	for i, f := range all {
		if math.IsNaN(float64(f.Value)) || rank(&f) == 0 {
			continue
		}
		k := of{f.Signal, f.Quantity}
		before, is := best[k]
		if !is {
			order = append(order, k)
		}
		if !is || f.Verdict.Gravity() >= all[before].Verdict.Gravity() {
			best[k] = i
		}
	}
	slices.SortStableFunc(order, func(a, b of) int { return cmp.Compare(rank(&all[best[b]]), rank(&all[best[a]])) })
	for _, k := range order[:min(len(order), mostFigures)] {
		told = append(told, figureWords(&all[best[k]]))
	}
	return told
}

// rank is how much a figure says of its unit at a glance; 0: nothing.
func rank(f *Figure) int {
	n := 8 * f.Verdict.Gravity()
	switch f.Quantity {
	case analyze.OperateTime, analyze.ReleaseTime:
		return n + 4
	case analyze.SwitchingDelay:
		return n + 3
	case analyze.HighLevel:
		return n + 2
	case analyze.BounceTime:
		return n + 1
	}
	if f.Verdict == analyze.Fail {
		return n
	}
	return 0
}

// figureWords are a figure's in a few words: K1 operate time 5.3 ms.
func figureWords(f *Figure) string {
	limits := []float64{float64(f.Lower), float64(f.Upper)}
	text := unit.Of(f.Quantity.Unit()).Scaler(unit.Figures{Values: []float64{float64(f.Value)}, Uncertainty: float64(f.Expanded), Limits: limits}).Text(float64(f.Value))
	switch f.Bound {
	case analyze.UpperBound:
		text = "≤ " + text
	case analyze.LowerBound:
		text = "≥ " + text
	}
	if f.Verdict == analyze.Fail || f.Verdict == analyze.Undecided {
		text += " (" + f.Verdict.Name() + ")"
	}
	return fmt.Sprintf("%s %s %s", words.Short(f.Signal, words.MostName), f.Quantity.Words(), text)
}
