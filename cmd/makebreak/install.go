package main

import (
	"bytes"
	"errors"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"makebreak/analyze/metrics/monitoring"
	"makebreak/sequences/service"
)

func (a *app) installCommand() *cobra.Command {
	var dryRun, yes, moveOld bool
	var root, prefix string
	c := &cobra.Command{
		Use:   "install",
		Short: "Show, or write, what is installed: the program, its manual, services",
		Long: `Show the files that are installed with the program: the pages of its manual, what
bash, zsh and fish need to complete its words, settings and rules for Prometheus and
Grafana, and what makes a soak and the local page services of systemd: their units,
the udev rule for the I²C bus and the GPIO lines, the user, and the lines that say
what is run. With --yes they are written, and the program with them. What is in
/etc/makebreak stays.

For a package, --root names the folder that it is made in, and --prefix /usr puts the
files where Debian has a package's.`,
		Example: `  makebreak install
  sudo makebreak install --yes
  makebreak install --yes --root build/package --prefix /usr`,
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) (err error) {
			if dryRun && yes {
				return badUsage("--dry-run and --yes do not go together")
			}
			if moveOld && !yes {
				return badUsage("--move-old renames files, so it needs --yes")
			}
			i, err := service.Open(root, prefix, slices.Concat(manualPages(c.Root()), completionScripts(c.Root()), monitoringFiles())...)
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, i.Close()) }()
			if !yes {
				return a.deliver(i.Show)
			}
			if err := i.Write(moveOld, func(text string) { a.note("%s", text) }); err != nil {
				return err
			}
			for line := range strings.Lines(service.After) {
				a.note("%s", strings.TrimSuffix(line, "\n"))
			}
			return nil
		},
	}
	a.forms(c, "text")
	f := c.Flags()
	f.BoolVar(&dryRun, "dry-run", false, "show what would be written (as without --yes)")
	f.BoolVar(&yes, "yes", false, "write it")
	f.BoolVar(&moveOld, "move-old", false, "rename the files of an earlier installation that hold instead of these")
	f.StringVar(&root, "root", "/", "`folder` to write below, as of a card being prepared")
	f.StringVar(&prefix, "prefix", service.Prefixes[0], "`folder` for program and unit: /usr/local, or /usr for a package")
	return c
}

// monitoringFiles are those by which Prometheus and Grafana watch rigs.
func monitoringFiles() []service.Extra {
	var all []service.Extra
	for _, name := range monitoring.Names() {
		all = append(all, service.Extra{Path: service.MonitoringFile(name), Kind: "for Prometheus and Grafana",
			Content: func() ([]byte, error) { return monitoring.Files.ReadFile(name) }})
	}
	return all
}

// completionScripts are what shells load to complete the program's words.
func completionScripts(root *cobra.Command) []service.Extra {
	script := func(write func(*bytes.Buffer) error) func() ([]byte, error) {
		return func() ([]byte, error) {
			var b bytes.Buffer
			err := write(&b)
			return b.Bytes(), err
		}
	}
	return []service.Extra{
		{Path: service.BashCompletion, Kind: "completion for bash", Content: script(func(b *bytes.Buffer) error { return root.GenBashCompletionV2(b, true) })},
		{Path: service.ZshCompletion, Kind: "completion for zsh", Content: script(func(b *bytes.Buffer) error { return root.GenZshCompletion(b) })},
		{Path: service.FishCompletion, Kind: "completion for fish", Content: script(func(b *bytes.Buffer) error { return root.GenFishCompletion(b, true) })},
	}
}
