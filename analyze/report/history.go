package report

import (
	"bufio"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"makebreak/analyze"
	"makebreak/analyze/compare"
	rows "makebreak/rig/table"
	"makebreak/rig/words"
)

// History is the life of one unit: its runs in the order of time, with what changed from each to
// the next of its sequence.
type History struct {
	Unit    string
	Runs    []*Life
	Earlier int // runs before these, which were not read
}

// Life is one run of a unit's life.
type Life struct {
	*Record                   // what it was, its cycles, its verdict and its findings
	Since   *Comparison       // with the run before of the same sequence; nil: there is none
	Samples []*compare.Sample // what its figures come to
	found   []analyze.Finding // with the trends of a soak
}

// wrong says what is wrong in a run, the gravest first; empty: nothing.
func (l *Life) wrong() []string {
	if l.found == nil {
		l.found = findingsOf(l.Record, trendsOf(l.Record))
	}
	var all []string
	for _, f := range l.found {
		all = append(all, oneLine(f.Text))
	}
	if !l.Complete && l.Reason != "" {
		all = append(all, "Not complete: "+oneLine(l.Reason)+".")
	}
	return all
}

// said is wrong for people, who would take silence for "nothing is wrong".
func (l *Life) said() []string {
	all := l.wrong()
	switch {
	case l.sealed():
		all = append(all, "Made in an exercise: what is wrong is sealed.")
	case len(all) == 0 && l.Verdict == analyze.Fail:
		all = append(all, "Figures failed; the record of the run names them.")
	}
	return all
}

// counts are how many runs there are of each verdict, in words.
func (h *History) counts() string {
	var pass, fail, other int
	for _, l := range h.Runs {
		switch l.Verdict {
		case analyze.Pass:
			pass++
		case analyze.Fail:
			fail++
		default:
			other++
		}
	}
	s := words.Count(len(h.Runs), "run") + ": " + strconv.Itoa(pass) + " passed, " + strconv.Itoa(fail) + " failed"
	if other > 0 {
		s += ", " + strconv.Itoa(other) + " undecided or incomplete"
	}
	if h.Earlier > 0 {
		s += "; " + words.Count(h.Earlier, "earlier run") + " not shown, makebreak unit has all"
	}
	return s
}

// simulated says that runs of the life are; empty: none is.
func (h *History) simulated() string {
	n := 0
	for _, l := range h.Runs {
		if l.Simulated {
			n++
		}
	}
	switch {
	case n == 0:
		return ""
	case n == len(h.Runs):
		return "All runs are of the simulated bench."
	}
	return words.Count(n, "run") + " of the simulated bench."
}

// mostChanged is how many changes of a run text and page name; CSV counts them, and JSON has all.
const mostChanged = 5

// changed says what is another than in the run before, the changes of verdict first; empty:
// nothing is, or there is none.
func (l *Life) changed() (heading string, all []string) {
	if l.Since == nil {
		return "", nil
	}
	moved := l.Since.moved()
	slices.SortStableFunc(moved, func(a, b *compare.Row) int { return cmp.Compare(len(verdictNote(b)), len(verdictNote(a))) })
	for _, r := range moved {
		x := compared(r)
		all = append(all, strings.TrimSpace(x.Signal+" "+x.Quantity+" "+x.Event)+": "+x.Now+", was "+x.Before+verdictNote(r))
	}
	all = append(all, l.Since.oneSided()...)
	if len(all) > mostChanged {
		all = append(all[:mostChanged:mostChanged], fmt.Sprintf("and %d more, which report --against previous has", len(all)-mostChanged))
	}
	return "since " + oneLine(l.Since.Before.Run), all
}

// Moved says in a few words how much is another than in the run before; empty: there is none.
func (l *Life) Moved() string {
	if l.Since == nil {
		return ""
	}
	switch n := len(l.Since.moved()); {
	case n > 0:
		return words.Count(n, "figure") + " changed"
	case l.Since.judged() == 0:
		return "not compared"
	}
	return "nothing changed"
}

