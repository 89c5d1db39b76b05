package main

import (
	"github.com/spf13/cobra"

	"makebreak/sequences/record"
)

func (a *app) unitCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "unit SERIAL",
		Short: "Write the history of one unit: its runs, and what changed between them",
		Long: `Write the history of one unit: all of its runs in the log, the newest first, with what
was wrong in each, and what changed since the run before of the same sequence by more
than the uncertainties allow. The exit status is 0, whatever the verdicts.`,
		Example: `  makebreak unit 4711
  makebreak unit 4711 --as html -o 4711.html`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 || args[0] == "" {
				return badUsage("unit takes one serial, as makebreak runs lists them")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return a.history(args[0]) },
	}
	a.forms(c, "text", "csv", "json", "html")
	return c
}

func (a *app) history(unit string) error {
	a.wanted.Unit = unit
	db, err := a.openLog()
	if err != nil {
		return err
	}
	defer db.Close()
	h, err := record.History(db, unit, 0)
	if err != nil {
		return readFailed(err)
	}
	return a.deliver(a.chosen(writers{"text": a.asText(h), "csv": h.CSV, "json": h.JSON, "html": h.HTML}))
}
