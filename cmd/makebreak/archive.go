package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"makebreak/rig/problem"
	"makebreak/rig/words"
	"makebreak/sequences/archive"
	"makebreak/sequences/journal"
	"makebreak/sequences/progress"
)

func (a *app) archiveCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "archive",
		Short: "Copy runs to the workshop's PostgreSQL",
		Long: `Copy runs to the workshop's PostgreSQL, one archive for many rigs.

PostgreSQL's own variables say where it is and who asks: PGHOST, PGPORT, PGDATABASE,
PGUSER, PGPASSWORD or a password file, PGSSLMODE and the rest, or PGSERVICE with a
service file. The log stays as it is, and stays the truth.`,
		Example: `  PGSERVICE=workshop makebreak archive push
  PGHOST=db.example PGDATABASE=workshop PGSSLMODE=verify-full makebreak archive status`,
		Args: func(c *cobra.Command, args []string) error { return noSuchCommand(c, args) },
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(a.archivePushCommand(), a.archiveStatusCommand())
	return c
}

func (a *app) archivePushCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "push",
		Short: "Copy what the log holds and the archive does not",
		Long: `Copy what the log holds and the archive does not: runs that have ended, soaks up to
their last stored cycle, and the captures that are kept. It may be repeated, and cut
off at any instant: the next push goes on from there, and nothing is there twice.
Where the database has no archive yet, it is made.

Exit status: 64 the variables or the service file are wrong, 74 the database cannot be
reached, refuses, or a run could not be taken.`,
		Example: `  PGSERVICE=workshop makebreak archive push
  PGHOST=/run/postgresql PGDATABASE=workshop makebreak archive push --log office.db`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return a.pushRuns(c.Context()) },
	}
	a.forms(c, "text")
	return c
}

func (a *app) archiveStatusCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "status",
		Short: "Say what is in the log and not in the archive",
		Long: `Say of each run in the log what the archive has of it: archived (all), behind (not all:
it went on, or something was noted with it since), missing, underway (it has not ended,
and is no soak), or removed (by the archive's owner). As text only what is not there is
listed. Nothing is changed.`,
		Example: `  PGSERVICE=workshop makebreak archive status
  PGSERVICE=workshop makebreak archive status --as csv`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return a.archiveStatus(c.Context()) },
	}
	a.forms(c, "text", "csv", "json")
	return c
}

// withArchive opens the log and the archive, and closes both.
func (a *app) withArchive(ctx context.Context, open func(context.Context, string) (*archive.DB, error), f func(*archive.Pusher) error) error {
	log, err := a.openLog()
	if err != nil {
		return err
	}
	defer log.Close()
	db, err := open(ctx, "")
	if err != nil {
		return endedOr(ctx, err)
	}
	defer db.Close()
	return endedOr(ctx, f(&archive.Pusher{Log: log, Archive: db}))
}

// endedOr is an interruption where the context has ended.
func endedOr(ctx context.Context, err error) error {
	if err != nil && ctx.Err() != nil {
		return problem.Of(problem.Interrupted, problem.Instead(ctx.Err(), "interrupted"))
	}
	return err
}

func (a *app) pushRuns(ctx context.Context) error {
	return a.withArchive(ctx, archive.Open, func(p *archive.Pusher) error {
		var bar progress.Bar
		if drawable(a.err) && !a.quiet {
			bar.Terminal, _ = terminal(a.err)
		}
		p.Tell = func(done, all int64, run string) { bar.To(done, all, "Pushing run "+run) }
		done, err := p.Push(ctx)
		bar.End()
		said := words.Count(len(done.New), "run") + " pushed"
		if n := len(done.There); n > 0 {
			said += fmt.Sprintf(", %d there already", n)
		}
		if ctx.Err() != nil {
			said += "; the next push goes on from here"
		}
		if n := len(done.GoesOn); n > 0 {
			said += fmt.Sprintf(", %d not ended yet", n)
		}
		if n := len(done.Removed); n > 0 {
			said += fmt.Sprintf(", %d removed there by its owner", n)
		}
		a.note("%s: %s", p.Archive.Place(), said)
		if err == nil && len(done.Refused) > 0 {
			err = problem.Of(problem.Storage, fmt.Errorf("%s not taken:\n%w", words.Count(len(done.Refused), "run"), errors.Join(done.Refused...)))
		}
		return err
	})
}

func (a *app) archiveStatus(ctx context.Context) error {
	return a.withArchive(ctx, archive.OpenRead, func(p *archive.Pusher) error {
		s, err := p.Status(ctx)
		if errors.Is(err, journal.ErrCorrupt) {
			return a.keepDamaged(readFailed(err))
		}
		if err != nil {
			return err
		}
		return a.print(a.chosen(writers{"text": s.Text, "csv": s.CSV, "json": s.JSON}))
	})
}

// archiveNamed takes an archive's name from that of a log: postgres: alone stands for what
// PostgreSQL's variables say, else a URI, or words as in postgres:service=workshop, follow.
func archiveNamed(log string) (connection string, is bool) {
	for _, scheme := range []string{"postgres:", "postgresql:"} {
		if rest, named := strings.CutPrefix(log, scheme); named {
			if strings.HasPrefix(rest, "//") {
				rest = log
			}
			return rest, true
		}
	}
	return "", false
}

// checkArchive refuses an archive in place of a log where it cannot stand for one.
func (a *app) checkArchive(c *cobra.Command) error {
	if _, is := archiveNamed(a.log); !is {
		return nil
	}
	switch c.CommandPath() {
	case "makebreak runs", "makebreak runs export", "makebreak report", "makebreak unit", "makebreak soak reliability", "makebreak serve":
	default:
		return badUsage("%s needs a log file; an archive is read with --log postgres: by runs, runs export, report, unit, soak reliability and serve", c.CommandPath())
	}
	for _, name := range []string{"set-field", "mark-reference", "unmark-reference"} {
		if c.Flags().Changed(name) {
			return badUsage("--%s changes the rig's own log; an archive is only read", name)
		}
	}
	return nil
}

// fetch copies the runs that are wanted from an archive into a log that is only read.
func (a *app) fetch(connection string) (*journal.DB, error) {
	db, err := archive.OpenRead(a.ctx, connection)
	if err != nil {
		return nil, endedOr(a.ctx, err)
	}
	defer db.Close()
	log, err := db.Fetch(a.ctx, a.wanted)
	return log, endedOr(a.ctx, err)
}
