package main

import (
	"context"
	"errors"
	"slices"

	"github.com/spf13/cobra"

	"makebreak/rig/outfile"
	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences/archive"
	"makebreak/sequences/journal"
)

func (a *app) exportCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "export RUN... -o FILE",
		Short: "Write runs into one file that another log takes",
		Long: `Write runs, with all that the log holds of them, into one new file, which
runs import takes into another log. The file says what it holds: one that was cut or
has changed on its way is refused there. The runs stay here.`,
		Example: `  makebreak runs export last -o last.db
  makebreak runs export 2026-11-25-lumora.1 2026-11-25-lumora.2 -o monday.db`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return badUsage("runs export takes one run or more, as makebreak runs lists them, or last")
			}
			return a.needsFile("runs export", "runs")
		},
		RunE: func(c *cobra.Command, args []string) error { return a.exportRuns(c.Context(), args) },
	}
	a.forms(c, "text")
	return c
}

// needsFile demands a file to write that is an ordinary one.
func (a *app) needsFile(command, what string) error {
	switch {
	case a.file == "" || a.file == "-":
		return badUsage("%s needs a file to write the %s into: -o FILE", command, what)
	case outfile.Special(a.file):
		return badUsage("%s -o %s: must be an ordinary file", command, a.file)
	}
	return nil
}

func (a *app) exportRuns(ctx context.Context, names []string) error {
	a.wanted = archive.Wanted{Names: names}
	db, err := a.openLog()
	if err != nil {
		return err
	}
	defer db.Close()
	var ids []string
	for _, name := range names {
		rec, err := a.findRun(db, name)
		if err != nil {
			return err
		}
		if !slices.Contains(ids, rec.ID) {
			ids = append(ids, rec.ID)
		}
	}
	if err := db.Export(ctx, ids, a.file); err != nil {
		return interruptedOr(ctx, err)
	}
	a.note("%s written to %s", words.Count(len(ids), "run"), a.file)
	return nil
}

// interruptedOr is an interruption where the context has ended, as that is no fault of a log.
func interruptedOr(ctx context.Context, err error) error {
	if err == nil {
		return nil
	}
	if err = endedOr(ctx, err); problem.KindOf(err) == problem.Interrupted {
		return err
	}
	return readFailed(err)
}

func (a *app) importCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "import FILE",
		Short: "Take the runs of an exported file into the log",
		Long: `Take the runs that runs export has written into the log. First the whole file is
checked; one that is not as it was written is refused (65), and nothing of it is
taken. Runs that are here already stay as they are, and are named. A run whose name
another run has here is given a second word. The file is not changed.`,
		Example: "  makebreak runs import monday.db",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return badUsage("runs import takes one file that runs export has written")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error { return a.importRuns(c.Context(), args[0]) },
	}
	a.forms(c, "text")
	return c
}

func (a *app) importRuns(ctx context.Context, file string) error {
	if outfile.Replaced(a.log, []string{file}) != "" {
		return badUsage("runs import: %s is the log itself", file)
	}
	taken, err := journal.Import(ctx, file, a.log)
	for _, r := range taken {
		if r.Was != r.Run {
			a.note("Run %s is %s here, as another run has or had its name", r.Was, r.Run)
		}
	}
	for _, said := range []struct {
		what journal.Copied
		form string
	}{
		{journal.CopyMade, "%s taken from %s: %s"},
		{journal.CopyRenewed, "%s from %s replaced here, where less of it was: %s"},
		{journal.CopyThere, "%s of %s here already: %s"},
	} {
		if names := importedNames(taken, said.what); len(names) > 0 {
			a.note(said.form, words.Count(len(names), "run"), file, words.First(names, mostNamed))
		}
	}
	if err == nil && len(taken) == 0 {
		a.note("%s holds no run", file)
	}
	return interruptedOr(ctx, err)
}

// mostNamed is how many runs a message names.
const mostNamed = 20

// importedNames are the names here of those runs of which that is true.
func importedNames(taken []journal.Imported, what journal.Copied) (names []string) {
	for _, r := range taken {
		if r.What == what {
			names = append(names, r.Run)
		}
	}
	return names
}

func (a *app) backupCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "backup -o FILE",
		Short: "Write a copy of the whole log, also while a run goes on",
		Long: `Write a copy of the whole log, as it is at one instant, into one new file. A run or a
soak may go on meanwhile. The copy is checked before it has its name. It is a log as
any, which --log names. A file that is there already is not replaced.`,
		Example: `  makebreak runs backup -o /media/stick/log-2026-11-28.db`,
		Args: func(c *cobra.Command, args []string) error {
			return errors.Join(noArguments(c, args), a.needsFile("runs backup", "copy"))
		},
		RunE: func(c *cobra.Command, _ []string) error {
			db, err := a.openLog()
			if err != nil {
				return err
			}
			defer db.Close()
			if err := db.Backup(c.Context(), a.file); err != nil {
				return interruptedOr(c.Context(), err)
			}
			a.note("The log is copied to %s", a.file)
			return nil
		},
	}
	a.forms(c, "text")
	return c
}
