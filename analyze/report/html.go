package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"iter"
	"slices"
	"strings"
	"sync"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/picture"
)

// shownCycles is how many cycles from the first on the page shows figure by
// figure; as many more that did not pass are shown with them.
const shownCycles = 10

// shownFigures is at how many figures the cycles on the page are cut.
const shownFigures = 2000

//go:embed page.html
var pageSource string

var pageTemplate = sync.OnceValue(func() *template.Template { return template.Must(template.New("page").Parse(pageSource)) })

// HTML writes the record as one page that stands alone: no script, nothing
// fetched, printing on A4. It says what the text says and adds single cycles and
// a place to sign. It reads the measurements twice, and nothing is written
// where that fails.
func HTML(w io.Writer, r *Record) error {
	p, err := newPage(r)
	if err != nil {
		return readingFailed(err)
	}
	var b bytes.Buffer
	if err := pageTemplate().Execute(&b, p); err != nil {
		return err
	}
	_, err = b.WriteTo(w)
	return writingFailed("a page", err)
}

// page is what the template shows. All texts are plain; the template escapes.
type page struct {
	Run, Unit    string
	Verdict, Why string
	Simulated    bool
	Nothing      string // in place of a table without rows
	Faults       string // planted on the simulated bench; empty: none
	Head         [][2]string
	Columns      []string
	Rows         []pageRow
	Steady       string
	Legend       []string
	Lists        []pageList // those that are not empty
	Courses      []template.HTML
	CourseStyle  template.CSS // of the courses; empty where there are none
	Findings     []pageFinding
	LogPath      string
	Cycles       []pageCycle
	CyclesNote   string
}

type pageRow struct {
	First                                       bool // of its signal
	Signal, Quantity, Event, N, Median, Span, U string
	Limit, Verdict, Words                       string
}

type pageList struct {
	Heading string
	Items   []string
}

type pageFinding struct{ Verdict, Text string }

// pageCycle is one cycle, figure by figure.
type pageCycle struct {
	Number  int
	Figures []pageFigure
}

type pageFigure struct{ Event, Signal, Quantity, Reading, Limit, Verdict, Reason string }

func newPage(r *Record) (*page, error) {
	s, err := summarize(r)
	if err != nil {
		return nil, err
	}
	p := &page{
		Run: oneLine(r.Run), Unit: oneLine(r.Unit), Verdict: r.Verdict.Name(), Why: verdictSentence(r, s),
		Simulated: r.Simulated, Faults: faultWords(r), Nothing: nothingWords(r), Head: pairs(r), Columns: tableHead, Rows: pageRows(s),
		Steady: oneLine(s.steady.line()), Legend: s.legendLines(), LogPath: oneLine(r.LogPath),
	}
	p.addList(unstoredHeading, oneLines(r.Unstored))
	p.addList("Remarks", s.remarkLines())
	p.addList(settleHeading, s.undecidedLines())
	for _, l := range soakLists(r) {
		p.addList(l.Heading, l.Items)
	}
	p.addList("Measuring problems", troubleLines(r))
	p.addList("Cautions", oneLines(r.Cautions))
	p.addList("Notes", oneLines(r.Notes))
	for _, f := range findingsOf(r) {
		p.Findings = append(p.Findings, pageFinding{f.Verdict.Name(), findingWords(f)})
	}
	if p.Courses, err = courses(r); err != nil {
		return nil, err
	}
	if len(p.Courses) > 0 {
		p.CourseStyle = template.CSS(picture.Style())
	}
	return p, p.addCycles(r, s)
}

func (p *page) addList(heading string, items []string) {
	if len(items) > 0 {
		p.Lists = append(p.Lists, pageList{heading, items})
	}
}

func oneLines(all []string) []string {
	var out []string
	for _, s := range all {
		out = append(out, oneLine(s))
	}
	return out
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
func (p *page) addCycles(r *Record, s *summary) error {
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
		p.addFigure(m)
		figures++
		cut = figures == shownFigures
	}
	p.CyclesNote = p.cyclesNote(s, cut)
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

func (p *page) addFigure(m analyze.Measurement) {
	if n := len(p.Cycles); n == 0 || p.Cycles[n-1].Number != m.Cycle {
		p.Cycles = append(p.Cycles, pageCycle{Number: m.Cycle})
	}
	c := &p.Cycles[len(p.Cycles)-1]
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
func (p *page) cyclesNote(s *summary, cut bool) string {
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
