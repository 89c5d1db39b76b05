package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"makebreak/sequences/journal"
	"makebreak/testdata/smalldisk"
)

// restarts is how often a soak is started again on a disk that stays full, as the service does.
const restarts = 10

// A soak that has filled its disk is started again and again, on several file systems. It
// fails each time with 74, and its run keeps the end and the reason of it. Then captures can
// be pruned, and with room the soak goes on with the next cycle; or the run can be removed.
func TestSoak_RestartedOnFullDisk(t *testing.T) {
	kinds := []smalldisk.Kind{smalldisk.Ext4x1k}
	if !testing.Short() {
		kinds = append(kinds, smalldisk.Memory, smalldisk.Ext4)
	}
	draws, seed := drawsOf(t, 1)
	if draws > 1 {
		kinds = append(kinds, smalldisk.Ext4x2k, smalldisk.XFS)
	}
	for n := range draws {
		for i, k := range kinds {
			t.Run(fmt.Sprintf("%s, draw %d of %d", k.Name, n, seed), func(t *testing.T) {
				rng := rand.New(rand.NewPCG(seed+uint64(n), uint64(len(k.Name))))
				f := &fullDisk{t: t, dir: smalldisk.Mount(t, k)}
				f.fill(rng)
				f.restart((i+n)%2 > 0)
				f.makeRoom(rng)
			})
		}
	}
}

// fullDisk is a disk that a soak has filled.
type fullDisk struct {
	t    *testing.T
	dir  string
	told int // cycles reported done, over all sittings
}

func (f *fullDisk) at(name string) string { return filepath.Join(f.dir, name) }

// soak runs a soak to the end of the room, or of its cycles.
func (f *fullDisk) soak(args ...string) (status int, errs string) {
	f.t.Helper()
	args = append([]string{"--log", f.at("log.db"), "soak", "relay-only", "--seed", "1", "--cycles", "8000", "--tell-every", "1",
		"--keep-first", "0", "--keep-last", "10", "--unit", "RB-017", "--yes"}, args...)
	status, _, errs = run(f.t, args...)
	f.told += strings.Count(errs, " done, 0 failed)\n")
	return status, errs
}

// fill has a short run in the log, little room left, and a soak that takes it.
func (f *fullDisk) fill(rng *rand.Rand) {
	f.t.Helper()
	if status, _, errs := run(f.t, "--log", f.at("log.db"), "soak", "relay-only", "--seed", "2", "--cycles", "60", "--unit", "RB-016"); status != exitPass {
		f.t.Fatalf("on an empty disk: exit status %d: %s", status, errs)
	}
	smalldisk.Fill(f.t, f.at("others"), (600<<10)+rng.Int64N(1<<19))
	if status, errs := f.soak("--go-on"); status != exitLog || !strings.Contains(errs, "no room left for the log") {
		f.t.Fatalf("exit status %d, want %d: %s", status, exitLog, errs)
	}
	if f.told < 20 {
		f.t.Fatalf("only %d cycles were reported done", f.told)
	}
}

// record reads what the log says of the soak.
func (f *fullDisk) record() *journal.RunRecord {
	f.t.Helper()
	db, err := journal.OpenRead(f.at("log.db"))
	if err != nil {
		f.t.Fatal(err)
	}
	defer db.Close()
	rec, err := db.Find("last")
	if err != nil {
		f.t.Fatal(err)
	}
	return rec
}

// restart starts the soak again and again; toTheLastByte: while others take what comes free.
func (f *fullDisk) restart(toTheLastByte bool) {
	f.t.Helper()
	for n := range restarts {
		if toTheLastByte {
			smalldisk.Fill(f.t, f.at("more"), 0)
		}
		if status, errs := f.soak("--go-on"); status != exitLog || !strings.Contains(errs, "no room left for the log") {
			f.t.Fatalf("start %d: exit status %d, want %d: %s", n+1, status, exitLog, errs)
		}
		if rec := f.record(); rec.Ended.IsZero() || rec.Cycles != f.told || !strings.Contains(rec.Reason, "no room left for the log") {
			f.t.Fatalf("start %d: of %d cycles reported done %d are in the log, and it ended at %v for %q", n+1, f.told, rec.Cycles, rec.Ended, rec.Reason)
		}
	}
}

