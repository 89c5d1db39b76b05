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
	"makebreak/sequences/fields"
	"makebreak/sequences/journal"
	"makebreak/sequences/record"
)

// runsOpts are the flags of runs.
type runsOpts struct {
	fields            []string
	set, mark, unmark string
}

// check allows one thing to be done at a time.
func (o *runsOpts) check(c *cobra.Command) error {
	var asked []string
	for _, name := range []string{"field", "set-field", "mark-reference", "unmark-reference"} {
		f := c.Flags().Lookup(name)
		if f.Changed && f.Value.String() == "" {
			return badUsage("--%s needs a run; last is the newest", name)
		}
		if f.Changed {
			asked = append(asked, "--"+name)
		}
	}
	if len(asked) > 1 {
		return badUsage("use one of %s, not several", words.List(asked))
	}
	return nil
}

// checkRuns is check, and refuses forms of results where a run is changed: there are none.
func (a *app) checkRuns(c *cobra.Command, o *runsOpts) error {
	if err := o.check(c); err != nil || o.set+o.mark+o.unmark == "" {
		return err
	}
	return a.choice("runs where it changes a run", "text")
}

func (a *app) runsCommand() *cobra.Command {
	var o runsOpts
	c := &cobra.Command{
		Use:   "runs",
		Short: "List what is in the log, the newest first",
		Long: `List what is in the log, the newest first; with --unit only the runs of that unit, and
how many figures changed from run to run (makebreak unit says which); with --field
only those of which that is noted.

With --set-field, change what is noted with a run. What it was before is kept, with
when and by whom (--by) it was changed.

With --mark-reference, mark a run as the reference that others of its kind are
compared with: those of the same sequence, of a rig of the same name and of the same
field model, all real or all simulated. There is one of a kind at most.`,
		Example: `  makebreak runs --unit 4711
  makebreak runs --field job=1234
  makebreak runs --set-field last job=1234 "remarks=lid scratched" --by "A. Fitter"
  makebreak runs --mark-reference 2026-11-25-lumora.1`,
		Args: func(c *cobra.Command, args []string) error {
			if err := a.checkRuns(c, &o); err != nil || o.set != "" {
				return err
			}
			return noArguments(c, args)
		},
		RunE: func(c *cobra.Command, args []string) error {
			switch {
			case o.set != "":
				return a.setFields(o.set, args)
			case o.mark != "":
				return a.markReference(o.mark)
			case o.unmark != "":
				return a.unmarkReference(o.unmark)
			}
			wanted, err := fields.ParseAll(o.fields, false)
			if err != nil {
				return badUsage("--field: %w", err)
			}
			a.wanted.Unit = a.unit
			db, err := a.openLog()
			if err != nil {
				return err
			}
			defer db.Close()
			runs, err := a.runsOf(db)
			if err != nil {
				return readFailed(err)
			}
			runs = slices.DeleteFunc(runs, func(r journal.RunSummary) bool { return !fields.Match(r.Fields, wanted) })
			list := record.List{Runs: runs, Unit: a.unit, Wanted: len(wanted) > 0}
			if a.unit != "" && a.as == "text" && len(runs) > 0 {
				if list.Changed, err = changesOf(db, a.unit); err != nil {
					return readFailed(err)
				}
			}
			return a.print(a.chosen(writers{"text": list.Text, "csv": list.CSV, "json": list.JSON}))
		},
	}
	a.forms(c, "text", "csv", "json")
	f := c.Flags()
	f.StringArrayVar(&o.fields, "field", nil, "list only runs with this field, `NAME=VALUE`; may be repeated")
	f.StringVar(&o.set, "set-field", "", "change fields of a `run`, which follow as NAME=VALUE; NAME= takes one away")
	f.StringVar(&o.mark, "mark-reference", "", "mark a `run` as the reference of its kind")
	f.StringVar(&o.unmark, "unmark-reference", "", "take the mark of a reference from a `run`")
	c.AddCommand(a.pruneCommand(), a.checkCommand(), a.exportCommand(), a.importCommand(), a.backupCommand(), a.signCommand())
	return c
}

// changesOf says in a few words what changed in each run of a unit since the one before of its
// sequence.
func changesOf(db *journal.DB, unit string) (map[string]string, error) {
	h, err := record.History(db, unit, 0)
	if err != nil {
		return nil, err
	}
	changed := map[string]string{}
	for _, l := range h.Runs {
		changed[l.Run] = l.Moved()
	}
	return changed, nil
}

func noArguments(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return badUsage("%s takes no arguments; it was given %q", c.Name(), args[0])
	}
	return nil
}

// openLog opens a log to read from.
func (a *app) openLog() (*journal.DB, error) {
	if connection, is := archiveNamed(a.log); is {
		return a.fetch(connection)
	}
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
	return a.print(func(w io.Writer) error { return table.Write(w, head, fill) })
}
