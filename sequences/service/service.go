// Package service has the files that make a soak a service of systemd: the unit, the udev
// rule for the I²C bus and the GPIO lines, the user, and the line that says what is run. It
// is beside the sequences, as what the service does is a soak.
package service

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"github.com/google/renameio/v2"

	"makebreak/rig/problem"
)

//go:embed makebreak-soak.service 60-makebreak.rules sysusers.conf soak.conf
var files embed.FS

// A File is a file of the service.
type File struct {
	Source string // its name in this package; empty: the program itself
	Path   string // where a service manager looks for it
	Mode   fs.FileMode
	Keep   bool // one that is there stays: it is the person's
}

// Files are the files of the service.
var Files = []File{
	{"", "/usr/local/bin/makebreak", 0o755, false},
	{"makebreak-soak.service", "/etc/systemd/system/makebreak-soak.service", 0o644, false},
	{"60-makebreak.rules", "/etc/udev/rules.d/60-makebreak.rules", 0o644, false},
	{"sysusers.conf", "/etc/sysusers.d/makebreak.conf", 0o644, false},
	{"soak.conf", "/etc/makebreak/soak.conf", 0o644, true},
}

// After is what is left to do by hand once the files are written.
const After = `Then, as root:
  systemd-sysusers
  udevadm control --reload && udevadm trigger
  systemctl daemon-reload
Write into /etc/makebreak/soak.conf what to run, read the cautions that makebreak run
shows, and: systemctl enable --now makebreak-soak
`

// content is what a file holds.
func (f *File) content() ([]byte, error) {
	if f.Source != "" {
		return files.ReadFile(f.Source)
	}
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	return os.ReadFile(self)
}

// CheckRoot refuses a folder that the files cannot be written below. The error is of the
// kind Usage.
func CheckRoot(root string) error {
	if info, err := os.Stat(root); err != nil || !info.IsDir() {
		return problem.Of(problem.Usage, fmt.Errorf("%q: there is no such folder; must be / or where a system's card is mounted", root))
	}
	return nil
}

// Show writes the files as they would be written below the root.
func Show(w io.Writer, root string) error {
	for _, f := range Files {
		path := filepath.Join(root, f.Path)
		if f.Source == "" {
			fmt.Fprintf(w, "%s (this program)\n\n", path)
			continue
		}
		b, err := f.content()
		if err != nil {
			return err
		}
		note := ""
		if _, err := os.Stat(path); err == nil && f.Keep {
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
	_, err := fmt.Fprintf(w, "Nothing has been written; --yes writes it.\n%s", After)
	return err
}

// Install writes the files below the root, each whole or not at all, and tells which. The
// error is of the kind Storage.
func Install(root string, tell func(text string)) error {
	for _, f := range Files {
		path := filepath.Join(root, f.Path)
		if _, err := os.Stat(path); err == nil && f.Keep {
			tell(path + " is there and stays as it is")
			continue
		}
		if err := f.write(path); err != nil {
			return problem.Of(problem.Storage, fmt.Errorf("%s cannot be written: %w", path, cause(err)))
		}
		tell(path + " written")
	}
	return nil
}

// cause is the operating system's word, without the calls and paths around it.
func cause(err error) error {
	var errno syscall.Errno
	if errors.As(err, &errno) {
		return errno
	}
	return err
}

func (f *File) write(path string) error {
	b, err := f.content()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return renameio.WriteFile(path, b, f.Mode, renameio.IgnoreUmask())
}
