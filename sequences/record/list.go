package record

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"

	"makebreak/analyze/report"
	"makebreak/rig/table"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
)

// A List is a list of the runs in a log, of one unit where Unit is not empty.
type List struct {
	Runs []journal.RunSummary
	Unit string
	// Wanted says that only runs with certain fields are listed.
	Wanted bool
	// Changed says by a run's name in a few words what changed since the one before; nil:
	// that is not told. Only text tells it.
	Changed map[string]string
}

// listed is a run as JSON: the contract of the command line.
type listed struct {
	Run       string          `json:"run"`
	Unit      *string         `json:"unit"`
	Sequence  string          `json:"sequence"`
	Started   string          `json:"started"`
	Cycles    int             `json:"cycles"`
	Verdict   *string         `json:"verdict"`
	Complete  bool            `json:"complete"`
	RunID     *string         `json:"run_id"`
	Simulated bool            `json:"simulated"`
	Fields    json.RawMessage `json:"fields"`
	Reference bool            `json:"reference"`
}

// rows are the runs as machines read them. What is not known is nil.
func (l List) rows() []listed {
	rows := make([]listed, len(l.Runs))
	for i, r := range l.Runs {
		rows[i] = listed{r.Run, report.OrNil(r.Unit), r.Sequence, report.MachineTime(r.Started), r.Cycles, report.OrNil(string(r.Verdict)), r.Complete,
			report.OrNil(r.UUID), r.Simulated, fieldsOrNull(r.Fields), r.Reference}
	}
	return rows
}

// fieldsOrNull are a run's fields as an object, nil where there are none.
func fieldsOrNull(fields []journal.Field) json.RawMessage {
	if len(fields) == 0 {
		return nil
	}
	return json.RawMessage(report.FieldObject(fieldsOf(fields)))
}

// fieldsOf are a run's fields as a record has them.
func fieldsOf(fields []journal.Field) []report.Field {
	var all []report.Field
	for _, f := range fields {
		all = append(all, report.Field(f))
	}
	return all
}

// JSON writes the list as an array. What is not known is null.
func (l List) JSON(w io.Writer) error {
	return table.JSON(w, l.rows())
}

// CSV writes the list as RFC 4180 has it. What is not known is empty.
func (l List) CSV(w io.Writer) error {
	c := table.NewCSV(w, "run", "unit", "sequence", "started", "cycles", "verdict", "complete", "run_id", "simulated", "fields", "reference")
	orEmpty := func(s *string) table.Cell {
		if s == nil {
			return table.Cell{}
		}
		return table.Text(*s)
	}
	for i, r := range l.rows() {
		if err := c.Row(table.Text(r.Run), orEmpty(r.Unit), table.Text(r.Sequence), table.Text(r.Started), table.Count(r.Cycles),
			orEmpty(r.Verdict), table.Truth(r.Complete), orEmpty(r.RunID), table.Truth(r.Simulated), table.Text(report.FieldCell(fieldsOf(l.Runs[i].Fields))), table.Truth(r.Reference)); err != nil {
			return err
		}
	}
	return c.Flush()
}

// Text writes the list as a table, its times in local time.
func (l List) Text(w io.Writer) error {
	switch {
	case len(l.Runs) == 0 && l.Wanted:
		_, err := fmt.Fprintln(w, "The log holds no runs with these fields.")
		return err
	case len(l.Runs) == 0 && l.Unit != "":
		_, err := fmt.Fprintf(w, "The log holds no runs of the unit %q.\n", l.Unit)
		return err
	case len(l.Runs) == 0:
		_, err := fmt.Fprintln(w, "The log holds no runs.")
		return err
	}
	head := []string{"run", "unit", "sequence", "started, local time", "cycles", "verdict", "complete", "simulated"}
	references := slices.ContainsFunc(l.Runs, func(r journal.RunSummary) bool { return r.Reference })
	if references {
		head = append(head, "reference")
	}
	noted := slices.ContainsFunc(l.Runs, func(r journal.RunSummary) bool { return len(r.Fields) > 0 })
	if noted {
		head = append(head, "fields")
	}
	if l.Changed != nil {
		head = append(head, "changed")
	}
	wide := func(row func(...any)) {
		for _, r := range l.Runs {
			cells := []any{r.Run, r.Unit, r.Sequence, r.Started.Local().Format("2006-01-02 15:04:05"), r.Cycles, r.Verdict.Name(), yesNo[r.Complete], yesNo[r.Simulated]}
			if references {
				cells = append(cells, yesNo[r.Reference])
			}
			if noted {
				cells = append(cells, fieldsText(r.Fields))
			}
			if l.Changed != nil {
				cells = append(cells, l.Changed[r.Run])
			}
			row(cells...)
		}
	}
	return table.WriteEither(w, head, wide, []string{"run", "started, local time", "cycles", "verdict", "unit, sequence, and what else is known"}, l.narrow)
}

// narrow fills the rows of a narrow list: what it is of stands beneath.
func (l List) narrow(row func(...any)) {
	for _, r := range l.Runs {
		said := []string{r.Unit, r.Sequence, map[bool]string{false: "not complete"}[r.Complete], map[bool]string{true: "simulated"}[r.Simulated],
			map[bool]string{true: "reference"}[r.Reference], fieldsText(r.Fields), l.Changed[r.Run]}
		said = slices.DeleteFunc(said, func(s string) bool { return s == "" })
		row(r.Run, r.Started.Local().Format("2006-01-02 15:04:05"), r.Cycles, r.Verdict.Name(), words.List(said))
	}
}

// mostFieldsText is how many characters the list shows of a run's fields.
const mostFieldsText = 60

// fieldsText are a run's fields on one line.
func fieldsText(fields []journal.Field) string {
	if len(fields) == 0 {
		return ""
	}
	return words.Short(words.List(words.Texts(fields, func(f journal.Field) string { return f.Name + "=" + f.Value })), mostFieldsText)
}

var yesNo = map[bool]string{false: "no", true: "yes"}
