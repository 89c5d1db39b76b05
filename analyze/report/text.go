package report

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"makebreak/analyze"
	"makebreak/rig/capture"
)

// TextOpts says how the text is to look.
type TextOpts struct {
	Colour bool // colour the verdicts' words; they are words in either case
	Width  int  // columns of the terminal; 0: as wide as it comes
}

// Text writes the record for the person at the bench: the run, one table over
// all cycles, what is wrong in plain words, the verdict, and where the record
// went. It reads the measurements once and keeps a bounded number of them.
func Text(w io.Writer, r *Record, opts TextOpts) error {
	s, err := summarize(r)
	if err != nil {
		return readingFailed(err)
	}
	t := &textWriter{w: bufio.NewWriter(w), opts: opts}
	t.header(r)
	t.table(r, s)
	t.list(unstoredHeading, r.Unstored)
	t.findings(r)
	for _, l := range soakLists(r) {
		t.list(l.Heading, l.Items)
	}
	t.list("Measuring problems", troubleLines(r))
	t.list("Cautions", r.Cautions)
	t.list("Notes", r.Notes)
	t.verdict(r, s)
	return writingFailed("text", t.w.Flush())
}

// textWriter writes parts of the text. A fault of the writer underneath shows at
// the flush.
type textWriter struct {
	w    *bufio.Writer
	opts TextOpts
}

func (t *textWriter) line(s string) { t.w.WriteString(strings.TrimRight(s, " ") + "\n") }

