package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/picture"
	"makebreak/analyze/reliability"
	"makebreak/analyze/tally"
	"makebreak/analyze/trend"
	"makebreak/rig/unit"
	"makebreak/rig/words"
)

// soakConfidence is that of the failure probability.
const soakConfidence = 0.95

// shownInterruptions is how many interruptions are told one by one; beyond them
// the latest are.
const shownInterruptions = 10

// digest is a row's values as a tally keeps them.
type digest struct{ *trend.Series }

func (d digest) exact() bool     { return d.Summary().BlockValues == 1 }
func (d digest) median() float64 { return d.Quantile(0.5) }

func (d digest) quantile(share float64) float64 { return d.Quantile(share) }
func (d digest) dots() []picture.Dot            { return nil }

// summaryOf makes the table's rows from a tally.
func summaryOf(r *Record) *summary {
	s := &summary{verdicts: map[analyze.Verdict]int{}, doubtful: slices.Clone(r.Tally.Doubtful), cycles: r.Tally.Last}
	for _, t := range r.Tally.Rows {
		x := &row{t, digest{t.All()}}
		for _, v := range analyze.Verdicts {
			if n := x.with(v); n > 0 {
				s.verdicts[v] += n
			}
		}
		s.rows = append(s.rows, x)
	}
	s.sort(r)
	s.foldSteady()
	return s
}

// Trend is how one quantity went over a soak's cycles. Values are in its base unit.
type Trend struct {
	Signal   string
	Quantity analyze.Quantity
	Event    string
	trend.Summary
	// Forecasts are for the limits that the quantity has, where it is not beyond them.
	Forecasts []trend.Forecast
	limit     analyze.Limit
	bounds    int64 // of the values that are only bounds, and no part of the trend
	among     int   // quantities judged together with this one
	series    *trend.Series
	row       *tally.Row
}

// moved is the shape that is clear enough to tell of: a drift, a step, one of the two, or
// empty.
func (t *Trend) moved() trend.Shape {
	switch {
	case t.Shape == trend.Drifting && t.clear(t.Drift.P), t.Shape == trend.Stepped && t.clear(t.Step.P),
		t.Shape == trend.Changed && t.clear(min(t.Drift.P, t.Step.P)):
		return t.Shape
	}
	return ""
}

// clear reports whether a test's probability is small enough to tell of a drift or
// step. Each of the many quantities of a run has a chance to seem to move, at each of the
// looks at it; the level is shared among them (Bonferroni), so that a steady unit is said
// to drift in at most one of a hundred runs, however often one looks.
func (t *Trend) clear(p float64) bool {
	return p*float64(t.among)*max(1, t.Looks) < trend.Significance
}

// trendsOf judges every quantity of a soak, in the order of its table; none where the record is
// of none. It goes through all blocks of each, so it is done once a record.
func trendsOf(r *Record) []Trend {
	if r.Tally == nil {
		return nil
	}
	s := summaryOf(r)
	var all []Trend
	for _, x := range s.rows {
		d := x.Trend
		t := Trend{Signal: x.Signal, Quantity: x.Quantity, Event: x.Event, Summary: d.Summary(), limit: x.Limit, among: 2 * len(s.rows), series: d, row: x.Row}
		if x.Told != nil {
			t.bounds = x.Told.Summary().N - t.N
			t.Doubts = append(t.Doubts, fmt.Sprintf("%d of %d values are only bounds and left out; if they are so because of their size, the spread is wrong", t.bounds, t.bounds+t.N))
		}
		for _, l := range []trend.Limit{{Value: x.Limit.Lower}, {Value: x.Limit.Upper, Upper: true}} {
			if finite(l.Value) && !x.LimitsDiffer && r.Planned > 0 {
				t.Forecasts = append(t.Forecasts, d.Forecast(l, max(r.Planned, r.Tally.Last)))
			}
		}
		all = append(all, t)
	}
	return all
}

// lines say what is to be said of a quantity, with its name; none where it is as it should be.
func (t *Trend) lines() []string {
	out := t.said()
	for i := range out {
		out[i] = t.name() + out[i]
	}
	return out
}

