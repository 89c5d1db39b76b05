package outfile_test

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"makebreak/rig/outfile"
	"makebreak/rig/problem"
)

// A file that could not be written to its end stays as it was, and nothing is left beside it.
func TestWrite_Whole(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "r.csv")
	text := func(s string, end error) func(io.Writer) error {
		return func(w io.Writer) error {
			fmt.Fprint(w, s)
			return end
		}
	}
	if err := outfile.Write(t.Context(), path, text("old", nil)); err != nil {
		t.Fatal(err)
	}
	cut := errors.New("cut off")
	if err := outfile.Write(t.Context(), path, text("new", cut)); !errors.Is(err, cut) {
		t.Errorf("got %v, want %v", err, cut)
	}
	if b, err := os.ReadFile(path); err != nil || string(b) != "old" {
		t.Errorf("the file holds %q: %v", b, err)
	}
	if all, err := os.ReadDir(dir); err != nil || len(all) != 1 {
		t.Errorf("%d files are left: %v", len(all), err)
	}
}

// What cannot be written is said before, with the file's name and the system's word.
func TestCheck(t *testing.T) {
	dir := t.TempDir()
	for path, want := range map[string]string{
		filepath.Join(dir, "r.csv"):         "",
		os.DevNull:                          "",
		dir:                                 dir + " cannot be written: it is a folder",
		filepath.Join(dir, "none", "r.csv"): filepath.Join(dir, "none", "r.csv") + " cannot be written: no such file or directory",
	} {
		got := ""
		if err := outfile.Check(path); err != nil {
			got = err.Error()
			if problem.KindOf(err) != problem.Storage {
				t.Errorf("%s: kind %v", path, problem.KindOf(err))
			}
		}
		if got != want {
			t.Errorf("%s: got %q, want %q", path, got, want)
		}
	}
	if all, err := os.ReadDir(dir); err != nil || len(all) != 0 {
		t.Errorf("the look has left %d files: %v", len(all), err)
	}
}

// A stream that fails is named, whatever the writer makes of it.
func TestFill(t *testing.T) {
	full := errors.New("no space left on device")
	err := outfile.Fill(failing{full}, "standard output", func(w io.Writer) error {
		_, _ = w.Write(make([]byte, 10_000))
		return nil
	})
	if !errors.Is(err, full) || err.Error() != "standard output cannot be written: no space left on device" {
		t.Errorf("got %v", err)
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// A new file is written whole; one that is there, or a link that leads nowhere, stays as it is.
func TestWriteNew(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "rig.yaml")
	say := func(text string) func(io.Writer) error {
		return func(w io.Writer) error { _, err := io.WriteString(w, text); return err }
	}
	if err := outfile.WriteNew(path, 0o644, say("first")); err != nil {
		t.Fatal(err)
	}
	if err := outfile.WriteNew(path, 0o644, say("second")); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a file that is there: %v", err)
	}
	link := filepath.Join(dir, "link")
	if err := os.Symlink("nowhere", link); err != nil {
		t.Fatal(err)
	}
	if err := outfile.WriteNew(link, 0o644, say("third")); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a link: %v", err)
	}
	if b, err := os.ReadFile(path); err != nil || string(b) != "first" {
		t.Errorf("it holds %q, %v", b, err)
	}
	failed := errors.New("no more")
	other := filepath.Join(dir, "other")
	if err := outfile.WriteNew(other, 0o644, func(io.Writer) error { return failed }); !errors.Is(err, failed) {
		t.Errorf("%v", err)
	}
	if _, err := os.Lstat(other); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("half a file is left: %v", err)
	}
}