// pairs are the lines at the head of the record: a word and what it says.
func pairs(r *Record) [][2]string {
	sequence := oneLine(r.Sequence)
	if r.About != "" {
		sequence += ": " + oneLine(r.About)
	}
	started := ""
	if !r.Started.IsZero() {
		started = r.Started.Format("2006-01-02 15:04:05 -07:00")
		if r.Started.Location() == time.UTC {
			started = r.Started.Format("2006-01-02 15:04:05 UTC")
		}
	}
	var shown [][2]string
	for _, p := range [][2]string{
		{"Run", oneLine(r.Run)}, {"Unit", oneLine(r.Unit)}, {"Sequence", sequence}, {"Rig", rigWords(r)},
		{"Run by", oneLine(r.By)}, {"Started", started}, {"Cycles", cycleWords(r)}, {"Program", programWords(r)},
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
		first, size := utf8.DecodeRuneInString(f.Name)
		shown = append(shown, [2]string{oneLine(string(unicode.ToUpper(first)) + f.Name[size:]), oneLine(f.Value)})
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

// programWords say which version of the program measured; empty where that is not known.
func programWords(r *Record) string {
	if r.Program == "" {
		return ""
	}
	return oneLine(r.Program)
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
// indented by the heading's width.
func (t *textWriter) wrapped(heading, s string) {
	indent := text.StringWidthWithoutEscSequences(heading)
	if t.opts.Width > indent+20 {
		s = text.WrapSoft(s, t.opts.Width-indent)
	}
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

func (t *textWriter) findings(r *Record) {
	t.line("")
	found := findingsOf(r)
	if len(found) == 0 {
		t.line("No findings.")
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
	t.wrapped("Verdict: ", t.coloured(r.Verdict, r.Verdict.Name())+" ("+verdictSentence(r, s)+")")
	t.list(settleHeading, s.undecidedLines())
	if r.LogPath != "" {
		t.line("")
		t.wrapped("Record:  ", fmt.Sprintf("run %s in %s%s", oneLine(r.Run), oneLine(r.LogPath), captureWords(r)))
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

// tableHead names the columns of the table.
var tableHead = []string{"signal", "quantity", "event", "n", "median", "lowest … highest", "± U", "limit", "verdict"}

// The columns of the table, counted from 1.
const (
	signalColumn = iota + 1
	quantityColumn
	eventColumn
	nColumn
	medianColumn
	spanColumn
	uncertaintyColumn
	limitColumn
	verdictColumn
)

// squeeze is one way to make the table narrower.
type squeeze struct {
	wrap  map[int]int // widths at which columns start to wrap
	stack bool        // uncertainty below the median, highest below lowest
}

// squeezes are the steps by which the table is made narrower until it fits.
var squeezes = []squeeze{
	{},
	{wrap: map[int]int{quantityColumn: 10}},
	{wrap: map[int]int{quantityColumn: 10, verdictColumn: 9}},
	{wrap: map[int]int{quantityColumn: 10, verdictColumn: 9, limitColumn: 8}},
	{wrap: map[int]int{quantityColumn: 10, verdictColumn: 9, limitColumn: 10}, stack: true},
	{wrap: map[int]int{quantityColumn: 10, verdictColumn: 9, limitColumn: 8}, stack: true},
}

func (t *textWriter) table(r *Record, s *summary) {
	t.line("")
	if len(s.rows) == 0 && len(s.steady.signals) == 0 {
		t.line(nothingWords(r))
		return
	}
	if len(s.rows) > 0 {
		t.line(t.fitting(s))
	}
	if line := s.steady.line(); line != "" {
		t.wrapped("", oneLine(line))
	}
	t.legend(s)
	t.list("Remarks", s.remarkLines())
}

// fitting renders the table in the first way that fits, or in the narrowest.
func (t *textWriter) fitting(s *summary) string {
	all := make([]figures, len(s.rows))
	for i, x := range s.rows {
		all[i] = x.figures()
	}
	var out string
	for _, q := range squeezes {
		out = t.render(s, all, q)
		if t.opts.Width <= 0 || text.LongestLineLen(out) <= t.opts.Width {
			break
		}
	}
	return out
}

func (t *textWriter) render(s *summary, all []figures, q squeeze) string {
	tw := table.NewWriter()
	tw.SetStyle(plainStyle())
	tw.SuppressTrailingSpaces()
	tw.SetColumnConfigs(columnConfigs(q))
	if q.stack {
		tw.AppendHeader(tableRow(stackedHead()))
	} else {
		tw.AppendHeader(tableRow(tableHead))
	}
	last := ""
	for i, x := range s.rows {
		if i > 0 && x.Signal != last {
			tw.AppendSeparator()
		}
		last = x.Signal
		f := all[i]
		if q.stack {
			f = f.stacked()
		}
		v, _, _ := x.worst()
		tw.AppendRow(tableRow([]string{
			oneLine(x.Signal), x.Quantity.Words(), oneLine(eventWords(x.Event)), f.n, f.median, f.span,
			f.uncertainty, f.limit, t.coloured(v, x.verdictWords()),
		}))
	}
	return tw.Render()
}

func tableRow(cells []string) table.Row {
	r := make(table.Row, len(cells))
	for i, c := range cells {
		r[i] = c
	}
	return r
}

// stackedHead names the columns of the stacked form.
func stackedHead() []string {
	head := slices.Clone(tableHead)
	head[medianColumn-1] += "\n" + head[uncertaintyColumn-1]
	head[spanColumn-1] = strings.Replace(head[spanColumn-1], " … ", " …\n", 1)
	return head
}

func columnConfigs(q squeeze) []table.ColumnConfig {
	var all []table.ColumnConfig
	for n := signalColumn; n <= verdictColumn; n++ {
		c := table.ColumnConfig{Number: n, WidthMax: q.wrap[n], WidthMaxEnforcer: text.WrapSoft}
		c.Hidden = q.stack && n == uncertaintyColumn
		switch n {
		case nColumn, medianColumn, spanColumn, uncertaintyColumn:
			c.Align, c.AlignHeader = text.AlignRight, text.AlignRight
		}
		all = append(all, c)
	}
	return all
}

// plainStyle is two spaces between columns, a rule under the head and a thin one
// between signals.
func plainStyle() table.Style {
	return table.Style{
		Name: "plain",
		Box:  table.BoxStyle{MiddleHorizontal: "─", MiddleSeparator: "─", MiddleVertical: " ", PaddingRight: " "},
		Options: table.Options{
			SeparateColumns: true, SeparateHeader: true,
		},
	}
}

func (t *textWriter) legend(s *summary) {
	for _, line := range s.legendLines() {
		t.wrapped("", line)
	}
}
