package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/sequences/journal"
)

func (a *app) runsCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "runs",
		Short: "List what is in the log, the newest first",
		Args:  noArguments,
		RunE: func(*cobra.Command, []string) error {
			if err := choice("runs", a.as, "text", "csv", "json"); err != nil {
				return err
			}
			db, err := a.openLog()
			if err != nil {
				return err
			}
			defer db.Close()
			runs, err := db.Runs()
			if err != nil {
				return failed(exitLog, err)
			}
			return a.deliver(func(w io.Writer) error { return a.writeRuns(w, runs) })
		},
	}
	c.AddCommand(a.pruneCommand())
	return c
}

func noArguments(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return failed(exitUsage, fmt.Errorf("%s takes no arguments; it was given %q", c.Name(), args[0]))
	}
	return nil
}

// openLog opens a log to read from. One that is not there is not made.
func (a *app) openLog() (*journal.DB, error) {
	if _, err := os.Stat(a.log); err != nil {
		return nil, failed(exitInput, fmt.Errorf("log %s: %w; a run makes it, or --log names another", a.log, innermost(err)))
	}
	db, err := journal.Open(a.log)
	return db, failed(exitLog, err)
}

// runRow is a run as JSON: the contract of the command line.
type runRow struct {
	Run      string    `json:"run"`
	Unit     string    `json:"unit"`
	Sequence string    `json:"sequence"`
	Started  time.Time `json:"started"`
	Cycles   int       `json:"cycles"`
	Verdict  string    `json:"verdict"`
	Complete bool      `json:"complete"`
}

func (a *app) writeRuns(w io.Writer, runs []journal.RunSummary) error {
	rows := make([]runRow, len(runs))
	for i, r := range runs {
		rows[i] = runRow{r.Run, r.Unit, r.Sequence, r.Started, r.Cycles, string(r.Verdict), r.Complete}
	}
	switch a.as {
	case "json":
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(rows)
	case "csv":
		return writeRunsCSV(w, rows)
	}
	if len(rows) == 0 {
		fmt.Fprintln(w, "The log holds no runs.")
		return nil
	}
	return writeTable(w, []string{"run", "unit", "sequence", "started", "cycles", "verdict", "complete"}, func(row func(...any)) {
		for _, r := range rows {
			row(r.Run, r.Unit, r.Sequence, r.Started.Local().Format("2006-01-02 15:04:05"), r.Cycles, verdictWord(r.Verdict), yesNo(r.Complete))
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

func writeRunsCSV(w io.Writer, rows []runRow) error {
	c := csv.NewWriter(w)
	c.UseCRLF = true // RFC 4180
	if err := c.Write([]string{"run", "unit", "sequence", "started", "cycles", "verdict", "complete"}); err != nil {
		return err
	}
	for _, r := range rows {
		if err := c.Write([]string{r.Run, r.Unit, r.Sequence, r.Started.Format(time.RFC3339Nano), strconv.Itoa(r.Cycles), r.Verdict, strconv.FormatBool(r.Complete)}); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

func (a *app) reportCommand() *cobra.Command {
	var budget string
	var cycle int
	c := &cobra.Command{
		Use:   "report RUN",
		Short: "Write the record of a run again, from the log alone",
		Long: `Write the record of a run again, from the log alone. RUN is as makebreak runs lists it; last is the newest.

With --budget, write the uncertainty budget of one measurement instead: its
components, what each contributes, and how they make the expanded uncertainty.
A measurement is named SIGNAL.QUANTITY[@EVENT][#CYCLE]:

  makebreak report last --budget OUT3.high_level
  makebreak report last --budget K1.operate_time@arm-away#2

Without an event it is any, without a cycle the latest that has a budget.

With --capture, write what was captured in one cycle instead, as a CSV file that
makebreak analyze reads: times from the capture's start, to the nanosecond.
Captures are kept around what happened; where samples were left out, the column
samples_kept is 0.

  makebreak report last --capture 3 -o cycle3.csv`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 1 {
				return failed(exitUsage, fmt.Errorf("report takes one run, as makebreak runs lists them, or last"))
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			wantsCapture := c.Flags().Changed("capture")
			if wantsCapture {
				if err := captureFlag(cycle, c.Flags().Changed("budget")); err != nil {
					return err
				}
			}
			db, err := a.openLog()
			if err != nil {
				return err
			}
			defer db.Close()
			rec, err := db.Find(args[0])
			if err != nil {
				if logError(err) {
					return failed(exitLog, err)
				}
				return failed(exitUsage, err)
			}
			if wantsCapture {
				return a.captureOf(rec, cycle)
			}
			r, err := record(rec, db.Path())
			if err != nil {
				return failed(exitLog, err)
			}
			if c.Flags().Changed("budget") {
				return a.budget(r, budget)
			}
			return a.results(r)
		},
	}
	c.Flags().IntVar(&cycle, "capture", 0, "write the capture kept of a `cycle`")
	c.Flags().StringVar(&budget, "budget", "", "write the uncertainty budget of a `measurement`: SIGNAL.QUANTITY[@EVENT][#CYCLE]")
	return c
}

// budget writes the uncertainty budget of one measurement of a run.
func (a *app) budget(r *report.Record, name string) error {
	if a.as == "html" {
		return failed(exitUsage, errors.New("report --budget --as html: text, csv or json may stand there"))
	}
	b, err := report.FindBudget(r, name)
	if err != nil {
		status := exitUsage
		if logError(err) {
			status = exitLog
		}
		return failed(status, fmt.Errorf("--budget %q: %w", name, err))
	}
	return a.deliver(func(w io.Writer) error {
		switch a.as {
		case "csv":
			return b.CSV(w)
		case "json":
			return b.JSON(w)
		}
		return b.Text(w, report.TextOpts{Colour: a.colour(), Width: a.width()})
	})
}
