package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"
	"unicode"

	"makebreak/analyze/look"
	"makebreak/rig/capture"
	"makebreak/rig/words"
)

//go:embed page.html
var pageSource string

//go:embed soak.html
var soakSource string

var recordPage = look.NewPage(pageSource, soakSource)

// Paper is a size of paper, as style sheets call it.
type Paper string

// The sizes of paper that are offered. The empty one leaves it to whoever prints.
const (
	AnyPaper Paper = ""
	A4       Paper = "A4"
	Letter   Paper = "letter"
)

// HTMLOpts says how a page is to look.
type HTMLOpts struct {
	// Appendix opens the list of all figures, so that it is printed, too.
	Appendix bool
	// Paper is what it is printed on.
	Paper Paper
}

// HTML writes the record as one page that stands alone: no script, nothing fetched. Its
// first printed page says how the unit did, what is wrong and who tested it with what.
// All figures stand in an appendix, which is printed only where HTMLWith is asked for it.
// It reads the measurements three times, and nothing is written where that fails.
func HTML(w io.Writer, r *Record) error { return HTMLWith(w, r, HTMLOpts{}) }

// HTMLWith writes the page as the options have it.
func HTMLWith(w io.Writer, r *Record, opts HTMLOpts) error {
	p, err := newPage(r)
	if err != nil {
		return readingFailed(err)
	}
	p.HTMLOpts = opts
	return writePage(w, recordPage, p)
}

// writePage makes a page and writes it.
func writePage(w io.Writer, p *look.Page, data any) error {
	b, err := p.Execute(data)
	if err != nil {
		return err
	}
	_, err = b.WriteTo(w)
	return writingFailed("a page", err)
}

// page is what the template shows. All texts are plain; the template escapes.
type page struct {
	HTMLOpts
	Run, Unit string
	// RunHead, UnitHead and Foot stand on every printed page, as strings of a style sheet.
	RunHead, UnitHead, Foot template.CSS
	Verdict, Why            string
	Simulated               bool
	Faults                  string // planted on the simulated bench; empty: none
	Findings                []pageFinding
	NoFindings              string // what stands in their place
	Causes                  []string
	Settle                  []string // what would settle undecided results
	Unstored                []string
	Facts                   []pageFact
	Behaviour               []pageBehaviour
	Timings                 []template.HTML
	MoreTimings             int    // that there could be
	Drawn                   bool   // the diagrams are of a capture that was drawn while it was read
	Nothing                 string // in place of figures where there are none
	Figures                 []pageFigures
	Banded                  bool // spreads are drawn as bands, not as dots
	Unjudged                int  // kinds of figures that only the appendix has
	Legend                  []string
	Lists                   []pageList // those that are not empty
	Soak                    *soakPage  // nil: it is no soak
	Appendix                pageAppendix
}

type pageList struct {
	Heading string
	Items   []string
}

type pageFinding struct{ Verdict, Text string }

// pageFact is a word of the record's head and the lines that it says.
type pageFact struct {
	Name  string
	Lines []string
}

func newPage(r *Record) (*page, error) {
	s, err := summarize(r)
	if err != nil {
		return nil, err
	}
	p := &page{
		Run: oneLine(r.Run), Unit: oneLine(r.Unit), Verdict: r.Verdict.Name(), Why: verdictSentence(r, s),
		Simulated: r.Simulated, Faults: faultWords(r), NoFindings: noFindings(r), Facts: factsOf(r), Causes: causeLines(r), Settle: s.undecidedLines(), Unstored: oneLines(r.Unstored),
	}
	p.addMargins()
	trends := trendsOf(r)
	for _, f := range findingsOf(r, trends) {
		p.Findings = append(p.Findings, pageFinding{f.Verdict.Name(), findingWords(f)})
	}
	if err := p.addBehaviour(r); err != nil {
		return nil, err
	}
	if err := p.addFigures(r, s); err != nil {
		return nil, err
	}
	for _, l := range drawnSoakLists(r) {
		p.addList(l.Heading, l.Items)
	}
	changed, changes, err := since(r)
	if err != nil {
		return nil, err
	}
	p.addList(changed, changes)
	if p.Soak, err = soakPageOf(r, trends); err != nil {
		return nil, err
	}
	return p, p.Appendix.fill(r, s)
}

// mostHead is how many characters of a name stand at the top of a printed page.
const mostHead = 48

// addMargins adds what stands in the margins of every printed page.
func (p *page) addMargins() {
	p.RunHead = styleString("Run " + words.Short(p.Run, mostHead))
	if p.UnitHead = styleString(p.Verdict); p.Unit != "" {
		p.UnitHead = styleString("Unit " + words.Short(p.Unit, mostHead) + ": " + p.Verdict)
	}
	if p.Foot = styleString(""); p.Simulated {
		p.Foot = styleString("Simulated bench: nothing real was measured")
	}
}

// styleString writes a text as a string of a style sheet. All but plain letters, digits and
// blanks are written by their numbers, so that nothing ends the string or the sheet.
func styleString(s string) template.CSS {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		if r == ' ' || r < 0x80 && (unicode.IsLetter(r) || unicode.IsDigit(r)) {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, `\%x `, r) // the blank ends the number and is no part of the text
		}
	}
	b.WriteByte('"')
	return template.CSS(b.String())
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

// factsOf say who tested what with which rig, and when: what the text's head says, in the
// order in which a reader of a hand-over asks.
func factsOf(r *Record) []pageFact {
	var facts []pageFact
	add := func(name string, lines ...string) {
		if len(lines) > 0 && lines[0] != "" {
			facts = append(facts, pageFact{name, lines})
		}
	}
	for _, f := range fieldPairs(r) {
		add(f[0], f[1])
	}
	sequence := oneLine(r.Sequence)
	if r.About != "" {
		sequence += ": " + oneLine(r.About)
	}
	add("Sequence", sequence)
	add("Tested by", oneLine(r.By))
	add("From", timeWords(r.Started))
	add("To", endWords(r))
	add("Cycles", cycleWords(r))
	add("Rig", rigWords(r))
	add("Calibration", secondsOf(calibrationPairs(r))...)
	add("Program", oneLine(r.Program))
	add("Computer", oneLines(capture.MachineLines(r.Machine))...)
	add("Measuring problems", troubleLines(r)...)
	add("Cautions", oneLines(r.Cautions)...)
	add("Notes", oneLines(r.Notes)...)
	return facts
}

func secondsOf(pairs [][2]string) []string {
	var all []string
	for _, p := range pairs {
		all = append(all, p[1])
	}
	return all
}

// timeWords say a time of day with its zone; empty for the zero time.
func timeWords(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	if t.Location() == time.UTC {
		return t.Format("2006-01-02 15:04:05 UTC")
	}
	return t.Format("2006-01-02 15:04:05 -07:00")
}

// endWords say when a run ended and how long it took.
func endWords(r *Record) string {
	if r.Ended.IsZero() || r.Started.IsZero() {
		return timeWords(r.Ended)
	}
	text := timeWords(r.Ended.In(r.Started.Location()))
	if d := r.Ended.Sub(r.Started); d >= time.Second {
		text += " (" + words.Lasting(d) + ")"
	}
	return strings.TrimSpace(text)
}
