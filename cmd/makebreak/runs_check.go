package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"makebreak/rig/problem"
	"makebreak/sequences/journal"
	"makebreak/sequences/journal/upkeep"
)

func (a *app) checkCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "check",
		Short: "Read the whole log and check that it is sound",
		Long: `Read the whole log and check that it is sound: its pages and indexes; that what
rows refer to is there; and of each run all that a report reads, with no cycle,
figure or symptom missing in between. Nothing is changed. The log may be on a disk
that cannot be written, and a soak may be running in it.

Exit status: 0 it is sound, 65 it is damaged, 74 it could not be read. A figure that a
fault of the disk has turned into another possible one is not detected.`,
		Example: `  makebreak runs check
  makebreak runs check --log /media/stick/log.db`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error { return a.checkLog(c.Context()) },
	}
	a.forms(c, "text")
	return c
}

func (a *app) checkLog(ctx context.Context) error {
	db, err := a.openLog()
	if err != nil {
		return a.keepDamaged(err)
	}
	defer db.Close()
	if size, err := db.Size(); err == nil && size > upkeep.LargeLog {
		a.note("The log has %s; reading it takes minutes", upkeep.Size(size))
	}
	u, err := upkeep.Check(ctx, db)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return a.keepDamaged(readFailed(err))
	}
	if err := a.print(u.Text); err != nil {
		return err
	}
	err = u.Err()
	if errors.Is(err, journal.ErrCorrupt) {
		err = fmt.Errorf("log %s: %w; makebreak report still writes the record of each run that is whole", db.Path(), journal.ErrCorrupt) // the results have the details
		return a.keepDamaged(problem.Of(problem.Input, err))
	}
	return readFailed(err)
}

// keepDamaged adds to the error of a damaged log what to do with it.
func (a *app) keepDamaged(err error) error {
	if !errors.Is(err, journal.ErrCorrupt) {
		return err
	}
	name := filepath.Base(a.log)
	return fmt.Errorf("%w\nkeep the file as it is: copy it, with %s-wal where there is one, while no program writes it; begin new runs in another log, named with --log", err, name)
}
