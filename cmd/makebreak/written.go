package main

import (
	"slices"

	"github.com/spf13/cobra"

	"makebreak/rig/calibration"
	"makebreak/rig/outfile"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences/journal"
)

// checkWritten refuses to write a file over one that the command reads or keeps, before
// anything else is done.
func (a *app) checkWritten(c *cobra.Command, args []string) error {
	kept := a.kept(c, args)
	for _, name := range []string{"output", "write", "plot", "metrics-file"} {
		f := c.Flags().Lookup(name)
		if f == nil || f.Value.String() == "" || f.Value.String() == "-" {
			continue
		}
		path := f.Value.String()
		over := outfile.Replaced(path, kept)
		if over == "" && journal.NamesSocket(a.log, path) { // one that is made or removed meanwhile
			over = "a socket of the log"
		}
		if over != "" {
			return badUsage("--%s %s would replace %s, which this command reads or keeps; name another file", name, path, over)
		}
		kept = append(kept, path) // nor may a second result go there
	}
	return nil
}

// kept are the files that the command reads or keeps: those that are named, and those that
// stand beside a log or a rig file.
func (a *app) kept(c *cobra.Command, args []string) []string {
	kept := slices.Clone(args)
	for _, name := range []string{"sequence", "points", "causes", "limits", "programmed-as"} {
		if f := c.Flags().Lookup(name); f != nil && f.Value.String() != "" {
			kept = append(kept, f.Value.String())
		}
	}
	if a.rig != "" {
		kept = append(kept, a.rig, rigfile.LatencyPath(a.rig), calibration.PathFor(a.rig))
	}
	logs := []string{a.log}
	if f := c.Flags().Lookup("into"); f != nil && f.Value.String() != "" {
		logs = append(logs, f.Value.String())
	}
	if named, err := c.LocalFlags().GetStringArray("log"); err == nil {
		logs = append(logs, named...)
	}
	for _, log := range logs {
		kept = append(kept, journal.Files(log)...)
	}
	return kept
}
