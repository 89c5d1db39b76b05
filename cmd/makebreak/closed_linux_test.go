package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/rig/inherited"
	"makebreak/testdata/few"
)

// Results that standard output cannot take are lost: where it is closed, each command ends
// with 74 before it does anything, unless they go elsewhere or nobody wants them.
func TestClosedOutput(t *testing.T) {
	if !inherited.Known {
		t.Skip("a program built without C cannot know that its standard output was closed")
	}
	log := filepath.Join(t.TempDir(), "log.db")
	for _, c := range []struct {
		words string
		want  int
	}{
		{"run relay-only --seed 1 >&-", exitLog},
		{"run relay-only --seed 1 --quiet --as csv >&-", exitLog},
		{"run relay-only --seed 1 --quiet >&-", exitPass},
		{"run relay-only --seed 1 -o " + log + ".txt >&-", exitPass},
		{"runs >&-", exitLog},
		{"report last >&-", exitLog},
		{"work lamp >&-", exitLog},
		{"--help >&-", exitLog},
		{"--version >&-", exitLog},
		{"run relay-only --seed 1 >/dev/null", exitPass},
		{"run relay-only --seed 1 1<>/dev/null", exitPass}, // as who discards it in another language opens it
		{"run relay-only --seed 1 <&-", exitPass},
	} {
		status, errs := shell(t, `"$0" --log "$1" `+c.words, log)
		if status != c.want || (c.want == exitLog) != strings.Contains(errs, "standard output") {
			t.Errorf("%s: exit status %d, want %d: %s", c.words, status, c.want, errs)
		}
	}
	if _, runs, _ := run(t, "--log", log, "runs", "--as", "csv"); strings.Count(runs, "relay-only") != 5 {
		t.Errorf("want 5 runs in the log:\n%s", runs)
	}
}

// A process that gets too little address space for the Go runtime ends with the program's own
// fault, or works: never with a status that is a verdict.
func TestAddressSpace(t *testing.T) {
	if !inherited.Known {
		t.Skip("in a program built without C nothing runs before the Go runtime")
	}
	if few.Race {
		t.Skip("the race detector takes terabytes of addresses")
	}
	for _, kib := range []string{"100000", "300000", "700000", "1000000", "1200000", "1999999"} {
		log := filepath.Join(t.TempDir(), "log.db")
		if status, errs := shell(t, "ulimit -v "+kib+`; exec "$0" --log "$1" run relay-only --seed 1`, log); status != exitInternal || !strings.Contains(errs, "ulimit -v") {
			t.Errorf("%s KiB: exit status %d, want %d: %s", kib, status, exitInternal, errs)
		}
	}
	for _, kib := range []string{"2000000", "8000000"} {
		log := filepath.Join(t.TempDir(), "log.db")
		if status, errs := shell(t, "ulimit -v "+kib+`; exec "$0" --log "$1" run relay-only --seed 1`, log); status != exitPass {
			t.Errorf("%s KiB: exit status %d, want %d: %s", kib, status, exitPass, errs)
		}
	}
}

// shell has a shell run words, in which $0 is this program and $1 a log.
func shell(t *testing.T, words, log string) (status int, errs string) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	var told strings.Builder
	c := exec.Command("bash", "-c", words, asProgram(t, self), log)
	c.Stderr = &told
	if err := c.Run(); c.ProcessState == nil {
		t.Fatal(err)
	}
	return c.ProcessState.ExitCode(), told.String()
}
