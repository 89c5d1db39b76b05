package main

import (
	"io"
	"time"

	"github.com/spf13/cobra"

	"makebreak/sequences/journal"
	"makebreak/sequences/journal/upkeep"
)

// age is a flag's value: a time as prune takes it, 90d, 12w or 36h.
type age time.Duration

func (a *age) Set(text string) error {
	d, err := upkeep.ParseAge(text)
	if err == nil {
		*a = age(d)
	}
	return err
}

func (a *age) String() string {
	if *a == 0 {
		return "" // there is no default
	}
	return time.Duration(*a).String()
}

func (a *age) Type() string { return "age" }

func (a *age) rule() string { return "must be a time up to 36500d, for example 90d, 12w or 36h" }

func (a *app) pruneCommand() *cobra.Command {
	var p upkeep.Prune
	var olderThan age
	var yes bool
	c := &cobra.Command{
		Use:   "prune",
		Short: "Make room in the log: remove captures, or whole runs, older than a time",
		Long: `Make room in the log. Captures of runs that ended longer ago than --older-than are
removed; their figures stay, and so does every report. With --whole-runs the runs
themselves go; with --into they are first copied into another log, which report and
runs read by --log as they read this one. Without --yes, prune only says what
would be removed.

A run that another program is writing is spared, and one that is marked as a
reference. One that was cut off can go at once. A run that is dated in the future
has no age; 0d removes it, too.
What is left of a removal that was cut off goes with the next --whole-runs. A full disk
can be pruned with the help of the file beside the log that ends in -reserve.

Later runs use the room again; --shrink gives it back to the disk. Where the disk has
room for two more copies the log is written anew for that; no other program may use
it meanwhile.`,
		Example: `  makebreak runs prune --older-than 90d
  makebreak runs prune --older-than 90d --yes
  makebreak runs prune --older-than 365d --whole-runs --shrink --yes
  makebreak runs prune --older-than 365d --whole-runs --into 2025.db --yes`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if !c.Flags().Changed("older-than") {
				return badUsage("runs prune needs --older-than, as in --older-than 90d")
			}
			if p.Into != "" && !p.WholeRuns {
				return badUsage("--into moves whole runs: give --whole-runs with it")
			}
			p.OlderThan = time.Duration(olderThan)
			return a.prune(p, yes)
		},
	}
	a.forms(c, "text")
	f := c.Flags()
	f.Var(&olderThan, "older-than", "remove only what ended longer ago than this `time`, as in 90d; 0d: all that no program is writing (required)")
	f.BoolVar(&p.WholeRuns, "whole-runs", false, "remove the runs, not only their captures")
	f.StringVar(&p.Into, "into", "", "copy the runs into another log, a `file`, before they are removed")
	f.BoolVar(&p.Shrink, "shrink", false, "give the room back to the disk afterwards")
	f.BoolVar(&yes, "yes", false, "do it; without this, only say what would be removed")
	return c
}

// prune lists what would be removed, and removes it where yes was said.
func (a *app) prune(p upkeep.Prune, yes bool) error {
	open := a.openLog
	if yes {
		open = func() (*journal.DB, error) { return a.openLogWith(journal.OpenToPrune) }
	}
	db, err := open()
	if err != nil {
		return err
	}
	defer db.Close()
	all, err := db.Holdings()
	if err != nil {
		return readFailed(err)
	}
	chosen := p.Choose(all, a.now())
	for _, text := range chosen.Notes() {
		a.note("%s", text)
	}
	if err := a.print(func(w io.Writer) error { return chosen.Text(w, yes) }); err != nil || !yes {
		return err
	}
	told, err := chosen.Remove(db)
	a.note("%s", told)
	return err
}
