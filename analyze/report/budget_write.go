package report

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/gum"
	rows "makebreak/rig/table"
)

// budgetDigits is how many significant digits the lines of a budget get in the text,
// machineDigits in CSV and JSON.
const (
	budgetDigits  = 3
	machineDigits = 6
)

// Text writes the budget for people: the figure, a table of the components as the GUM
// shows them, and how they make the expanded uncertainty.
func (b *Budget) Text(w io.Writer, opts TextOpts) error {
	t := &textWriter{w: bufio.NewWriter(w), opts: opts}
	m := &b.Measurement
	t.wrapped("Budget of  ", b.title())
	t.wrapped("Run        ", oneLine(b.Record.Run))
	if unit := oneLine(b.Record.Unit); unit != "" {
		t.wrapped("Unit       ", unit)
	}
	if rig := rigWords(b.Record); rig != "" {
		t.wrapped("Rig        ", rig)
	}
	s := scalerOf(m.Quantity, m.Limit, m.Expanded, m.Value)
	t.wrapped("Result     ", reading(s, m.Value)+" (95 %)")
	if limit := limitWords(s, m.Limit); limit != "" {
		t.wrapped("Limit      ", limit)
		t.wrapped("Verdict    ", t.coloured(m.Verdict, m.Verdict.Name())+probability(m.Conformance))
		if why := diagnose.Reason(m); why != "" {
			t.wrapped("           ", oneLine(why))
		}
	}
	t.line("")
	out := b.table(budgetHead, b.row)
	if !t.fits(out) {
		out = b.table(pairedBudgetHead, b.pairedRow)
	}
	t.line(out)
	t.line("")
	for _, s := range b.steps() {
		t.wrapped(fmt.Sprintf("%-31s", s[0]), s[1])
	}
	return writingFailed("text", t.w.Flush())
}

// title names the measurement.
func (b *Budget) title() string {
	m := &b.Measurement
	where := "at " + oneLine(m.Event)
	if m.Event == "" {
		where = "at the start"
	}
	return fmt.Sprintf("%s %s %s, cycle %d", oneLine(m.Signal), m.Quantity.Words(), where, m.Cycle)
}

// probability says how likely the true value meets the limit (JCGM 106:2012, 7).
func probability(p float64) string {
	switch {
	case math.IsNaN(p):
		return ""
	case p > 0.9995:
		return " (meets the limit with more than 99.9 % probability)"
	case p < 0.0005:
		return " (meets the limit with less than 0.1 % probability)"
	}
	return fmt.Sprintf(" (meets the limit with %.1f %% probability)", 100*p)
}

var budgetHead = []string{"component", "distribution", "standard uncertainty", "sensitivity", "contribution", "share", "degrees of freedom"}

// pairedBudgetHead names the columns of the narrow table, in which a component has two lines.
var pairedBudgetHead = []string{"component\n  distribution", "uncertainty\nsensitivity", "contribution\ndegrees of freedom", "share"}

// longComponent is from how many characters on a component's name in the narrow table breaks.
const longComponent = 36

// table renders the components, each as its row has it. Words are in the first columns,
// numbers in the last.
func (b *Budget) table(head []string, row func(*gum.Component) []string) string {
	tw := table.NewWriter()
	tw.SetStyle(plainStyle())
	tw.SuppressTrailingSpaces()
	words := 1
	if len(head) == len(budgetHead) {
		words = 2
	}
	var columns []table.ColumnConfig
	for n := words + 1; n <= len(head); n++ {
		columns = append(columns, table.ColumnConfig{Number: n, Align: text.AlignRight, AlignHeader: text.AlignRight})
	}
	tw.SetColumnConfigs(columns)
	tw.AppendHeader(tableRow(head))
	for i := range b.Measurement.Budget {
		tw.AppendRow(tableRow(row(&b.Measurement.Budget[i])))
	}
	return tw.Render()
}

func (b *Budget) row(c *gum.Component) []string {
	in := b.inUnit()
	// An input is in the result's unit, or a share, whose sensitivity is.
	u, by := in(c.Standard), significant(c.Sensitivity, budgetDigits)
	if c.Sensitivity != 1 {
		u, by = significant(100*c.Standard, budgetDigits)+" %", in(c.Sensitivity)
	}
	share := c.Contribution() / b.Measurement.Standard
	return []string{oneLine(string(c.Source)), c.Distribution, u, by,
		in(c.Contribution()), fmt.Sprintf("%.1f %%", 100*share*share), dofWords(c.DegreesOfFreedom)}
}

func (b *Budget) pairedRow(c *gum.Component) []string {
	r := b.row(c)
	return []string{rows.Wrap(r[0], longComponent) + "\n  " + r[1], r[2] + "\n" + r[3], r[4] + "\n" + r[6], r[5]}
}

// negligible is below which share of the whole a component is as good as zero.
const negligible = 1e-6

// inUnit writes figures of the budget with three significant digits each, in the unit in
// which the largest contribution reads well.
func (b *Budget) inUnit() func(float64) string {
	m := &b.Measurement
	s := scalerOf(m.Quantity, analyze.NoLimit(), math.NaN(), m.Standard)
	return func(x float64) string {
		if x != 0 && math.Abs(x) < negligible*m.Standard {
			return strings.TrimSpace("≈ 0 " + s.Unit())
		}
		return strings.TrimSpace(significant(s.In(x), budgetDigits) + " " + s.Unit())
	}
}

