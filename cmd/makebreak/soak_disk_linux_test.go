package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A disk that runs full ends a soak with 74; what was stored stays, and when there is
// room again the soak goes on with the next cycle, having lost none.
func TestSoak_DiskFull(t *testing.T) {
	dir := smallDisk(t)
	log := filepath.Join(dir, "log.db")
	var errs strings.Builder
	status := bounded([]string{"--log", log, "soak", "relay-only", "--seed", "1", "--cycles", "1200", "--tell-every", "1",
		"--keep-first", "0", "--keep-last", "10"}, streams{strings.NewReader(""), &strings.Builder{}, &errs})
	if status != exitLog || !strings.Contains(errs.String(), "no room left for the log") {
		t.Fatalf("exit status %d, want %d; standard error:\n%s", status, exitLog, errs.String())
	}
	before := only(t, log)
	reported := strings.Count(errs.String(), " done, 0 failed)\n")
	if before.Complete || before.Cycles != reported || reported < 50 {
		t.Errorf("the log has %d cycles, complete %t; %d were reported", before.Cycles, before.Complete, reported)
	}
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, "size=20m"); err != nil {
		t.Fatal(err)
	}
	if status, out, errs := run(t, "--log", log, "soak", "--resume", "last"); status != exitPass || !strings.Contains(out, "interrupted once") {
		t.Errorf("with room again: exit status %d: %s\n%s", status, errs, out)
	}
	if after := only(t, log); !after.Complete || after.Cycles != 1200 {
		t.Errorf("the log has %d cycles, complete %t", after.Cycles, after.Complete)
	}
}

// A soak that has filled its disk to the last byte has ended in the log, so that its run
// can be removed at once; the next soak has room again. The disk is large enough for the
// reserve to be whole: a part of it need not do for what a soak leaves in the write-ahead
// file.
func TestPrune_DiskFull(t *testing.T) {
	dir := smallDisk(t)
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, "size=20m"); err != nil {
		t.Fatal(err)
	}
	log := filepath.Join(dir, "log.db")
	soak := []string{"--log", log, "soak", "relay-only", "--seed", "1", "--keep-first", "0", "--keep-last", "10", "--cycles"}
	for range 2 {
		if status, _, errs := run(t, append(soak, "1")...); status != exitPass {
			t.Fatalf("on an empty disk: exit status %d: %s", status, errs)
		}
		fillDisk(t, filepath.Join(dir, "others"), 2<<20)
		if status, _, errs := run(t, append(soak, "100000")...); status != exitLog {
			t.Fatalf("exit status %d, want %d: %s", status, exitLog, errs)
		}
		fillDisk(t, filepath.Join(dir, "more"), 0)
		status, out, errs := run(t, "--log", log, "runs", "prune", "--older-than", "0d", "--whole-runs", "--yes")
		if status != exitPass || !strings.Contains(out, "Removing all of it") {
			t.Errorf("prune: exit status %d: %s\n%s", status, errs, out)
		}
		if status, out, errs := run(t, append(soak, "40")...); status != exitPass || !strings.Contains(out, "40 of 40") {
			t.Errorf("the next soak: exit status %d: %s\n%s", status, errs, out)
		}
		for _, name := range []string{"others", "more"} {
			if err := os.Remove(filepath.Join(dir, name)); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// fillDisk writes a file that leaves so many bytes of its disk free.
func fillDisk(t *testing.T, path string, leaves int64) {
	t.Helper()
	var disk syscall.Statfs_t
	if err := syscall.Statfs(filepath.Dir(path), &disk); err != nil {
		t.Fatal(err)
	}
	size := int64(disk.Bavail)*int64(disk.Bsize) - leaves
	if err := os.WriteFile(path, make([]byte, max(0, size)), 0o600); err != nil {
		t.Fatal(err)
	}
}
