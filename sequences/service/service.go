// Package service has the files that make a soak, and the local page, services of systemd:
// the units, the udev rule for the I²C bus and the GPIO lines, the user, and the lines that
// say what is run. It is beside the sequences, as what the service does is a soak.
package service

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"makebreak/rig/licences"
	"makebreak/rig/problem"
	"makebreak/rig/words"
)

//go:embed makebreak-soak@.service makebreak-serve.service 60-makebreak.rules sysusers.conf soak.conf serve.conf
var files embed.FS

// Prefixes are where the program and its own files may go: by hand, and by a package. The
// service manager, udev and systemd-sysusers read below both.
var Prefixes = []string{byHand, byPackage}

const (
	byHand    = "/usr/local"
	byPackage = "/usr"
)

// A File is a file of the service.
type File struct {
	Source string // its name in this package; empty: it is made
	Made   string // what it is, where it is made
	Path   string // where it goes, relative to the root
	Mode   fs.FileMode
	Keep   bool // one that is there stays: it is the administrator's

	made   func() ([]byte, error) // its content
	before []string               // where one of the same name holds instead of it
}

// An Extra is a file that belongs to the program and that whoever knows its commands makes: a
// page of the manual, what a shell needs to complete them, or a file for who watches rigs.
type Extra struct {
	Path    string // one of those below, of ManualPage or MonitoringFile; relative to the prefix
	Kind    string // what it is
	Content func() ([]byte, error)
}

// Where shells look for what completes a program's words: below the prefix of a package, as
// Debian has it, and below /usr/local.
const (
	BashCompletion = "share/bash-completion/completions/makebreak"
	FishCompletion = "share/fish/vendor_completions.d/makebreak.fish"
	// ZshCompletion is for a package. By hand it goes where zsh looks for what is local.
	ZshCompletion    = "share/zsh/vendor-completions/_makebreak"
	localZsh         = "share/zsh/site-functions/_makebreak"
	manualPageFolder = "share/man/man1/"
)

// ManualPage is where a page of the manual's section 1 goes, relative to the prefix.
func ManualPage(name string) string { return manualPageFolder + name + ".1" }

// MonitoringFile is where a file for Prometheus or Grafana goes, relative to the prefix. From
// there it is copied to the machine that watches.
func MonitoringFile(name string) string { return "share/makebreak/monitoring/" + name }

// An Installation is the files of the service below a root.
type Installation struct {
	Files  []File
	root   string
	prefix string
	tree   tree
}

// After is what is left to do by hand once the files are written.
const After = `Then, as root:
  systemd-sysusers
  udevadm control --reload && udevadm trigger
  systemctl daemon-reload
Write into /etc/makebreak/soak.conf what to run, read the cautions that makebreak run
shows, and: systemctl enable --now makebreak-soak@soak
For the local page at localhost:9120: systemctl enable --now makebreak-serve
`

// Open prepares an installation below a root: / or where a system's card is mounted. Nothing
// is written yet. More are files beside the service's own. The error is of the kind Usage.
func Open(root, prefix string, more ...Extra) (*Installation, error) {
	if !slices.Contains(Prefixes, prefix) {
		return nil, problem.Of(problem.Usage, fmt.Errorf("--prefix %q: %s", prefix, words.UseOneOf(prefix, Prefixes)))
	}
	noFolder := problem.Of(problem.Usage, fmt.Errorf("--root %q: there is no such folder; must be /, where a system's card is mounted, or the folder that a package is made in", root))
	if info, err := os.Stat(root); err != nil || !info.IsDir() {
		return nil, noFolder
	}
	r, err := os.OpenRoot(root)
	if err != nil {
		return nil, problem.Of(problem.Usage, fmt.Errorf("--root %q: %w", root, cause(err)))
	}
	return &Installation{Files: filesOf(prefix, more...), root: root, prefix: prefix, tree: tree{r}}, nil
}

// Close lets the root go. Nothing is written by it.
func (i *Installation) Close() error { return i.tree.Close() }

