package service

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/rig/problem"
)

// What is in the way of a file is told with its path, and a settings file that is there
// stays, however often the service is installed.
func TestInstall(t *testing.T) {
	root := t.TempDir()
	var told []string
	tell := func(text string) { told = append(told, text) }
	for n := range 2 {
		if err := Install(root, tell); err != nil {
			t.Fatal(err)
		}
		conf := filepath.Join(root, "etc/makebreak/soak.conf")
		if b, err := os.ReadFile(conf); err != nil || (string(b) == "mine") != (n == 1) {
			t.Errorf("%v: %q", err, b)
		}
		if err := os.WriteFile(conf, []byte("mine"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if last := told[len(told)-1]; len(told) != 2*len(Files) || !strings.HasSuffix(last, "soak.conf is there and stays as it is") {
		t.Errorf("told: %q", told)
	}

	blocked := t.TempDir()
	if err := os.WriteFile(filepath.Join(blocked, "usr"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	err := Install(blocked, tell)
	if problem.KindOf(err) != problem.Storage || !strings.HasSuffix(err.Error(), "usr/local/bin/makebreak cannot be written: not a directory") {
		t.Errorf("%v", err)
	}
}

func TestCheckRoot(t *testing.T) {
	root := t.TempDir()
	if err := CheckRoot(root); err != nil {
		t.Error(err)
	}
	for _, none := range []string{filepath.Join(root, "none"), "service.go", ""} {
		if err := CheckRoot(none); problem.KindOf(err) != problem.Usage || !strings.Contains(err.Error(), "there is no such folder") {
			t.Errorf("%q: %v", none, err)
		}
	}
}

// A settings file that is there is said to stay.
func TestShow(t *testing.T) {
	root := t.TempDir()
	for _, stays := range []bool{false, true} {
		var w strings.Builder
		if err := Show(&w, root); err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(w.String(), "soak.conf (is there and stays as it is)"); got != stays || !strings.Contains(w.String(), "Nothing has been written; --yes writes it.") {
			t.Errorf("stays %v:\n%s", stays, w.String())
		}
		if err := Install(root, func(string) {}); err != nil {
			t.Fatal(err)
		}
	}
}
