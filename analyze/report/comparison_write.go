package report

import (
	"bufio"
	"encoding/json"
	"io"
	"strconv"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	"makebreak/analyze/compare"
	rows "makebreak/rig/table"
)

// Text writes a comparison for people: what moved, and how much of the rest could be compared.
// With opts.All it has all rows.
func (c *Comparison) Text(w io.Writer, opts TextOpts) error {
	t := &textWriter{w: bufio.NewWriter(w), opts: opts}
	for _, p := range append(c.head(), [2]string{"Moved", c.changeLine()}) {
		t.wrapped(p[0]+strings.Repeat(" ", 12-len(p[0])), p[1])
	}
	shown := c.moved()
	if opts.All {
		shown = c.Rows
	}
	if len(shown) > 0 {
		t.line("")
		t.line(t.comparedTable(shown))
	}
	t.list("Measured in one run only", c.oneSided())
	if note := c.leftOut(); note != "" {
		t.line("")
		t.wrapped("", note)
	}
	t.wrapped("", familyNote)
	return writingFailed("text", t.w.Flush())
}

const familyNote = "Means over the cycles; change ± U at 95 %. Of unchanged units, at most 1 comparison in 20 names a figure."

// head says what is compared.
func (c *Comparison) head() [][2]string {
	against := oneLine(c.Before.Run)
	if w := relationWords[c.Relation]; w != "" {
		against += ", " + w
	}
	all := [][2]string{{"Run", oneLine(c.Now.Run) + ", " + timeWords(c.Now.Started)}, {"Against", against + ", " + timeWords(c.Before.Started)}}
	unit := oneLine(c.Now.Unit)
	if c.Before.Unit != c.Now.Unit {
		unit += ", against " + oneLine(c.Before.Unit)
		if c.Before.Unit == "" {
			unit += "a unit without a serial"
		}
	}
	if unit != "" {
		all = append(all, [2]string{"Unit", unit})
	}
	verdict := c.Now.Verdict.Name() + ", was " + c.Before.Verdict.Name()
	if c.Now.Verdict == c.Before.Verdict {
		verdict = c.Now.Verdict.Name() + " in both"
	}
	return append(all, [2]string{"Sequence", oneLine(c.Now.Sequence)}, [2]string{"Rig", c.rigLine()}, [2]string{"Verdict", verdict})
}

// oneSided are the rows that were measured in one run alone.
func (c *Comparison) oneSided() []string {
	var all []string
	for _, r := range c.Rows {
		if r.Outcome == compare.NotMeasured || r.Outcome == compare.NotBefore {
			x := compared(r)
			all = append(all, strings.TrimSpace(x.Signal+" "+x.Quantity+" "+x.Event)+": "+outcomeWords[r.Outcome])
		}
	}
	const most = 12
	if len(all) > most {
		all = append(all[:most], "and "+strconv.Itoa(len(all)-most)+" more; CSV has them all")
	}
	return all
}

