package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"makebreak/sequences/service"
	"makebreak/testdata/tool"
)

// Each command has a page of the manual, which names its flags, and of which those who read
// manuals do not complain. What a package needs is where Debian has it.
func TestManual(t *testing.T) {
	root := t.TempDir()
	if status, _, errs := run(t, "install", "--root", root, "--prefix", "/usr", "--yes"); status != exitPass || !strings.Contains(errs, "\n  systemd-sysusers\n") {
		t.Fatalf("exit status %d: %s", status, errs)
	}
	for _, name := range []string{service.BashCompletion, service.ZshCompletion, service.FishCompletion} {
		if info, err := os.Stat(filepath.Join(root, "usr", name)); err != nil || info.Size() < 1000 {
			t.Errorf("%s: %v", name, err)
		}
	}
	readers := manualReaders()
	if len(readers) == 0 && tool.Demanded() {
		t.Error("neither man, groff nor mandoc is installed")
	}
	pages := 0
	eachCommand(func(c *cobra.Command) {
		if c.Hidden || c.Name() == "help" || strings.Contains(c.CommandPath(), "completion") {
			return
		}
		pages++
		path := filepath.Join(root, "usr", service.ManualPage(pageName(c)))
		page, err := os.ReadFile(path)
		if err != nil {
			t.Error(err)
			return
		}
		c.LocalFlags().VisitAll(func(f *pflag.Flag) {
			if want := roff("--" + f.Name); !f.Hidden && !strings.Contains(string(page), want) {
				t.Errorf("%s does not name %s", path, want)
			}
		})
		for _, reader := range readers {
			if out, err := exec.Command(reader[0], append(reader[1:], path)...).CombinedOutput(); err != nil || len(out) > 0 {
				t.Errorf("%s %s: %v\n%s", reader[0], path, err, out)
			}
		}
	})
	if pages < 20 {
		t.Errorf("only %d pages", pages)
	}
}

// manualReaders are the programs here that read a page and say what is wrong with it, and
// nothing else. That a page has no page below its name is no fault of it.
func manualReaders() (all [][]string) {
	for _, c := range [][]string{
		{"groff", "-man", "-Tutf8", "-K", "utf8", "-ww", "-z"},
		{"mandoc", "-T", "lint", "-W", "warning"},
	} {
		if _, err := exec.LookPath(c[0]); err == nil {
			all = append(all, c)
		}
	}
	return all
}

// Text is text in a page: no request, no escape, no other sign.
func TestRoff(t *testing.T) {
	for text, want := range map[string]string{".SH": `\&.SH`, "'x": `\&'x`, `a\fB`: `a\efB`, "--all": `\-\-all`, "~/x": `\(ti/x`, "12 V, ± 5 %": "12 V, ± 5 %"} {
		if got := roff(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	m := &manual{}
	m.text("One\nparagraph.\n\n  - an item\n    goes on\n  - another\n\nThen:\n\n  makebreak run\n\nLast.")
	want := "One paragraph.\n.IP \\(bu 2\nan item goes on\n.IP \\(bu 2\nanother\n.PP\nThen:\n.PP\n.RS 4\n.nf\nmakebreak run\n.fi\n.RE\n.PP\nLast.\n"
	if got := m.out.String(); got != want {
		t.Errorf("%q\nwant %q", got, want)
	}
}
