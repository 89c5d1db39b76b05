package printer

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// browsers are the names under which systems install Chromium and what is built of it.
var browsers = []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "headless_shell"}

// errNone is the error where no browser is installed.
var errNone error = problem.New(problem.Usage, "a PDF is made by an installed Chromium, and there is none: install one (on Debian: apt install chromium), or take the page itself, --as html, to any browser and print it there")

// patience is how long a page may take to become a PDF, on a slow board with a busy card.
const patience = 5 * time.Minute

// Find returns the path of a browser that is installed, errNone where there is none.
func Find() (string, error) {
	for _, name := range browsers {
		if path, err := exec.LookPath(name); err == nil {
			return path, nil
		}
	}
	return "", errNone
}

// PDF prints the page that write writes, as HTML, and writes the PDF. Where the browser
// fails the error is of the kind Storage, as for any result that cannot be written; where
// the context ended, of the kind Interrupted.
func PDF(ctx context.Context, w io.Writer, write func(io.Writer) error) error {
	tool, err := Find()
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "makebreak-pdf-")
	if err != nil {
		return failed(err)
	}
	defer os.RemoveAll(dir) // what a process of the browser's still writes there stays
	page := filepath.Join(dir, "page.html")
	if err := written(page, write); err != nil {
		return err
	}
	out := filepath.Join(dir, "page.pdf")
	if err := browse(ctx, tool, dir, page, out); err != nil {
		return err
	}
	pdf, err := os.Open(out)
	if err != nil {
		return failed(err)
	}
	defer pdf.Close()
	_, err = io.Copy(w, pdf)
	return err
}

func failed(err error) error {
	return &problem.Error{Kind: problem.Storage, Op: "make a PDF", Err: err}
}

// written writes a file that nobody else can read.
func written(path string, write func(io.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return failed(err)
	}
	if err := write(f); err != nil {
		return errors.Join(err, f.Close())
	}
	if err := f.Close(); err != nil {
		return failed(err)
	}
	return nil
}

// browse runs the browser until it has made the PDF. It has a profile and a home of its own in
// the folder.
func browse(ctx context.Context, tool, dir, page, out string) error {
	within, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	c := exec.CommandContext(within, tool, arguments(dir, page, out)...)
	c.Dir = dir
	c.Env = append(os.Environ(), "HOME="+dir, "TMPDIR="+dir, "XDG_CONFIG_HOME="+dir, "XDG_CACHE_HOME="+dir, "XDG_DATA_HOME="+dir)
	told := &tail{}
	c.Stdout, c.Stderr = told, told
	// The browser is several processes: all of them end with it.
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	c.Cancel = func() error { return syscall.Kill(-c.Process.Pid, syscall.SIGKILL) }
	c.WaitDelay = 5 * time.Second
	err := c.Run()
	switch {
	case ctx.Err() != nil:
		return problem.Of(problem.Interrupted, ctx.Err())
	case within.Err() != nil:
		return failed(fmt.Errorf("%s did not end within %s", filepath.Base(tool), patience))
	case err != nil:
		return failed(fmt.Errorf("%s: %w%s", filepath.Base(tool), err, told.lastLine()))
	}
	if _, err := os.Stat(out); err != nil {
		return failed(fmt.Errorf("%s made none%s", filepath.Base(tool), told.lastLine()))
	}
	return nil
}

// arguments have the browser print one file and do nothing else: no network, no
// profile of anybody's. It refuses its sandbox to the system's administrator; what it shows
// is a page of our own, whose policy forbids scripts.
func arguments(dir, page, out string) []string {
	all := []string{
		"--headless", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--no-default-browser-check",
		"--disable-extensions", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-default-apps", "--no-pings",
		"--host-resolver-rules=MAP * ~NOTFOUND", "--proxy-server=127.0.0.1:1", // nothing is fetched, and no name is asked for
		"--user-data-dir=" + filepath.Join(dir, "profile"),
		"--no-pdf-header-footer", "--generate-pdf-document-outline", "--print-to-pdf=" + out,
	}
	if os.Geteuid() == 0 {
		all = append(all, "--no-sandbox")
	}
	return append(all, (&url.URL{Scheme: "file", Path: page}).String())
}

// A tail keeps the end of what the browser says, however much that is.
type tail struct{ end []byte }

// mostTail is how much of it is kept, in bytes.
const mostTail = 4096

// Write implements io.Writer.
func (t *tail) Write(p []byte) (int, error) {
	t.end = append(t.end, p...)
	t.end = t.end[max(0, len(t.end)-mostTail):]
	return len(p), nil
}

// lastLine is what the browser said last, for a message.
func (t *tail) lastLine() string {
	const most = 200 // characters
	lines := strings.Split(strings.TrimSpace(string(t.end)), "\n")
	if last := strings.TrimSpace(lines[len(lines)-1]); last != "" {
		return ": " + words.Short(last, most)
	}
	return ""
}