// said is what is to be said of a quantity.
func (t *Trend) said() []string {
	var out []string
	add := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	switch t.moved() {
	case trend.Drifting:
		d := t.Drift
		slope := t.moves(d.Slope, d.Lower, d.Upper)
		add("drifts by %s in 1000 cycles (95 %%: %s, %s), %s over the run", slope.Text(d.Slope), slope.Range(d.Lower, d.Upper, " to "),
			chance(d.P), t.moves(d.Change).Text(d.Change))
	case trend.Stepped:
		add("steps by %s at cycle %s (%s)", t.moves(t.Step.Size).Text(t.Step.Size), t.place(), chance(t.Step.P))
	case trend.Changed:
		add("drift or step, which cannot be told apart (%s): if a drift, %s over the run; if a step, %s at cycle %s",
			chance(min(t.Drift.P, t.Step.P)), t.moves(t.Drift.Change).Text(t.Drift.Change), t.moves(t.Step.Size).Text(t.Step.Size), t.place())
	}
	if m := t.moved(); m == trend.Drifting || m == trend.Changed {
		add("a swing slower than the run would look the same")
	}
	if len(t.warnings()) > 0 {
		add("will cross its limit, see the findings")
	}
	if f := t.Failures; f.Outside > 0 {
		add("out of its limit in %s of %s, first at cycle %s, last at %s, at most %s in a row%s", itoa(f.Outside), itoa(f.Judged), itoa(f.First),
			itoa(f.Last), times(f.Streak), clusters(f))
	}
	if t.bounds > 0 {
		add("only a bound is known %s: they have no part in drift, step and forecast", times(t.bounds))
	}
	if t.Missing > 0 {
		add("could not be measured %s, first at cycle %s", times(t.Missing), itoa(t.FirstMissing))
	}
	return out
}

// place is where a step lies.
func (t *Trend) place() string {
	if t.Step.From == t.Step.To {
		return itoa(t.Step.At)
	}
	return fmt.Sprintf("%s (95 %%: %s to %s)", itoa(t.Step.At), itoa(t.Step.From), itoa(t.Step.To))
}

func (t *Trend) name() string {
	return t.heading() + ": "
}

// warnings are findings before a limit is crossed: no figure has failed, so they have no verdict.
func (t *Trend) warnings() []analyze.Finding {
	var out []analyze.Finding
	for _, f := range t.Forecasts {
		if f.Warn && f.Crossing > 0 {
			text := fmt.Sprintf("WARNING: it will cross its limit of %s at about cycle %s (%s), before the %s planned, if it goes on as since cycle %s; confidence %s",
				LimitWords(t.Quantity, t.limit), itoa(f.Crossing), between(f.Earliest, f.Latest), itoa(f.Planned), itoa(f.From), percent(f.Confidence))
			out = append(out, analyze.Finding{Signal: t.Signal, Text: t.name() + text})
		}
	}
	return out
}

// findingsOf are what the cycles show to be wrong, and what will be by their trends.
func findingsOf(r *Record, trends []Trend) []analyze.Finding {
	all := slices.Clone(r.Findings)
	for _, t := range trends {
		all = append(all, t.warnings()...)
	}
	return all
}

func clusters(f trend.Failures) string {
	var said string
	if f.Clustering < trend.Significance {
		said = fmt.Sprintf("; in clusters (%s)", chance(f.Clustering))
	}
	if f.Later < trend.Significance {
		word := "rarer"
		if f.Growing {
			word = "more frequent"
		}
		said += "; becoming " + word
	}
	return said
}

// moves writes differences of the quantity's values, to three digits.
func (t *Trend) moves(differences ...float64) unit.Scaler {
	return unit.Of(t.Quantity.Unit()).Scaler(unit.Figures{Values: differences, Uncertainty: math.NaN(), Digits: 3})
}

func chance(p float64) string {
	if !(p >= 0.0001) {
		return "p < 0.0001"
	}
	return "p = " + strconv.FormatFloat(p, 'g', 2, 64)
}

func between(earliest, latest int) string {
	switch {
	case earliest > 0 && latest > 0:
		return itoa(earliest) + " to " + itoa(latest)
	case earliest > 0:
		return "from " + itoa(earliest)
	}
	return "no earliest or latest cycle can be given"
}

func times[T int | int64](n T) string {
	if n == 1 {
		return "once"
	}
	return itoa(n) + " times"
}

func itoa[T int | int64](n T) string { return strconv.FormatInt(int64(n), 10) }

// percent is a confidence in percent; none is ever whole.
func percent(c float64) string {
	if c > 0.9999 {
		return "over 99.99 %"
	}
	return strconv.FormatFloat(100*c, 'g', 4, 64) + " %"
}

