package report

import (
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"makebreak/analyze"
)

// figures writes what was measured: each output against its demand and the figures that did
// not pass, or all figures where they are wanted or nothing was judged.
func (t *textWriter) figures(r *Record, s *summary) {
	t.line("")
	if len(s.rows) == 0 && len(s.steady.signals) == 0 {
		t.line(nothingWords(r))
		return
	}
	shown := s
	if judged := s.gravest() != analyze.NoVerdict; judged {
		t.outputs(r, s)
		if !t.opts.All {
			shown = s.notPassed()
		}
	}
	if line := s.steady.line(); line != "" {
		t.wrapped("", oneLine(line))
	}
	t.table(s, shown)
	for _, line := range shown.legendLines() {
		t.wrapped("", line)
	}
	if len(shown.rows) < len(s.rows) {
		t.line("")
		t.wrapped("", allFigures(r))
	}
	t.list("Remarks", shown.remarkLines())
}

// allFigures says how to see the figures that are left out.
func allFigures(r *Record) string {
	if r.LogPath == "" {
		return "--all shows all figures."
	}
	return "All figures: makebreak report " + oneLine(r.Run) + " --all"
}

// notPassed is the summary with no rows but those that have a figure which did not pass.
func (s *summary) notPassed() *summary {
	some := *s
	some.rows = nil
	for _, x := range s.rows {
		if x.with(analyze.Fail)+x.with(analyze.Undecided) > 0 {
			some.rows = append(some.rows, x)
		}
	}
	return &some
}

// table writes the rows shown of all.
func (t *textWriter) table(all, shown *summary) {
	if len(shown.rows) == 0 {
		return
	}
	if t.lines > 0 && !t.blank {
		t.line("")
	}
	if len(shown.rows) < len(all.rows) {
		t.line("Figures that did not pass")
	}
	t.line(t.fitting(shown))
}

// tableHead names the columns of the table.
var tableHead = []string{"signal", "quantity", "event", "n", "median", "lowest … highest", "± U", "limit", "verdict"}

// pairedHead names the columns of the narrow table, in which a row has two lines.
var pairedHead = []string{"signal", "quantity\n  event", "n", "median\n± U", "lowest … highest\nlimit", "verdict\n"}

// The columns of the tables that have numbers, and those that may break, counted from 1.
var (
	wideNumbers   = []int{4, 5, 6, 7}
	pairedNumbers = []int{3, 4, 5}
)

// A narrowing is the width, in characters, from which names in the narrow table break.
type narrowing struct{ signal, event int }

// narrowings are the ways to write the narrow table, tried in turn: as it comes, and with
// long names broken.
var narrowings = []narrowing{{}, {signal: 12, event: 22}, {signal: 8, event: 14}}

// fitting renders the table with a row on one line where that fits, else with a row on two.
func (t *textWriter) fitting(s *summary) string {
	all := make([]figures, len(s.rows))
	for i, x := range s.rows {
		all[i] = x.figures()
	}
	out := t.render(s, tableHead, wideNumbers, narrowing{}, func(i int) []string { return t.wideRow(s.rows[i], all[i]) })
	for _, n := range narrowings {
		if t.fits(out) {
			break
		}
		out = t.render(s, pairedHead, pairedNumbers, n, func(i int) []string { return t.pairedRow(s.rows[i], all[i]) })
	}
	return out
}

// fits reports whether no line of a text is wider than the width.
func (t *textWriter) fits(s string) bool {
	return t.opts.Width <= 0 || text.LongestLineLen(s) <= t.opts.Width
}

func (t *textWriter) wideRow(x *row, f figures) []string {
	v, _, _ := x.worst()
	return []string{oneLine(x.Signal), x.Quantity.Words(), oneLine(eventWords(x.Event)), f.n, f.median, f.span,
		f.uncertainty, f.limit, t.coloured(v, x.verdictWords())}
}

// pairedRow has what was measured on its first line, and beneath what it is judged by.
func (t *textWriter) pairedRow(x *row, f figures) []string {
	v, _, _ := x.worst()
	verdict, share, _ := strings.Cut(x.verdictWords(), " ")
	n := strings.Replace(f.n, "/", "\nof ", 1)
	return []string{oneLine(x.Signal), x.Quantity.Words() + "\n  " + oneLine(eventWords(x.Event)), n, f.median + "\n" + f.uncertainty,
		f.span + "\n" + f.limit, t.coloured(v, verdict) + "\n" + share}
}

// render renders rows in columns, parted where a new signal begins.
func (t *textWriter) render(s *summary, head []string, numbers []int, n narrowing, row func(i int) []string) string {
	tw := table.NewWriter()
	tw.SetStyle(plainStyle())
	tw.SuppressTrailingSpaces()
	configs := []table.ColumnConfig{
		{Number: 1, WidthMax: n.signal, WidthMaxEnforcer: brokenName},
		{Number: 2, WidthMax: n.event, WidthMaxEnforcer: brokenName},
	}
	for _, c := range numbers {
		configs = append(configs, table.ColumnConfig{Number: c, Align: text.AlignRight, AlignHeader: text.AlignRight})
	}
	tw.SetColumnConfigs(configs)
	tw.AppendHeader(tableRow(head))
	for i, x := range s.rows {
		if i > 0 && x.Signal != s.rows[i-1].Signal {
			tw.AppendSeparator()
		}
		tw.AppendRow(tableRow(row(i)))
	}
	return tw.Render()
}

// brokenName is a cell whose lines are longer than the column is wide. Where a name is broken, each
// further line begins with …, so that none can be taken for a line of the record's own.
func brokenName(cell string, width int) string {
	var lines []string
	for line := range strings.SplitSeq(cell, "\n") {
		for text.StringWidthWithoutEscSequences(line) > width {
			head := text.Trim(line, width)
			lines = append(lines, head)
			line = "…" + strings.TrimPrefix(line, head)
		}
		lines = append(lines, line)
	}
	return strings.Join(lines, "\n")
}

func tableRow(cells []string) table.Row {
	r := make(table.Row, len(cells))
	for i, c := range cells {
		r[i] = c
	}
	return r
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
