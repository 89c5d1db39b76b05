package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/sequences/journal"
)

func (a *app) runsCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "runs",
		Short: "List what is in the log, the newest first",
		Long:  "List what is in the log, the newest first; with --unit only the runs of that unit.",
		Args:  noArguments,
		RunE: func(*cobra.Command, []string) error {
			db, err := a.openLog()
			if err != nil {
				return err
			}
			defer db.Close()
			runs, err := a.runsOf(db)
			if err != nil {
				return readFailed(err)
			}
			return a.deliver(func(w io.Writer) error { return a.writeRuns(w, runs) })
		},
	}
	a.forms(c, "text", "csv", "json")
	c.AddCommand(a.pruneCommand(), a.checkCommand())
	return c
}

func noArguments(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return failed(exitUsage, fmt.Errorf("%s takes no arguments; it was given %q", c.Name(), args[0]))
	}
	return nil
}

// openLog opens a log to read from.
func (a *app) openLog() (*journal.DB, error) {
	return a.openLogWith(journal.OpenRead)
}

// readFailed is an error of reading a log, of storage where it says nothing else.
func readFailed(err error) error {
	if problem.KindOf(err) != problem.Unknown {
		return err
	}
	return failed(exitLog, err)
}

// openLogWith opens a log that is there: one that is not is not made.
func (a *app) openLogWith(open func(string) (*journal.DB, error)) (*journal.DB, error) {
	if _, err := os.Stat(a.log); err != nil {
		return nil, failed(exitInput, fmt.Errorf("log %s: %w; a run makes it, or --log names another", a.log, innermost(err)))
	}
	return open(a.log)
}

// runsOf lists the runs in the log, the newest first: those of the unit, where one is
// named.
func (a *app) runsOf(db *journal.DB) ([]journal.RunSummary, error) {
	runs, err := db.Runs()
	if err != nil {
		return nil, err
	}
	if a.unit != "" {
		runs = slices.DeleteFunc(runs, func(r journal.RunSummary) bool { return r.Unit != a.unit })
	}
	return runs, nil
}

// runRow is a run as JSON: the contract of the command line.
type runRow struct {
	Run      string  `json:"run"`
	Unit     *string `json:"unit"`
	Sequence string  `json:"sequence"`
	Started  string  `json:"started"`
	Cycles   int     `json:"cycles"`
	Verdict  *string `json:"verdict"`
	Complete bool    `json:"complete"`
}

func runRowOf(r journal.RunSummary) runRow {
	orNull := func(s string) *string {
		if s == "" {
			return nil
		}
		return &s
	}
	return runRow{r.Run, orNull(r.Unit), r.Sequence, report.MachineTime(r.Started), r.Cycles, orNull(string(r.Verdict)), r.Complete}
}

func (a *app) writeRuns(w io.Writer, runs []journal.RunSummary) error {
	switch a.as {
	case "json":
		rows := make([]runRow, len(runs))
		for i, r := range runs {
			rows[i] = runRowOf(r)
		}
		return writeJSON(w, rows)
	case "csv":
		return writeRunsCSV(w, runs)
	}
	switch {
	case len(runs) == 0 && a.unit != "":
		_, err := fmt.Fprintf(w, "The log holds no runs of the unit %q.\n", a.unit)
		return err
	case len(runs) == 0:
		_, err := fmt.Fprintln(w, "The log holds no runs.")
		return err
	}
	return table.Write(w, []string{"run", "unit", "sequence", "started, local time", "cycles", "verdict", "complete"}, func(row func(...any)) {
		for _, r := range runs {
			row(r.Run, r.Unit, r.Sequence, r.Started.Local().Format("2006-01-02 15:04:05"), r.Cycles, verdictWord(string(r.Verdict)), yesNo(r.Complete))
		}
	})
}

func verdictWord(v string) string {
	if v == string(analyze.NoVerdict) {
		return "none"
	}
	return v
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func writeRunsCSV(w io.Writer, runs []journal.RunSummary) error {
	c := csv.NewWriter(w)
	c.UseCRLF = true // RFC 4180
	if err := c.Write([]string{"run", "unit", "sequence", "started", "cycles", "verdict", "complete"}); err != nil {
		return err
	}
	for _, r := range runs {
		if err := c.Write([]string{r.Run, r.Unit, r.Sequence, report.MachineTime(r.Started), strconv.Itoa(r.Cycles), string(r.Verdict), strconv.FormatBool(r.Complete)}); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// table writes a plain table to standard output or the file asked for.
func (a *app) table(head []string, fill func(row func(...any))) error {
	return a.deliver(func(w io.Writer) error { return table.Write(w, head, fill) })
}
