package main

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/google/renameio/v2"
	"github.com/spf13/cobra"
)

//go:embed service
var serviceFiles embed.FS

// installed is a file of the service.
type installed struct {
	source string // below service; empty: the program itself
	path   string
	mode   fs.FileMode
	keep   bool // one that is there stays: it is the person's
}

// installs are the files of the service, by where a service manager looks for them.
var installs = []installed{
	{"", "/usr/local/bin/makebreak", 0o755, false},
	{"service/makebreak-soak.service", "/etc/systemd/system/makebreak-soak.service", 0o644, false},
	{"service/60-makebreak.rules", "/etc/udev/rules.d/60-makebreak.rules", 0o644, false},
	{"service/sysusers.conf", "/etc/sysusers.d/makebreak.conf", 0o644, false},
	{"service/soak.conf", "/etc/makebreak/soak.conf", 0o644, true},
}

// afterInstall is what is left to do by hand.
const afterInstall = `Then, as root:
  systemd-sysusers
  udevadm control --reload && udevadm trigger
  systemctl daemon-reload
Say in /etc/makebreak/soak.conf what to run, read the cautions that makebreak run
shows, and: systemctl enable --now makebreak-soak
`

// installOpts are the flags of install.
type installOpts struct {
	dryRun, yes bool
	root        string
}

func (a *app) installCommand() *cobra.Command {
	o := installOpts{}
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
			if err := o.check(); err != nil {
				return err
			}
			if !o.yes {
				return a.deliver(func(w io.Writer) error { return showInstall(w, &o) })
			}
			return a.install(&o)
		},
	}
	a.forms(c, "text")
	f := c.Flags()
	f.BoolVar(&o.dryRun, "dry-run", false, "show what would be written (as without --yes)")
	f.BoolVar(&o.yes, "yes", false, "write it")
	f.StringVar(&o.root, "root", "/", "`folder` to write below, as of a card being prepared")
	return c
}

func (o *installOpts) check() error {
	if o.dryRun && o.yes {
		return failed(exitUsage, errors.New("--dry-run and --yes do not go together"))
	}
	if info, err := os.Stat(o.root); err != nil || !info.IsDir() {
		return failed(exitUsage, fmt.Errorf("--root %q: there is no such folder; that of a system may stand there, as where a card is mounted", o.root))
	}
	return nil
}

// content is what stands in an installed file.
func (f *installed) content() ([]byte, error) {
	if f.source != "" {
		return serviceFiles.ReadFile(f.source)
	}
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	return os.ReadFile(self)
}

func showInstall(w io.Writer, o *installOpts) error {
	for _, f := range installs {
		path := filepath.Join(o.root, f.path)
		if f.source == "" {
			fmt.Fprintf(w, "%s (this program)\n\n", path)
			continue
		}
		b, err := f.content()
		if err != nil {
			return err
		}
		note := ""
		if _, err := os.Stat(path); err == nil && f.keep {
			note = " (is there and stays as it is)"
		}
		fmt.Fprintf(w, "%s%s\n", path, note)
		for line := range bytes.Lines(b) {
			if len(line) > 1 {
				fmt.Fprint(w, "    ")
			}
			w.Write(line)
		}
		fmt.Fprintln(w)
	}
	_, err := fmt.Fprintf(w, "Nothing has been written; --yes writes it.\n%s", afterInstall)
	return err
}

func (a *app) install(o *installOpts) error {
	for _, f := range installs {
		path := filepath.Join(o.root, f.path)
		if _, err := os.Stat(path); err == nil && f.keep {
			a.note("%s is there and stays as it is", path)
			continue
		}
		b, err := f.content()
		if err != nil {
			return cannotWrite(path, err)
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return cannotWrite(path, err)
		}
		if err := renameio.WriteFile(path, b, f.mode, renameio.IgnoreUmask()); err != nil {
			return cannotWrite(path, err)
		}
		a.note("%s written", path)
	}
	a.note("%s", afterInstall)
	return nil
}
