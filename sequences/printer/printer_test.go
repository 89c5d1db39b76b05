package printer_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"makebreak/rig/problem"
	"makebreak/sequences/printer"
)

// browserOf puts a program in the browser's place, which finds itself alone in the path, and
// sets a folder for what is temporary.
func browserOf(t *testing.T, script string) (temporary string) {
	t.Helper()
	dir := t.TempDir()
	if script != "" {
		if err := os.WriteFile(filepath.Join(dir, "chromium"), []byte("#!/bin/sh\nPATH=/bin:/usr/bin\n"+script+"\n"), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	temporary = t.TempDir()
	t.Setenv("PATH", dir)
	t.Setenv("TMPDIR", temporary)
	return temporary
}

func page(w io.Writer) error {
	_, err := io.WriteString(w, "<p>a page</p>")
	return err
}

// A browser that fails, makes nothing or is not there gives an error of its kind, and nothing
// is left behind.
func TestPDF_Failures(t *testing.T) {
	errPage := errors.New("the log cannot be read")
	stopped, stop := context.WithCancel(context.Background())
	stop()
	for _, c := range []struct {
		name, script string
		ctx          context.Context
		write        func(io.Writer) error
		kind         problem.Kind
		want         string
	}{
		{"none", "", context.Background(), page, problem.Usage, "apt install chromium"},
		{"fails", "echo no display >&2; exit 3", context.Background(), page, problem.Storage, "no display"},
		{"makes nothing", "exit 0", context.Background(), page, problem.Storage, "made none"},
		{"stopped", "sleep 60", stopped, page, problem.Interrupted, ""},
		{"the page fails", "exit 0", context.Background(), func(io.Writer) error { return errPage }, problem.Unknown, errPage.Error()},
	} {
		t.Run(c.name, func(t *testing.T) {
			temporary := browserOf(t, c.script)
			var out bytes.Buffer
			err := printer.PDF(c.ctx, &out, c.write)
			if err == nil || problem.KindOf(err) != c.kind || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v of the kind %v, want %v with %q", err, problem.KindOf(err), c.kind, c.want)
			}
			if out.Len() > 0 {
				t.Errorf("%d bytes were written", out.Len())
			}
			if left, _ := os.ReadDir(temporary); len(left) > 0 {
				t.Errorf("%v was left behind", left)
			}
		})
	}
}

// Whoever stops the program stops the browser with all of its processes: each holds a pipe open
// for as long as it lives.
func TestPDF_StopsTheBrowser(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	browserOf(t, `exec 3>'`+pipe+`'; sleep 600 & echo here >&3; sleep 600`)
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	done := make(chan error, 1)
	go func() { done <- printer.PDF(ctx, io.Discard, page) }()
	living, err := os.Open(pipe) // waits for the browser to open it
	if err != nil {
		t.Fatal(err)
	}
	defer living.Close()
	if _, err := io.ReadFull(living, make([]byte, len("here\n"))); err != nil {
		t.Fatal(err)
	}
	stop()
	if err := <-done; problem.KindOf(err) != problem.Interrupted {
		t.Errorf("error %v of the kind %v", err, problem.KindOf(err))
	}
	ended := make(chan error, 1)
	go func() { ended <- gone(living) }()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(time.Minute):
		t.Error("a process of the browser's goes on")
	}
}

// gone waits until nobody holds a pipe's other end.
func gone(pipe io.Reader) error {
	_, err := io.Copy(io.Discard, pipe)
	return err
}

// The browser is given the page and told to fetch nothing.
func TestPDF_Arguments(t *testing.T) {
	browserOf(t, `for a; do case $a in --print-to-pdf=*) out=${a#*=};; file://*) in=${a#file://};; esac; done; { echo "$*"; cat "$in"; } > "$out"`)
	var out bytes.Buffer
	if err := printer.PDF(context.Background(), &out, page); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"--headless", "--host-resolver-rules=MAP * ~NOTFOUND", "--user-data-dir=" + os.Getenv("TMPDIR"), "--no-pdf-header-footer", "<p>a page</p>"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing: %s", want, out.String())
		}
	}
}
