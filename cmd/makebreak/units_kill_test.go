package main

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"

	"makebreak/sequences/journal"
)

var unitCycleTold = regexp.MustCompile(`^(R\d+): cycle (\d+): `)

// Soaks of several units that are killed at any instant, again and again, have in the log what each
// reported done, once, and all of them the same cycles.
func TestSoakUnits_Killed(t *testing.T) {
	t.Parallel()
	kills := 10
	if testing.Short() {
		kills = 3
	}
	log := filepath.Join(t.TempDir(), "log.db")
	rig := filepath.Join("..", "..", "testdata", "rigs", "sixteen-relays.yaml")
	begin := []string{"relay-only", "--only", "R1,R6,R11", "--unit", "R1=a", "--unit", "R6=b", "--unit", "R11=c", "--seed", "1", "--cycles", "1000000"}
	reported := map[string]map[int]bool{"R1": {}, "R6": {}, "R11": {}}
	for i := range kills {
		if i > 0 {
			begin = []string{"--resume", "last"}
		}
		killUnits(t, append(begin, "--rig", rig, "--log", log, "--tell-every", "1", "--keep-first", "1", "--keep-last", "2"), time.Duration(i*7)*time.Millisecond, reported)
		db, err := journal.Open(log)
		if err != nil {
			t.Fatal(err)
		}
		runs, err := db.Runs()
		if err != nil || len(runs) != 3 {
			t.Fatalf("kill %d: %d runs, %v", i, len(runs), err)
		}
		for _, r := range runs {
			unit := journal.Noted(r.Fields, journal.PositionField)
			if r.Cycles != runs[0].Cycles || r.Cycles < len(reported[unit]) || r.Complete {
				t.Errorf("kill %d: unit %s has %d cycles, %s %d, and %d were reported", i, unit, r.Cycles, runs[0].Run, runs[0].Cycles, len(reported[unit]))
			}
		}
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}
	if status, out, errs := run(t, "--log", log, "runs", "check"); status != exitPass {
		t.Errorf("exit status %d: %s%s", status, out, errs)
	}
}

// killUnits lets soaks go on until they are killed, a while after the first cycle.
func killUnits(t *testing.T, words []string, after time.Duration, reported map[string]map[int]bool) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p := exec.Command(self)
	p.Args = append([]string{"makebreak", "soak"}, words...)
	p.Env = append(os.Environ(), "GORACE=atexit_sleep_ms=0")
	errs, err := p.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	kill := func() { _ = p.Process.Kill() } // SIGKILL
	late := time.AfterFunc(processPatience, kill)
	defer late.Stop()
	told := 0
	for s := bufio.NewScanner(errs); s.Scan(); {
		m := unitCycleTold.FindStringSubmatch(s.Text())
		if m == nil {
			continue
		}
		n, err := strconv.Atoi(m[2])
		if err != nil {
			t.Fatal(err)
		}
		if reported[m[1]][n] {
			t.Errorf("unit %s: cycle %d was reported twice", m[1], n)
		}
		reported[m[1]][n] = true
		if told++; told == 1 {
			time.AfterFunc(after, kill)
		}
	}
	if _ = p.Wait(); told == 0 || p.ProcessState.ExitCode() != -1 {
		t.Fatalf("%q: %d cycles told, exit status %d", words, told, p.ProcessState.ExitCode())
	}
}