// soakLists are what a soak's record says besides its table.
func soakLists(r *Record, trends []Trend) []pageList {
	if r.Tally == nil {
		return nil
	}
	var lines []string
	for _, t := range trends {
		lines = append(lines, t.lines()...)
	}
	if len(lines) == 0 && len(r.Tally.Rows) > 0 {
		lines = []string{"no drift, no step, nothing out of limits or missing"}
	}
	return append([]pageList{{"Over the cycles", lines}}, drawnSoakLists(r)...)
}

// drawnSoakLists are what a soak's record says besides its table and its courses.
func drawnSoakLists(r *Record) []pageList {
	if r.Tally == nil {
		return nil
	}
	return []pageList{{"Reliability", reliabilityLines(r.Tally)}, {"Interruptions", interruptionLines(r)}}
}

// reliabilityLines say what the cycles' own outcomes show.
func reliabilityLines(t *tally.Tally) []string {
	f := t.Outcomes.Summary().Failures
	if f.Judged == 0 {
		return nil
	}
	p, err := reliability.ProportionOf(f.Outside, f.Judged, soakConfidence)
	if err != nil {
		return nil // no more failures than cycles: cannot be
	}
	var lines []string
	if f.Outside == 0 {
		lines = append(lines, fmt.Sprintf("no failure in %s: the failure probability per cycle is at most %s at %g %% confidence",
			words.Count(f.Judged, "cycle"), share(p.AtMost), 100*p.Confidence))
	} else {
		lines = append(lines, fmt.Sprintf("failed in %s of %s: %s per cycle, %s to %s at %g %% confidence (Clopper-Pearson)%s",
			itoa(f.Outside), words.Count(f.Judged, "cycle"), share(p.Value), share(p.Lower), share(p.Upper), 100*p.Confidence, clusters(f)))
	}
	if f.Doubtful > 0 {
		lines = append(lines, fmt.Sprintf("%s undecided, counted as not failed", words.Count(f.Doubtful, "cycle")))
	}
	if t.CutOff > 0 {
		lines = append(lines, cutOff(t.CutOff))
	}
	return append(lines, p.Doubts...)
}

// cutOff says how many cycles an interruption ended before their end.
func cutOff(n int) string {
	verb := "were"
	if n == 1 {
		verb = "was"
	}
	return fmt.Sprintf("%s %s cut off and not counted", words.Count(n, "cycle"), verb)
}

func share(p float64) string { return strconv.FormatFloat(p, 'g', 3, 64) }

func interruptionLines(r *Record) []string {
	all := r.Interruptions
	if len(all) == 0 {
		return nil
	}
	lines := []string{fmt.Sprintf("interrupted %s; no cycle that was reported done is missing", times(len(all)))}
	if n := len(all) - shownInterruptions; n > 0 {
		lines = append(lines, fmt.Sprintf("the latest %d of them:", shownInterruptions))
		all = all[n:]
	}
	for _, i := range all {
		stopped := "at an unknown time"
		if !i.Stopped.IsZero() {
			stopped = i.Stopped.Format("2006-01-02 15:04:05 MST")
		}
		line := fmt.Sprintf("after cycle %s, %s, until %s: %s", itoa(i.After), stopped, i.Resumed.Format("2006-01-02 15:04:05 MST"), oneLine(i.Reason))
		if i.Program != "" && i.Program != r.Program {
			line += "; from there on measured by version " + oneLine(i.Program)
		}
		lines = append(lines, line)
	}
	return lines
}

// soakObject is what the JSON form says of a soak besides its figures.
type soakObject struct {
	Cycles             int                  `json:"cycles"`
	CutShort           int                  `json:"cut_short"`
	Interruptions      []interruptionObject `json:"interruptions"`
	Failures           int64                `json:"failures"`
	FailureProbability *float64             `json:"failure_probability"`
	Lower              *float64             `json:"lower"`
	Upper              *float64             `json:"upper"`
	AtMost             *float64             `json:"at_most"`
	Confidence         float64              `json:"confidence"` // share of 1
	Clustering         *float64             `json:"clustering_p"`
	Trends             []trendObject        `json:"trends"`
}

type interruptionObject struct {
	After   int     `json:"after_cycle"`
	Stopped *string `json:"stopped"`
	Resumed string  `json:"resumed"`
	Reason  string  `json:"reason"`
	Program *string `json:"program"`
	// Ending is there where it is known.
	Ending *jsonEnding `json:"ending,omitempty"`
}