// makeRoom prunes captures, goes on with the soak until the disk is full again, and removes all
// runs.
func (f *fullDisk) makeRoom(rng *rand.Rand) {
	f.t.Helper()
	prune := []string{"--log", f.at("log.db"), "runs", "prune", "--older-than", "0d", "--yes"}
	status, out, errs := run(f.t, prune...)
	if status != exitPass || !strings.Contains(errs, "Removed: ") || !strings.Contains(errs, " captures of ") {
		f.t.Fatalf("prune: exit status %d: %s\n%s", status, errs, out)
	}
	for _, name := range []string{"more", "others"} {
		if err := os.Remove(f.at(name)); err != nil && !os.IsNotExist(err) {
			f.t.Fatal(err)
		}
	}
	was := f.told
	smalldisk.Fill(f.t, f.at("others"), (1<<20)+rng.Int64N(1<<19))
	if status, errs := f.soak("--go-on"); status != exitLog || f.told <= was {
		f.t.Errorf("with room again: exit status %d, %d and %d cycles: %.2000s", status, was, f.told, errs)
	}
	if rec := f.record(); rec.Cycles != f.told {
		f.t.Errorf("of %d cycles reported done %d are in the log", f.told, rec.Cycles)
	}
	smalldisk.Fill(f.t, f.at("more"), 0)
	status, out, errs = run(f.t, append(prune, "--whole-runs")...)
	if status != exitPass || !strings.Contains(errs, fmt.Sprintf("Removed: 2 runs, %d cycles", f.told+60)) {
		f.t.Errorf("prune of all: exit status %d: %s\n%s", status, errs, out)
	}
	if status, out, errs := run(f.t, "--log", f.at("log.db"), "runs", "check"); status != exitPass {
		f.t.Errorf("check: exit status %d: %s\n%s", status, errs, out)
	}
}

// A disk that its kernel has made read-only after an error of its own ends a soak with 74 and
// says so. All cycles that were reported are in the log.
func TestSoak_DiskTurnsReadOnly(t *testing.T) {
	kind := smalldisk.Ext4
	kind.Options = "errors=remount-ro"
	dir := smalldisk.Mount(t, kind)
	trigger := triggerOf(t, dir)
	log := filepath.Join(dir, "log.db")
	stops := &stopAt{line: "cycle 40: ", stop: func() {
		if err := os.WriteFile(trigger, []byte("1"), 0); err != nil {
			t.Error(err)
		}
	}}
	status := bounded([]string{"--log", log, "soak", "relay-only", "--seed", "1", "--cycles", "8000", "--tell-every", "1", "--keep-first", "0"},
		streams{strings.NewReader(""), &strings.Builder{}, stops})
	errs := stops.text.String()
	if status != exitLog || !strings.Contains(errs, "its disk has become read-only") {
		t.Errorf("exit status %d, want %d: %.2000s", status, exitLog, errs[max(0, len(errs)-2000):])
	}
	if r := only(t, log); r.Complete || r.Cycles != strings.Count(errs, " done, 0 failed)\n") {
		t.Errorf("the log has %d cycles, complete %t", r.Cycles, r.Complete)
	}
}

// triggerOf is the file by which the file system of a folder can be told that it has an error.
func triggerOf(t *testing.T, dir string) string {
	t.Helper()
	out, err := exec.Command("findmnt", "-n", "-o", "SOURCE", dir).Output()
	name := filepath.Join("/sys/fs/ext4", filepath.Base(strings.TrimSpace(string(out))), "trigger_fs_error")
	if _, statErr := os.Stat(name); err != nil || statErr != nil {
		t.Skipf("LEFT OUT: the file system takes no planted errors: %v, %v", err, statErr)
	}
	return name
}
