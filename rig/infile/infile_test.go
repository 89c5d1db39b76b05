//go:build unix

package infile_test

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"makebreak/rig/infile"
)

// What is named need not be a file that can be read, nor one that ends.
func TestRead(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "f")
	if err := os.WriteFile(path, []byte("four"), 0o600); err != nil {
		t.Fatal(err)
	}
	if b, err := infile.Read(t.Context(), path, 4); string(b) != "four" || err != nil {
		t.Errorf("%q, %v", b, err)
	}
	for _, name := range []string{path, "/dev/zero"} {
		if b, err := infile.Read(t.Context(), name, 3); len(b) != 3 || !errors.Is(err, infile.ErrTooLong) {
			t.Errorf("%s: %q, %v", name, b, err)
		}
	}
	if b, err := infile.Read(t.Context(), os.DevNull, 3); len(b) != 0 || err != nil {
		t.Errorf("nothing: %q, %v", b, err)
	}
	if _, err := infile.Read(t.Context(), filepath.Join(dir, "none\n"), 3); !errors.Is(err, fs.ErrNotExist) || strings.Contains(err.Error(), "\n") {
		t.Errorf("%q", err)
	}
	l, err := net.Listen("unix", filepath.Join(dir, "socket"))
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	for name, says := range map[string]string{dir: "it is a folder", filepath.Join(dir, "socket"): "it is a socket"} {
		if _, err := infile.Read(t.Context(), name, 3); err == nil || !strings.HasSuffix(err.Error(), says) {
			t.Errorf("%s: %v, want %q", name, err, says)
		}
	}
}

// A pipe is waited for until the context ends: for somebody to open its other end, and for
// what they write.
func TestOpen_Pipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	stop := context.AfterFunc(t.Context(), cancel)
	defer stop()
	other, err := os.OpenFile(path, os.O_RDWR|syscall.O_NONBLOCK, 0) // waits for nobody
	if err != nil {
		t.Fatal(err)
	}
	f, err := infile.Open(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := other.WriteString("word"); err != nil {
		t.Fatal(err)
	}
	b := make([]byte, 10)
	if n, err := f.Read(b); string(b[:n]) != "word" || err != nil {
		t.Errorf("%q, %v", b[:n], err)
	}
	cancel()
	if n, err := f.Read(b); n != 0 || !errors.Is(err, context.Canceled) {
		t.Errorf("%d bytes, %v", n, err)
	}
	if err := errors.Join(f.Close(), other.Close()); err != nil {
		t.Error(err)
	}
	if _, err := infile.Open(ctx, path); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	if _, err := io.ReadAll(infile.Stream(ctx, strings.NewReader("x"))); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}