type trendObject struct {
	Signal        string              `json:"signal"`
	Quantity      analyze.Quantity    `json:"quantity"`
	Event         string              `json:"event"`
	Unit          string              `json:"unit_of_measure"`
	N             int64               `json:"n"`
	Missing       int64               `json:"missing"`
	Lowest        *float64            `json:"lowest"`
	LowestAt      int                 `json:"lowest_cycle"`
	Highest       *float64            `json:"highest"`
	HighestAt     int                 `json:"highest_cycle"`
	Mean          *float64            `json:"mean"`
	SD            *float64            `json:"standard_deviation"`
	Quantiles     map[string]*float64 `json:"quantiles"`
	Shape         trend.Shape         `json:"shape"`
	Slope         *float64            `json:"slope_per_1000_cycles"`
	SlopeLower    *float64            `json:"slope_lower"`
	SlopeUpper    *float64            `json:"slope_upper"`
	DriftP        *float64            `json:"drift_p"`
	StepAt        int                 `json:"step_cycle"`
	StepEarliest  int                 `json:"step_earliest"`
	StepLatest    int                 `json:"step_latest"`
	StepSize      *float64            `json:"step_size"`
	StepP         *float64            `json:"step_p"`
	Outside       int64               `json:"out_of_limits"`
	FirstOutside  int                 `json:"first_out_of_limits"`
	Clustering    *float64            `json:"clustering_p"`
	EarlyWarnings []warningObject     `json:"early_warnings"`
	Doubts        []string            `json:"doubts"`
}

type warningObject struct {
	Limit      float64 `json:"limit"` // in the quantity's base unit
	Crossing   int     `json:"crossing_cycle"`
	Earliest   int     `json:"earliest"`
	Latest     int     `json:"latest"`
	Confidence float64 `json:"confidence"` // share of 1
}

func soakObjectOf(r *Record, trends []Trend) soakObject {
	f := r.Tally.Outcomes.Summary().Failures
	out := soakObject{Cycles: r.Tally.Complete, CutShort: r.Tally.CutOff, Failures: f.Outside, Confidence: soakConfidence,
		Clustering: FiniteOrNil(f.Clustering), Interruptions: []interruptionObject{}, Trends: []trendObject{}}
	if p, err := reliability.ProportionOf(f.Outside, f.Judged, soakConfidence); err == nil {
		out.FailureProbability, out.Lower, out.Upper, out.AtMost = &p.Value, &p.Lower, &p.Upper, &p.AtMost
	}
	for _, i := range r.Interruptions {
		out.Interruptions = append(out.Interruptions, interruptionObject{After: i.After, Stopped: OrNil(MachineTime(i.Stopped)), Resumed: i.Resumed.Format(time.RFC3339),
			Reason: plainText(i.Reason), Program: textOrNil(i.Program), Ending: endingOf(i.Ending)})
	}
	for _, t := range trends {
		out.Trends = append(out.Trends, t.object())
	}
	return out
}

func (t *Trend) object() trendObject {
	o := trendObject{Signal: plainText(t.Signal), Quantity: t.Quantity, Event: plainText(t.Event), Unit: t.Quantity.Unit(), N: t.N, Missing: t.Missing,
		Lowest: FiniteOrNil(t.Min.Value), LowestAt: t.Min.Cycle, Highest: FiniteOrNil(t.Max.Value), HighestAt: t.Max.Cycle, Mean: FiniteOrNil(t.Mean), SD: FiniteOrNil(t.SD),
		Quantiles: map[string]*float64{}, Shape: t.Shape, Slope: FiniteOrNil(t.Drift.Slope), SlopeLower: FiniteOrNil(t.Drift.Lower), SlopeUpper: FiniteOrNil(t.Drift.Upper),
		DriftP: FiniteOrNil(t.Drift.P), StepAt: t.Step.At, StepEarliest: t.Step.From, StepLatest: t.Step.To, StepSize: FiniteOrNil(t.Step.Size), StepP: FiniteOrNil(t.Step.P), Outside: t.Failures.Outside,
		FirstOutside: t.Failures.First, Clustering: FiniteOrNil(t.Failures.Clustering), EarlyWarnings: []warningObject{}, Doubts: append([]string{}, t.Doubts...)}
	for _, q := range t.Quantiles {
		o.Quantiles[strconv.FormatFloat(q.P, 'f', 2, 64)] = FiniteOrNil(q.Value)
	}
	for _, f := range t.Forecasts {
		if f.Warn {
			o.EarlyWarnings = append(o.EarlyWarnings, warningObject{f.Limit.Value, f.Crossing, f.Earliest, f.Latest, f.Confidence})
		}
	}
	return o
}