// leftOut counts the rows that could not be compared.
func (c *Comparison) leftOut() string {
	var parts []string
	for _, o := range []compare.Outcome{compare.FewCycles, compare.OnlyBounds, compare.Nothing} {
		n := 0
		for _, r := range c.Rows {
			if r.Outcome == o {
				n++
			}
		}
		if n > 0 {
			parts = append(parts, strconv.Itoa(n)+" ("+outcomeWords[o]+")")
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "Not compared: " + strings.Join(parts, ", ") + "."
}

// comparedTable renders rows, in two lines each where the terminal is narrow.
func (t *textWriter) comparedTable(all []*compare.Row) string {
	out := t.comparedColumns(all, false)
	if !t.fits(out) {
		out = t.comparedColumns(all, true)
	}
	return out
}

func (t *textWriter) comparedColumns(all []*compare.Row, narrow bool) string {
	tw := table.NewWriter()
	tw.SetStyle(plainStyle())
	tw.SuppressTrailingSpaces()
	head, first := []string{"signal", "quantity", "event", "before", "now", "change ± U", "limit", "verdict"}, 4
	if narrow {
		head, first = []string{"signal", "quantity\n  event", "before\nnow", "change\n± U", "limit\nverdict"}, 3
	}
	var columns []table.ColumnConfig
	for n := first; n < first+3; n++ {
		if !narrow || n < 5 {
			columns = append(columns, table.ColumnConfig{Number: n, Align: text.AlignRight, AlignHeader: text.AlignRight})
		}
	}
	tw.SetColumnConfigs(columns)
	tw.AppendHeader(tableRow(head))
	last := ""
	for i, r := range all {
		if i > 0 && r.Signal != last {
			tw.AppendSeparator()
		}
		last = r.Signal
		x := compared(r)
		if narrow {
			change := strings.Replace(x.Change, " ±", "\n±", 1)
			tw.AppendRow(tableRow([]string{x.Signal, x.Quantity + "\n  " + x.Event, x.Before + "\n" + x.Now, change, x.Limit + "\n" + x.Verdict}))
			continue
		}
		tw.AppendRow(tableRow([]string{x.Signal, x.Quantity, x.Event, x.Before, x.Now, x.Change, x.Limit, x.Verdict}))
	}
	return tw.Render()
}

// comparedResult is one row of a comparison as machines read it: each field is a column of CSV
// and a member of JSON. What is missing is nil.
type comparedResult struct {
	Run             *string      `json:"run"`
	Against         *string      `json:"against"`
	Signal          *string      `json:"signal"`
	Quantity        *string      `json:"quantity"`
	Event           *string      `json:"event"`
	ValuesBefore    *json.Number `json:"values_before"`
	Values          *json.Number `json:"values"`
	MeanBefore      *json.Number `json:"mean_before"`
	Mean            *json.Number `json:"mean"`
	DeviationBefore *json.Number `json:"standard_deviation_before"`
	Deviation       *json.Number `json:"standard_deviation"`
	Change          *json.Number `json:"change"`
	Expanded        *json.Number `json:"expanded_uncertainty"`
	UnitName        *string      `json:"unit_of_measure"`
	Probability     *json.Number `json:"probability"`
	Moved           *bool        `json:"moved"`
	Reason          *string      `json:"reason"`
	VerdictBefore   *string      `json:"verdict_before"`
	Verdict         *string      `json:"verdict"`
	Lower           *json.Number `json:"lower_limit"`
	Upper           *json.Number `json:"upper_limit"`
}

func (c *Comparison) resultOf(r *compare.Row) comparedResult {
	x := comparedResult{Run: textOrNil(c.Now.Run), Against: textOrNil(c.Before.Run), Signal: textOrNil(r.Signal), Quantity: textOrNil(string(r.Quantity)), Event: textOrNil(r.Event),
		UnitName: textOrNil(r.Quantity.Unit()), Probability: machine(r.Probability), Reason: textOrNil(outcomeWords[r.Outcome]),
		VerdictBefore: textOrNil(string(verdictOf(r.Before))), Verdict: textOrNil(string(verdictOf(r.Now)))}
	change, expanded := Round(r.Quantity, r.Change, r.Expanded)
	x.Change, x.Expanded = digitsOrNil(change), digitsOrNil(expanded)
	if r.Outcome.Judged() || r.Outcome == compare.BeyondBound {
		moved := r.Outcome.Moving()
		x.Moved = &moved
	}
	x.ValuesBefore, x.MeanBefore, x.DeviationBefore = sampleOrNil(r.Before, r.Expanded)
	x.Values, x.Mean, x.Deviation = sampleOrNil(r.Now, r.Expanded)
	for _, s := range []*compare.Sample{r.Now, r.Before} {
		if s != nil && !s.Limit.None() {
			x.Lower, x.Upper = digitsOrNil(shortest(s.Limit.Lower)), digitsOrNil(shortest(s.Limit.Upper))
			break
		}
	}
	return x
}

func sampleOrNil(s *compare.Sample, expanded float64) (values, mean, deviation *json.Number) {
	if s == nil {
		return nil, nil, nil
	}
	m, _ := Round(s.Quantity, s.Mean, expanded)
	return digitsOrNil(strconv.Itoa(s.Values)), digitsOrNil(m), machine(s.SD)
}

// CSV writes a comparison, a row for each row.
func (c *Comparison) CSV(w io.Writer) error {
	cw := rows.NewCSV(w, columnsOf[comparedResult]()...)
	for _, r := range c.Rows {
		x := c.resultOf(r)
		if err := cw.Row(cellsOf(nil, &x)...); err != nil {
			return writingFailed("CSV", err)
		}
	}
	return writingFailed("CSV", cw.Flush())
}

// comparedRun says in JSON what a run of a comparison is.
type comparedRun struct {
	Run       *string `json:"run"`
	RunID     *string `json:"run_id"`
	Unit      *string `json:"unit"`
	Sequence  *string `json:"sequence"`
	Rig       *string `json:"rig"`
	Simulated bool    `json:"simulated"`
	Started   *string `json:"started"`
	Verdict   *string `json:"verdict"`
	Complete  bool    `json:"complete"`
	Fields    *object `json:"fields"`
}

func comparedRunOf(r *Record) comparedRun {
	return comparedRun{Run: textOrNil(r.Run), RunID: textOrNil(r.RunID), Unit: textOrNil(r.Unit), Sequence: textOrNil(r.Sequence), Rig: textOrNil(r.Rig), Simulated: r.Simulated,
		Started: textOrNil(MachineTime(r.Started)), Verdict: textOrNil(string(r.Verdict)), Complete: r.Complete, Fields: objectOrNil(FieldObject(r.Fields))}
}

// JSON writes a comparison as one object.
func (c *Comparison) JSON(w io.Writer) error {
	j := newJSONWriter(w)
	j.open()
	j.member("format", Format)
	j.member("run", comparedRunOf(c.Now))
	j.member("against", comparedRunOf(c.Before))
	j.member("relation", textOrNil(c.Relation))
	j.member("same_rig", c.SameRig)
	j.member("recalibrated", plainTexts(c.Recalibrated))
	j.member("compared", c.judged())
	j.member("moved", len(c.moved()))
	j.list("rows", func(item func(any) bool) error {
		for _, r := range c.Rows {
			if !item(c.resultOf(r)) {
				break
			}
		}
		return nil
	})
	j.close()
	return j.end()
}
