package main

import (
	"fmt"
	"io"
	"os"
	"slices"

	"github.com/spf13/cobra"

	"makebreak/rig/problem"
	"makebreak/rig/table"
	"makebreak/rig/words"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
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
			list := record.List{Runs: runs, Unit: a.unit}
			write := list.Text
			switch a.as {
			case "json":
				write = list.JSON
			case "csv":
				write = list.CSV
			}
			return a.deliver(write)
		},
	}
	a.forms(c, "text", "csv", "json")
	c.AddCommand(a.pruneCommand(), a.checkCommand())
	return c
}

func noArguments(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return badUsage("%s takes no arguments; it was given %q", c.Name(), args[0])
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
	return problem.Of(problem.Storage, err)
}

// openLogWith opens a log that is there: one that is not, or is empty, is not made.
func (a *app) openLogWith(open func(string) (*journal.DB, error)) (*journal.DB, error) {
	info, err := os.Stat(a.log)
	if err != nil {
		return nil, problem.Of(problem.Input, fmt.Errorf("log %s: %w; a run makes it, or --log names another", words.Safe(a.log), problem.Innermost(err)))
	}
	if info.Mode().IsRegular() && info.Size() == 0 {
		return nil, problem.Of(problem.Input, fmt.Errorf("log %s: the file is empty; a run makes it a log, or --log names another", words.Safe(a.log)))
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

// table writes a plain table to standard output or the file asked for.
func (a *app) table(head []string, fill func(row func(...any))) error {
	return a.deliver(func(w io.Writer) error { return table.Write(w, head, fill) })
}
