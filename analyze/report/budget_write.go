package report

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"makebreak/analyze"
	"makebreak/analyze/gum"
)

// budgetDigits is how many significant digits the lines of a budget get in the text,
// machineDigits in CSV and JSON.
const (
	budgetDigits  = 3
	machineDigits = 6
)

// Text writes the budget for people: the figure, a table of the components as the
// GUM shows them (source, distribution, standard uncertainty, sensitivity,
// contribution, degrees of freedom), and how they make the expanded uncertainty.
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
	t.wrapped("Result     ", Reading(m.Quantity, m.Value, m.Expanded)+" (95 %)")
	if limit := LimitWords(m.Quantity, m.Limit); limit != "" {
		t.wrapped("Limit      ", limit)
		t.wrapped("Verdict    ", t.coloured(m.Verdict, verdictName(m.Verdict))+probability(m.Conformance))
		if m.Reason != "" {
			t.wrapped("           ", oneLine(m.Reason))
		}
	}
	t.line("")
	t.line(b.table())
	t.line("")
	for _, l := range b.steps() {
		t.wrapped("", l)
	}
	if err := t.w.Flush(); err != nil {
		return fmt.Errorf("report: budget: %w", err)
	}
	return nil
}

// title names the measurement.
func (b *Budget) title() string {
	m := &b.Measurement
	where := "at " + oneLine(m.Event)
	if m.Event == "" {
		where = "at the start"
	}
	return fmt.Sprintf("%s %s %s, cycle %d", oneLine(m.Signal), quantityWords(m.Quantity), where, m.Cycle)
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

func (b *Budget) table() string {
	m := &b.Measurement
	s := b.scale()
	tw := table.NewWriter()
	tw.SetStyle(plainStyle())
	tw.SuppressTrailingSpaces()
	var columns []table.ColumnConfig
	for n := 3; n <= len(budgetHead); n++ {
		columns = append(columns, table.ColumnConfig{Number: n, Align: text.AlignRight, AlignHeader: text.AlignRight})
	}
	tw.SetColumnConfigs(columns)
	tw.AppendHeader(tableRow(budgetHead))
	for _, c := range m.Budget {
		// An input is in the result's unit, or a share, whose sensitivity is.
		u, by := s.with(s.number(plain(c.Standard, budgetDigits))), plain(c.Sensitivity, budgetDigits)
		if c.Sensitivity != 1 {
			u, by = plain(100*c.Standard, budgetDigits)+" %", s.with(s.number(by))
		}
		share := c.Contribution() / m.Standard
		tw.AppendRow(tableRow([]string{
			oneLine(c.Source), c.Distribution, u, by,
			s.with(s.number(plain(c.Contribution(), budgetDigits))), fmt.Sprintf("%.1f %%", 100*share*share), dofWords(c.DegreesOfFreedom),
		}))
	}
	return tw.Render()
}

// scale is the one in which the budget's largest contribution reads well.
func (b *Budget) scale() scale { return scaleFor(b.Measurement.Quantity, b.Measurement.Standard) }

// steps say how the components make the expanded uncertainty.
func (b *Budget) steps() []string {
	m := &b.Measurement
	s := b.scale()
	in := func(x float64) string { return s.with(s.number(plain(x, budgetDigits))) }
	return []string{
		"Combined standard uncertainty  u = " + in(m.Standard) + ", the root of the contributions' sum of squares (GUM 5.1.2)",
		"Effective degrees of freedom   " + dofWords(m.DegreesOfFreedom) + ", by the Welch-Satterthwaite formula (GUM G.4.1)",
		"Coverage factor                k = " + toPlace(m.Coverage, 2) + ", " + factorWords(m),
		"Expanded uncertainty           U = k·u = " + in(m.Expanded) + ", for a coverage of 95 %",
	}
}

// factorWords say what the coverage factor is made of.
func factorWords(m *analyze.Measurement) string {
	student := gum.Student(0.95, m.DegreesOfFreedom)
	bounded := m.Coverage / student
	if toPlace(student, 2) == toPlace(m.Coverage, 2) {
		return "Student's factor for them (GUM G.3)"
	}
	places := 2
	if bounded > 0.995 {
		places = 3
	}
	return fmt.Sprintf("Student's factor for them, %s, times %s, as bounded components prevail (GUM G.1.3)", toPlace(student, 2), toPlace(bounded, places))
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

func plain(x float64, digits int) string { return shortest(significant(x, digits)) }

var budgetColumns = []string{
	"run", "unit", "cycle", "event", "signal", "quantity", "unit_of_measure", "component", "distribution",
	"standard_uncertainty", "sensitivity", "contribution", "degrees_of_freedom", "coverage_factor", "expanded_uncertainty",
}

// combinedLine is the name of the last line of a budget in CSV.
const combinedLine = "combined"

// CSV writes one row a component after a header row, then one for all of them
// together, named "combined", whose contribution is the combined standard
// uncertainty. Degrees of freedom that are infinite, or as good as that, are "inf"; what
// is missing is empty.
func (b *Budget) CSV(w io.Writer) error {
	m := &b.Measurement
	cw := csv.NewWriter(w)
	cw.UseCRLF = true // RFC 4180
	row := func(cells ...string) error {
		return cw.Write(append([]string{plainText(b.Record.Run), plainText(b.Record.Unit), strconv.Itoa(m.Cycle), plainText(m.Event),
			plainText(m.Signal), string(m.Quantity), m.Quantity.Unit()}, cells...))
	}
	err := cw.Write(budgetColumns)
	for _, c := range m.Budget {
		if err == nil {
			err = row(plainText(c.Source), plainText(c.Distribution), machine(c.Standard), machine(c.Sensitivity),
				machine(c.Contribution()), machine(countedDoF(c.DegreesOfFreedom)), "", "")
		}
	}
	if err == nil {
		err = row(combinedLine, "", "", "", machine(m.Standard), machine(countedDoF(m.DegreesOfFreedom)), machine(m.Coverage), machine(m.Expanded))
	}
	cw.Flush()
	if err == nil {
		err = cw.Error()
	}
	if err != nil {
		return fmt.Errorf("report: budget: csv: %w", err)
	}
	return nil
}

// mostDoF is the number of degrees of freedom above which they are as good as infinite:
// Student's factor is the normal distribution's to six digits.
const mostDoF = 1e6

// countedDoF is a number of degrees of freedom as machines read it, infinite where it is as
// good as that.
func countedDoF(n float64) float64 {
	if n > mostDoF {
		return math.Inf(1)
	}
	return n
}

// machine writes a number of a budget; an infinite one is inf, a missing one empty.
func machine(x float64) string {
	if math.IsInf(x, 1) {
		return "inf"
	}
	return plain(x, machineDigits)
}

// JSON writes one object: the measurement with the names of the results' columns, and
// with its budget an array of components by the names of CSV. What is missing is null,
// and so are degrees of freedom that are infinite, or as good as that: JSON has no number
// for them.
func (b *Budget) JSON(w io.Writer) error {
	m := &b.Measurement
	bw := bufio.NewWriter(w)
	fmt.Fprintf(bw, "{\n\"measurement\":%s,\n", object(b.Record, *m))
	fmt.Fprintf(bw, "\"combined_standard_uncertainty\":%s,\n\"degrees_of_freedom\":%s,\n\"coverage_factor\":%s,\n\"expanded_uncertainty\":%s,\n\"conformance_probability\":%s,\n\"budget\":[",
		jsonNumber(m.Standard), jsonNumber(countedDoF(m.DegreesOfFreedom)), jsonNumber(m.Coverage), jsonNumber(m.Expanded), jsonNumber(m.Conformance))
	comma := "\n"
	for _, c := range m.Budget {
		fmt.Fprintf(bw, "%s{\"component\":%s,\"distribution\":%s,\"standard_uncertainty\":%s,\"sensitivity\":%s,\"contribution\":%s,\"degrees_of_freedom\":%s}",
			comma, quoted(c.Source), quoted(c.Distribution), jsonNumber(c.Standard), jsonNumber(c.Sensitivity), jsonNumber(c.Contribution()), jsonNumber(countedDoF(c.DegreesOfFreedom)))
		comma = ",\n"
	}
	bw.WriteString("\n]\n}\n")
	if err := bw.Flush(); err != nil {
		return fmt.Errorf("report: budget: json: %w", err)
	}
	return nil
}

func jsonNumber(x float64) string {
	if s := plain(x, machineDigits); s != "" {
		return s
	}
	return "null"
}
