package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"makebreak/sequences/service"
)

func (a *app) installCommand() *cobra.Command {
	var dryRun, yes bool
	var root string
	c := &cobra.Command{
		Use:   "install",
		Short: "Show, or write, the files that make a soak a service",
		Long: `Show the files that make a soak a service of systemd: the unit, the udev rule for
the I²C bus and the GPIO lines, the user, and the line that says what is run. With
--yes they are written, and the program with them.`,
		Example: `  makebreak install
  sudo makebreak install --yes`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error {
			if dryRun && yes {
				return badUsage("--dry-run and --yes do not go together")
			}
			if err := service.CheckRoot(root); err != nil {
				return fmt.Errorf("--root %w", err)
			}
			if !yes {
				return a.deliver(func(w io.Writer) error { return service.Show(w, root) })
			}
			if err := service.Install(root, func(text string) { a.note("%s", text) }); err != nil {
				return err
			}
			a.note("%s", service.After)
			return nil
		},
	}
	a.forms(c, "text")
	f := c.Flags()
	f.BoolVar(&dryRun, "dry-run", false, "show what would be written (as without --yes)")
	f.BoolVar(&yes, "yes", false, "write it")
	f.StringVar(&root, "root", "/", "`folder` to write below, as of a card being prepared")
	return c
}
