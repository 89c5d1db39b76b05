//go:build unix

package main

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// What is no ordinary file is no log, for every command and before anything waits for it: a
// bad input for one that reads, a log that cannot be written for one that writes. One that is
// empty or not there is a bad input wherever a log is needed; a run makes it one.
func TestLog_Place(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	l, err := net.Listen("unix", at("socket"))
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if err := syscall.Mkfifo(at("pipe"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(at("pipe"), at("link")); err != nil {
		t.Fatal(err)
	}
	if status, _, errs := run(t, "run", "relay-only", "--seed", "1", "--log", at("beside.db")); status != exitPass {
		t.Fatal(errs)
	}
	if err := syscall.Mkfifo(at("beside.db-reserve"), 0o600); err != nil && !os.IsExist(err) {
		t.Fatal(err)
	} else if err != nil { // the reserve stands there
		if err := os.Remove(at("beside.db-reserve")); err != nil {
			t.Fatal(err)
		}
		if err := syscall.Mkfifo(at("beside.db-reserve"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	reading := []string{"runs", "report last", "runs check", "runs prune --older-than 0d", "soak reliability last"}
	writing := []string{"runs prune --older-than 0d --yes", "soak --resume last", "run relay-only --seed 1", "soak relay-only --cycles 2 --seed 1 --go-on"}
	for place, says := range map[string]string{
		at("pipe"): "it is a pipe", at("link"): "it is a pipe", at("socket"): "it is a socket", dir: "it is a folder", os.DevNull: "it is a device", "/dev/zero": "it is a device",
		at("beside.db"): "is a pipe, and must be an ordinary file",
	} {
		for i, line := range append(reading, writing...) {
			want := exitLog
			if i < len(reading) && place != at("beside.db") {
				want = exitInput
			}
			if status, out, errs := run(t, append(strings.Fields(line), "--log", place)...); status != want || out != "" || !strings.Contains(errs, says) {
				t.Errorf("%s --log %s: exit status %d, want %d: %s", line, place, status, want, errs)
			}
		}
	}
	if err := os.WriteFile(at("empty"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for place, says := range map[string]string{at("empty"): "the file is empty; a run makes it a log", at("none"): "no such file or directory; a run makes it"} {
		for _, line := range append(reading, writing[:2]...) {
			if status, _, errs := run(t, append(strings.Fields(line), "--log", place)...); status != exitInput || !strings.Contains(errs, says) {
				t.Errorf("%s --log %s: exit status %d, want %d: %s", line, place, status, exitInput, errs)
			}
		}
		if status, _, errs := run(t, "run", "relay-only", "--seed", "1", "--log", place); status != exitPass {
			t.Errorf("run --log %s: exit status %d: %s", place, status, errs)
		}
	}
}