// filesOf are the files of an installation with a prefix.
func filesOf(prefix string, more ...Extra) []File {
	at := strings.TrimPrefix(prefix, "/")
	all := []File{
		{Made: "this program", made: self, Path: at + "/bin/makebreak", Mode: 0o755},
		{Source: "makebreak-soak@.service", Path: at + "/lib/systemd/system/makebreak-soak@.service", Mode: 0o644},
		{Source: "makebreak-serve.service", Path: at + "/lib/systemd/system/makebreak-serve.service", Mode: 0o644},
		{Source: "60-makebreak.rules", Path: at + "/lib/udev/rules.d/60-makebreak.rules", Mode: 0o644},
		{Source: "sysusers.conf", Path: at + "/lib/sysusers.d/makebreak.conf", Mode: 0o644},
		{Made: "licences and notices of all that is linked in", made: licences.Texts, Path: at + "/share/doc/makebreak/copyright", Mode: 0o644},
		{Source: "soak.conf", Path: "etc/makebreak/soak.conf", Mode: 0o644, Keep: true},
		{Source: "serve.conf", Path: "etc/makebreak/serve.conf", Mode: 0o644, Keep: true},
	}
	for _, x := range more {
		if x.Path == ZshCompletion && prefix == byHand {
			x.Path = localZsh
		}
		all = append(all, File{Made: x.Kind, made: x.Content, Path: at + "/" + x.Path, Mode: 0o644})
	}
	for n := range all {
		f := &all[n]
		if below, ok := strings.CutPrefix(f.Path, at+"/lib/"); ok {
			f.before = append(f.before, "etc/"+below)
		}
		if below, ok := strings.CutPrefix(f.Path, "usr/"); ok && prefix == byPackage {
			f.before = append(f.before, "usr/local/"+below)
		}
	}
	return all
}

// self is this program's own file.
func self() ([]byte, error) {
	path, err := os.Executable()
	if err != nil {
		return nil, err
	}
	return os.ReadFile(path)
}

// content is what a file holds.
func (i *Installation) content(f *File) ([]byte, error) {
	if f.made != nil {
		return f.made()
	}
	b, err := files.ReadFile(f.Source)
	return bytes.ReplaceAll(b, []byte(byHand+"/"), []byte(i.prefix+"/")), err
}

// path is how a file is told of.
func (i *Installation) path(name string) string { return words.Safe(filepath.Join(i.root, name)) }

// kept reports whether a file is there and stays.
func (i *Installation) kept(f *File) bool { return f.Keep && i.tree.find(f.Path) != "" }

// Show writes the files as they would be written below the root.
func (i *Installation) Show(w io.Writer) error {
	for n := range i.Files {
		f := &i.Files[n]
		if f.made != nil {
			if n+1 < len(i.Files) && i.Files[n+1].Made == f.Made {
				fmt.Fprintf(w, "%s\n", i.path(f.Path)) // the last of them says what they are
			} else {
				fmt.Fprintf(w, "%s (%s)\n\n", i.path(f.Path), f.Made)
			}
			continue
		}
		b, err := i.content(f)
		if err != nil {
			return err
		}
		note := ""
		if i.kept(f) {
			note = " (is there and stays as it is)"
		}
		fmt.Fprintf(w, "%s%s\n", i.path(f.Path), note)
		for line := range bytes.Lines(b) {
			if len(line) > 1 {
				fmt.Fprint(w, "    ")
			}
			w.Write(line)
		}
		fmt.Fprintln(w)
	}
	i.remains(func(text string) { fmt.Fprintln(w, text) })
	_, err := fmt.Fprintf(w, "Nothing has been written; --yes writes it.\n%s", After)
	return err
}

// Write writes the files below the root, each whole or not at all, and tells which. Those of
// an earlier installation are told of, or renamed where moveOld says so. The error is of the
// kind Storage.
func (i *Installation) Write(moveOld bool, tell func(text string)) error {
	for n := range i.Files {
		f := &i.Files[n]
		if i.kept(f) {
			tell(i.path(f.Path) + " is there and stays as it is")
			continue
		}
		b, err := i.content(f)
		if err == nil {
			err = i.tree.replace(path.Clean(f.Path), b, f.Mode)
		}
		if err != nil {
			return i.failed(f.Path, "written", err)
		}
		tell(i.path(f.Path) + " written")
	}
	if moveOld {
		if err := i.moveOld(tell); err != nil {
			return err
		}
	}
	i.remains(tell)
	return nil
}

func (i *Installation) failed(name, done string, err error) error {
	return problem.Of(problem.Storage, fmt.Errorf("%s cannot be %s: %w", i.path(name), done, cause(err)))
}

// cause is the operating system's word, without the calls and paths around it.
func cause(err error) error {
	var errno syscall.Errno
	if errors.As(err, &errno) {
		return errno
	}
	return err
}