// steps say how the components make the expanded uncertainty.
func (b *Budget) steps() [][2]string {
	m := &b.Measurement
	in := b.inUnit()
	return [][2]string{
		{"Combined standard uncertainty", "u = " + in(m.Standard) + ", the root of the contributions' sum of squares (GUM 5.1.2)"},
		{"Effective degrees of freedom", dofWords(m.DegreesOfFreedom) + ", by the Welch-Satterthwaite formula (GUM G.4.1)"},
		{"Coverage factor", "k = " + strconv.FormatFloat(m.Coverage, 'f', 2, 64) + ", " + factorWords(m)},
		{"Expanded uncertainty", "U = k·u = " + in(m.Expanded) + ", for a coverage of 95 %"},
	}
}

// factorWords say what the coverage factor is made of.
func factorWords(m *analyze.Measurement) string {
	student := gum.Student(0.95, m.DegreesOfFreedom)
	bounded := m.Coverage / student
	if strconv.FormatFloat(student, 'f', 2, 64) == strconv.FormatFloat(m.Coverage, 'f', 2, 64) {
		return "Student's factor for them (GUM G.3)"
	}
	places := 2
	if bounded > 0.995 {
		places = 3
	}
	return fmt.Sprintf("Student's factor for them, %s, times %s, as bounded components prevail (GUM G.1.3)", strconv.FormatFloat(student, 'f', 2, 64), strconv.FormatFloat(bounded, 'f', places, 64))
}

// dofWords writes degrees of freedom, rounded down to whole ones.
func dofWords(n float64) string {
	if math.IsInf(n, 1) {
		return "∞"
	}
	if n > mostDoF {
		return "> 1000000"
	}
	return strconv.FormatFloat(math.Floor(n+1e-6), 'f', 0, 64)
}

// budgetRow is one component of a budget as a row of CSV.
type budgetRow struct {
	place
	UnitName *string `json:"unit_of_measure"`
	budgetLine
	Coverage *json.Number `json:"coverage_factor"`
	Expanded *json.Number `json:"expanded_uncertainty"`
	origin
}

// budgetLine is one component of a budget as machines read it.
type budgetLine struct {
	Source           *string      `json:"component"`
	Distribution     *string      `json:"distribution"`
	Standard         *json.Number `json:"standard_uncertainty"`
	Sensitivity      *json.Number `json:"sensitivity"`
	Contribution     *json.Number `json:"contribution"`
	DegreesOfFreedom *json.Number `json:"degrees_of_freedom"`
}

// combinedLine is the name of the last line of a budget in CSV.
const combinedLine = "combined"

// mostDoF is the number of degrees of freedom above which they are as good as infinite:
// Student's factor is the normal distribution's to six digits.
const mostDoF = 1e6

// endless is how CSV writes infinite degrees of freedom; JSON has no number for them.
const endless = "inf"

// machine is a number of a budget for machines; nil where it is missing or infinite.
func machine(x float64) *json.Number { return digitsOrNil(significant(x, machineDigits)) }

// machineDoF is a number of degrees of freedom for machines: endless where it is infinite,
// or as good as that.
func machineDoF(n float64, endless *json.Number) *json.Number {
	if n > mostDoF {
		return endless
	}
	return machine(n)
}

func budgetLineOf(c *gum.Component, endless *json.Number) budgetLine {
	return budgetLine{textOrNil(string(c.Source)), textOrNil(c.Distribution), machine(c.Standard), machine(c.Sensitivity),
		machine(c.Contribution()), machineDoF(c.DegreesOfFreedom, endless)}
}

// CSV writes one row a component after a header row. The last row is for all of them
// together: it is named "combined", and its contribution is the combined standard
// uncertainty. Degrees of freedom that are infinite, or as good as that, are "inf"; what
// is missing is empty.
func (b *Budget) CSV(w io.Writer) error {
	m := &b.Measurement
	inf := digitsOrNil(endless)
	one, err := resultsOf(b.Record).of(m)
	if err != nil {
		return readingFailed(err)
	}
	row := budgetRow{place: one.place, UnitName: one.UnitName, origin: one.origin}
	cw := rows.NewCSV(w, columnsOf[budgetRow]()...)
	for i := range m.Budget {
		row.budgetLine = budgetLineOf(&m.Budget[i], inf)
		cw.Row(cellsOf(nil, &row)...)
	}
	row.budgetLine = budgetLine{Source: textOrNil(combinedLine), Contribution: machine(m.Standard), DegreesOfFreedom: machineDoF(m.DegreesOfFreedom, inf)}
	row.Coverage, row.Expanded = machine(m.Coverage), machine(m.Expanded)
	cw.Row(cellsOf(nil, &row)...)
	return writingFailed("CSV", cw.Flush())
}

// JSON writes one object: the measurement with the names of the results' columns, and
// with its budget an array of components by the names of CSV. What is missing is null,
// and so are degrees of freedom that are infinite, or as good as that: JSON has no number
// for them.
func (b *Budget) JSON(w io.Writer) error {
	m := &b.Measurement
	one, err := resultsOf(b.Record).of(m)
	if err != nil {
		return readingFailed(err)
	}
	j := newJSONWriter(w)
	j.open()
	j.member("measurement", one)
	j.member("combined_standard_uncertainty", machine(m.Standard))
	j.member("degrees_of_freedom", machineDoF(m.DegreesOfFreedom, nil))
	j.member("coverage_factor", machine(m.Coverage))
	j.member("expanded_uncertainty", machine(m.Expanded))
	j.member("conformance_probability", machine(m.Conformance))
	j.list("budget", func(item func(any) bool) error {
		for i := range m.Budget {
			item(budgetLineOf(&m.Budget[i], nil))
		}
		return nil
	})
	j.close()
	return j.end()
}
