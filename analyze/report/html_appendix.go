package report

import (
	"fmt"
	"iter"
	"slices"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
)

// shownCycles is how many cycles from the first on the page shows figure by
// figure; as many more that did not pass are shown with them.
const shownCycles = 10

// shownFigures is at how many figures the cycles on the page are cut.
const shownFigures = 2000

// pageAppendix holds all figures.
type pageAppendix struct {
	Columns []string
	Rows    []pageRow
	Steady  string
	Legend  []string
	Remarks []string
	Cycles  []pageCycle
	Note    string // what the cycles leave out
}

type pageRow struct {
	First                                       bool // of its signal
	Signal, Quantity, Event, N, Median, Span, U string
	Limit, Verdict, Words                       string
}

// pageCycle is one cycle, figure by figure.
type pageCycle struct {
	Number  int
	Figures []pageFigure
}

type pageFigure struct{ Event, Signal, Quantity, Reading, Limit, Verdict, Reason string }

func (a *pageAppendix) fill(r *Record, s *summary) error {
	a.Columns, a.Rows, a.Steady, a.Legend, a.Remarks = tableHead, pageRows(s), oneLine(s.steady.line()), s.legendLines(), s.remarkLines()
	return a.addCycles(r, s)
}

func pageRows(s *summary) []pageRow {
	var rows []pageRow
	for i, x := range s.rows {
		f := x.figures()
		v, _, _ := x.worst()
		rows = append(rows, pageRow{
			First: i == 0 || s.rows[i-1].Signal != x.Signal, Signal: oneLine(x.Signal),
			Quantity: x.Quantity.Words(), Event: oneLine(eventWords(x.Event)),
			N: f.n, Median: f.median, Span: f.span, U: f.uncertainty,
			Limit: f.limit, Verdict: string(v), Words: x.verdictWords(),
		})
	}
	return rows
}

// addCycles adds the first cycles and the first that did not pass, without the
// outputs that only held their state.
func (a *pageAppendix) addCycles(r *Record, s *summary) error {
	last := shownCycles
	for _, c := range s.doubtful {
		last = max(last, c)
	}
	figures, cut := 0, false
	for m, err := range r.cyclesTo(last, s.doubtful) {
		if err != nil {
			return err
		}
		if m.Cycle > last || cut {
			break
		}
		if m.Cycle > shownCycles && !slices.Contains(s.doubtful, m.Cycle) || slices.Contains(s.steady.signals, m.Signal) {
			continue
		}
		a.addFigure(m)
		figures++
		cut = figures == shownFigures
	}
	a.Note = cyclesNote(s, cut)
	return nil
}

// cyclesTo streams the figures of the first cycles and of those named, and may
// stream others: all where there is no way to single cycles.
func (r *Record) cyclesTo(last int, named []int) iter.Seq2[analyze.Measurement, error] {
	if r.Cycle == nil {
		return r.measurements()
	}
	return func(yield func(analyze.Measurement, error) bool) {
		for n := 1; n <= last; n++ {
			if n > shownCycles && !slices.Contains(named, n) {
				continue
			}
			for m, err := range r.Cycle(n) {
				if !yield(m, err) {
					return
				}
			}
		}
	}
}

func (a *pageAppendix) addFigure(m analyze.Measurement) {
	if n := len(a.Cycles); n == 0 || a.Cycles[n-1].Number != m.Cycle {
		a.Cycles = append(a.Cycles, pageCycle{Number: m.Cycle})
	}
	c := &a.Cycles[len(a.Cycles)-1]
	scaler := scalerOf(m.Quantity, m.Limit, m.Expanded, m.Value)
	shown, reason := reading(scaler, m.Value), oneLine(diagnose.Reason(&m))
	if b := m.Bound(); b != analyze.NoBound {
		if shown = b.Sign() + shown; len(m.Doubts) == 1 {
			reason = "" // the sign says it
		}
	}
	c.Figures = append(c.Figures, pageFigure{
		Event: oneLine(eventWords(m.Event)), Signal: oneLine(m.Signal), Quantity: m.Quantity.Words(),
		Reading: shown, Limit: limitWords(scaler, m.Limit),
		Verdict: string(m.Verdict), Reason: reason,
	})
}

// cyclesNote says what the single cycles leave out.
func cyclesNote(s *summary, cut bool) string {
	var omitted []string
	if s.cycles > shownCycles {
		omitted = append(omitted, fmt.Sprintf("Of %d cycles the first %d are shown, and up to %d that did not pass.", s.cycles, shownCycles, keptCycles))
	}
	if cut {
		omitted = append(omitted, fmt.Sprintf("The list ends after %d figures.", shownFigures))
	}
	if len(s.steady.signals) > 0 {
		omitted = append(omitted, "Outputs that only held their state are left out.")
	}
	if len(omitted) > 0 {
		omitted = append(omitted, "The CSV has every figure.")
	}
	return strings.Join(omitted, " ")
}
