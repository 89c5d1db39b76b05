package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"makebreak/testdata/smalldisk"
)

// A disk that runs full ends the run with 74; what was stored until then stays,
// marked as incomplete, and can be read while the disk is still full.
func TestRun_DiskFull(t *testing.T) {
	log := filepath.Join(smallDisk(t), "log.db")
	status, out, errs := run(t, "--log", log, "run", "relay-only", "--seed", "1", "--cycles", "100000")
	if status != exitLog || !strings.Contains(errs, "no room left for the log") {
		t.Errorf("exit status %d, want %d; standard error:\n%s", status, exitLog, errs)
	}
	if !strings.Contains(out, "incomplete: ") {
		t.Errorf("the record of what was stored:\n%s", out)
	}
	r := only(t, log)
	if r.Complete || r.Cycles < 10 {
		t.Errorf("the log has %d cycles, complete %t", r.Cycles, r.Complete)
	}
	if status, _, errs := run(t, "--log", log, "report", r.Run, "--as", "csv"); status != exitPass {
		t.Errorf("report: exit status %d: %s", status, errs)
	}
}

// What was measured is said where the disk has no room for the first cycle.
func TestRun_NothingKept(t *testing.T) {
	dir := smallDisk(t)
	room := sizeOfNewLog(t) + 70<<10
	if err := os.WriteFile(filepath.Join(dir, "others"), make([]byte, smallDiskSize-room), 0o600); err != nil {
		t.Fatal(err)
	}
	log := filepath.Join(dir, "log.db")
	status, out, errs := run(t, "--log", log, "run", "armed-high", "--seed", "1", "--cycles", "1", "--fault", "weak-supply")
	if status != exitLog {
		t.Errorf("exit status %d, want %d: %s", status, exitLog, errs)
	}
	for _, want := range []string{"No figure could be stored.", "cycle 1: fail, 56 of 60 judged figures passed; OUT3 high level at arm-away 9.11 V", "and 2 more"} {
		if !strings.Contains(unbroken(out), want) {
			t.Errorf("the record lacks %q:\n%s", want, out)
		}
	}
	if r := only(t, log); r.Complete || r.Cycles != 0 {
		t.Errorf("the log has %d cycles, complete %t", r.Cycles, r.Complete)
	}
}

const smallDiskSize = 2 << 20 // bytes

// smallDisk mounts a disk of 2 MB for the test and returns its folder.
func smallDisk(t *testing.T) string {
	t.Helper()
	return smalldisk.Mount(t, smalldisk.Kind{Name: "tmpfs", Size: smallDiskSize})
}

// A log on a disk that cannot be written is listed and reported as any other; what would
// write it is 74.
func TestRuns_ReadOnlyDisk(t *testing.T) {
	dir := smallDisk(t)
	log := filepath.Join(dir, "log.db")
	if status, _, errs := run(t, "--log", log, "soak", "relay-only", "--seed", "1", "--cycles", "20"); status != exitPass {
		t.Fatalf("exit status %d: %s", status, errs)
	}
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	prune := []string{"runs", "prune", "--older-than", "0d", "--whole-runs"}
	for _, c := range []struct {
		status int
		args   []string
	}{
		{exitPass, []string{"runs"}},
		{exitPass, []string{"runs", "check"}},
		{exitPass, []string{"report", "last"}},
		{exitPass, []string{"report", "last", "--capture", "3"}},
		{exitPass, []string{"soak", "reliability", "last"}},
		{exitPass, prune},
		{exitLog, append(prune, "--yes")},
		{exitLog, []string{"run", "relay-only"}},
		{exitLog, []string{"soak", "--resume", "last"}},
	} {
		status, out, errs := run(t, append([]string{"--log", log}, c.args...)...)
		if status != c.status || (status == exitPass) != (out != "") || status == exitLog && !strings.Contains(errs, "the log cannot be written") {
			t.Errorf("%q: exit status %d, want %d: %s\n%s", c.args, status, c.status, errs, out)
		}
	}
}
