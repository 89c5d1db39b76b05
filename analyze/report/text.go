package report

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/text"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/table"
	"makebreak/rig/words"
)

// TextOpts says how the text is to look.
type TextOpts struct {
	Colour bool // colour the verdicts' words; they are words in either case
	Width  int  // columns that a line may have; 0: as wide as it comes
	Rows   int  // lines that the terminal shows at once; 0: no terminal
	All    bool // all figures, and not only those that did not pass
}

// Text writes the record for the person at the bench: the run, the verdict, what is wrong in
// plain words, then each output against its demand, and the figures that did not pass. Where
// the whole is longer than the terminal, the verdict stands once more at its end, next to
// where the person types on. It reads the measurements once and keeps a bounded number of them.
func Text(w io.Writer, r *Record, opts TextOpts) error {
	s, err := summarize(r)
	if err != nil {
		return readingFailed(err)
	}
	changed, changes, err := since(r)
	if err != nil {
		return readingFailed(err)
	}
	t := &textWriter{w: bufio.NewWriter(w), opts: opts}
	t.header(r)
	t.verdict(r, s)
	t.list(unstoredHeading, r.Unstored)
	trends := trendsOf(r)
	t.findings(r, findingsOf(r, trends))
	t.list(causesHeading, causeLines(r))
	t.list(changed, changes)
	t.list(settleHeading, s.undecidedLines())
	t.figures(r, s)
	for _, l := range soakLists(r, trends) {
		t.list(l.Heading, l.Items)
	}
	t.list("Measuring problems", troubleLines(r))
	t.list("Cautions", r.Cautions)
	t.list("Notes", r.Notes)
	t.end(r, s)
	return writingFailed("text", t.w.Flush())
}

// Brief writes the verdict and the findings alone, for the person whose record goes to a file.
func Brief(w io.Writer, r *Record, opts TextOpts) error {
	s, err := summarize(r)
	if err != nil {
		return readingFailed(err)
	}
	t := &textWriter{w: bufio.NewWriter(w), opts: opts}
	t.wrapped("Verdict: ", t.verdictWords(r, s))
	t.list(unstoredHeading, r.Unstored)
	if found := findingsOf(r, trendsOf(r)); len(found) > 0 {
		t.findings(r, found)
	}
	return writingFailed("text", t.w.Flush())
}

// textWriter writes parts of the text. A fault of the writer underneath shows at
// the flush.
type textWriter struct {
	w     *bufio.Writer
	opts  TextOpts
	lines int  // written so far
	blank bool // the last one is empty
}

func (t *textWriter) line(s string) {
	t.lines += 1 + strings.Count(s, "\n")
	t.blank = s == ""
	t.w.WriteString(strings.TrimRight(s, " ") + "\n")
}

// pairs are the lines at the head of the record: a word and what it says.
func pairs(r *Record) [][2]string {
	sequence := oneLine(r.Sequence)
	if r.About != "" {
		sequence += ": " + oneLine(r.About)
	}
	var shown [][2]string
	for _, p := range [][2]string{
		{"Run", oneLine(r.Run)}, {"Unit", oneLine(r.Unit)}, {"Sequence", sequence}, {"Rig", rigWords(r)},
		{"Run by", oneLine(r.By)}, {"Started", timeWords(r.Started)}, {"Cycles", cycleWords(r)}, {"Program", oneLine(r.Program)},
	} {
		if p[1] != "" {
			shown = append(shown, p)
		}
	}
	shown = append(shown, fieldPairs(r)...)
	shown = append(shown, pairsOf("Computer", capture.MachineLines(r.Machine))...)
	return append(shown, calibrationPairs(r)...)
}

// fieldPairs are the lines of what the workshop notes, each behind its name.
func fieldPairs(r *Record) [][2]string {
	var shown [][2]string
	for _, f := range r.Fields {
		shown = append(shown, [2]string{oneLine(words.Capital(f.Name)), oneLine(f.Value)})
	}
	return shown
}

// calibrationPairs are the lines that say by which calibrations readings were corrected.
func calibrationPairs(r *Record) [][2]string {
	lines := capture.CalibrationLines(r.Calibrations)
	if len(lines) == 0 && r.LogPath != "" {
		lines = []string{"not kept when this run was made"}
	}
	return pairsOf("Calibration", lines)
}

// pairsOf are lines behind one word, which the first alone has.
func pairsOf(word string, lines []string) [][2]string {
	var shown [][2]string
	for _, line := range lines {
		shown = append(shown, [2]string{word, oneLine(line)})
		word = ""
	}
	return shown
}

func (t *textWriter) header(r *Record) {
	all, width := pairs(r), 10
	for _, p := range all {
		width = max(width, len(p[0])+2)
	}
	for _, p := range all {
		t.wrapped(fmt.Sprintf("%-*s", width, p[0]), p[1])
	}
}

// wrapped writes a text behind its heading, in lines that fit, the later ones
// indented by the heading's width, or by two, so that none is taken for a line of its own.
func (t *textWriter) wrapped(heading, s string) {
	indent := text.StringWidthWithoutEscSequences(heading)
	if t.opts.Width > indent+20 {
		s = table.Wrap(s, t.opts.Width-max(indent, 2))
	}
	indent = max(indent, 2)
	for i, l := range strings.Split(s, "\n") {
		if i > 0 {
			heading = strings.Repeat(" ", indent)
		}
		t.line(heading + l)
	}
}

func (t *textWriter) list(heading string, items []string) {
	if len(items) == 0 {
		return
	}
	t.line("")
	t.line(heading)
	for _, s := range items {
		t.wrapped("  - ", oneLine(s))
	}
}

func (t *textWriter) findings(r *Record, found []analyze.Finding) {
	t.line("")
	if len(found) == 0 {
		t.line(noFindings(r))
		return
	}
	t.line("Findings")
	for _, f := range found {
		t.wrapped("  - ", findingWords(f))
	}
}

// findingWords say a finding with its signal, unless the text names it.
func findingWords(f analyze.Finding) string {
	words := oneLine(f.Text)
	if signal := oneLine(f.Signal); signal != "" && !strings.Contains(" "+words, " "+signal+" ") {
		words = signal + ": " + words
	}
	return words
}

func (t *textWriter) verdict(r *Record, s *summary) {
	t.line("")
	t.wrapped("Verdict: ", t.verdictWords(r, s))
}

func (t *textWriter) verdictWords(r *Record, s *summary) string {
	return t.coloured(r.Verdict, r.Verdict.Name()) + " (" + verdictSentence(r, s) + ")"
}

// end says where the record is, and the verdict again where its beginning is out of sight.
func (t *textWriter) end(r *Record, s *summary) {
	if r.LogPath != "" {
		t.line("")
		t.wrapped("Record:  ", "run "+oneLine(r.Run)+captureWords(r)+", in")
		t.line("         " + oneLine(r.LogPath)) // whole, however long, so that it can be copied
	}
	if t.opts.Rows > 0 && t.lines >= t.opts.Rows {
		t.verdict(r, s)
	}
}

// coloured colours words of a verdict where colour is asked for.
func (t *textWriter) coloured(v analyze.Verdict, words string) string {
	codes := map[analyze.Verdict]string{analyze.Pass: "32", analyze.Fail: "1;31", analyze.Undecided: "33", analyze.Incomplete: "33"}
	if !t.opts.Colour || codes[v] == "" {
		return words
	}
	return "\x1b[" + codes[v] + "m" + words + "\x1b[0m"
}