// Text writes the life for people, the newest run first.
func (h *History) Text(w io.Writer, opts TextOpts) error {
	t := &textWriter{w: bufio.NewWriter(w), opts: opts}
	t.line("Unit " + oneLine(h.Unit) + ", " + h.counts())
	if s := h.simulated(); s != "" {
		t.line(s)
	}
	for i := len(h.Runs) - 1; i >= 0; i-- {
		l := h.Runs[i]
		t.line("")
		t.line(t.coloured(l.Verdict, l.Verdict.Name()) + "  " + timeWords(l.Started) + "  " + oneLine(l.Sequence) + ", " + words.Count(l.Cycles, "cycle"))
		t.wrapped("  Run ", oneLine(l.Run)+byWords(l.By)+fieldWords(l.Fields))
		for _, s := range l.said() {
			t.wrapped("  - ", s)
		}
		heading, changes := l.changed()
		switch {
		case heading == "":
		case len(changes) == 0:
			t.line("  Changed " + heading + ": nothing")
		default:
			t.line("  Changed " + heading + ":")
			for _, s := range changes {
				t.wrapped("    - ", s)
			}
		}
	}
	return writingFailed("text", t.w.Flush())
}

func byWords(by string) string {
	if by == "" {
		return ""
	}
	return ", by " + oneLine(by)
}

func fieldWords(fields []Field) string {
	s := ""
	for _, f := range fields {
		s += ", " + oneLine(f.Name) + " " + oneLine(f.Value)
	}
	return s
}

// livedRun is a run of a life as machines read it. What is not known is null.
type livedRun struct {
	comparedRun
	Cycles   int           `json:"cycles"`
	Findings []jsonFinding `json:"findings"`
	Since    *livedSince   `json:"since"`
}

// livedSince is what is another than in the run before of the same sequence.
type livedSince struct {
	Run      *string          `json:"run"`
	SameRig  bool             `json:"same_rig"`
	Compared int              `json:"compared"`
	Moved    []comparedResult `json:"moved"`
}

func livedRunOf(l *Life) livedRun {
	l.wrong()
	x := livedRun{comparedRun: comparedRunOf(l.Record), Cycles: l.Cycles, Findings: []jsonFinding{}}
	for _, f := range l.found {
		x.Findings = append(x.Findings, jsonFinding{textOrNil(f.Signal), textOrNil(string(f.Verdict)), textOrNil(f.Text), nil})
	}
	if c := l.Since; c != nil {
		x.Since = &livedSince{textOrNil(c.Before.Run), c.SameRig, c.judged(), []comparedResult{}}
		for _, r := range c.moved() {
			x.Since.Moved = append(x.Since.Moved, c.resultOf(r))
		}
	}
	return x
}

// JSON writes the life as one object: format, unit, runs.
func (h *History) JSON(w io.Writer) error {
	j := newJSONWriter(w)
	j.open()
	j.member("format", Format)
	j.member("unit", h.Unit)
	j.list("runs", func(item func(any) bool) error {
		for _, l := range h.Runs {
			if !item(livedRunOf(l)) {
				break
			}
		}
		return nil
	})
	j.close()
	return j.end()
}

// CSV writes the life, a row a run. Texts of several findings or changes are separated by " | ".
func (h *History) CSV(w io.Writer) error {
	cw := rows.NewCSV(w, "run", "unit", "sequence", "started", "cycles", "verdict", "complete", "run_id", "simulated", "findings", "since", "moved", "fields")
	for _, l := range h.Runs {
		since, moved := rows.Cell{}, rows.Cell{}
		if l.Since != nil {
			since, moved = rows.Text(l.Since.Before.Run), rows.Count(len(l.Since.moved()))
		}
		if err := cw.Row(rows.Text(l.Run), rows.Text(l.Unit), rows.Text(l.Sequence), rows.Text(MachineTime(l.Started)), rows.Count(l.Cycles), rows.Text(string(l.Verdict)),
			rows.Truth(l.Complete), rows.Text(l.RunID), rows.Truth(l.Simulated), rows.Text(strings.Join(l.wrong(), " | ")), since, moved, rows.Text(FieldCell(l.Fields))); err != nil {
			return writingFailed("CSV", err)
		}
	}
	return writingFailed("CSV", cw.Flush())
}
