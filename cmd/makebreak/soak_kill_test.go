package main

import (
	"bufio"
	"context"
	"database/sql"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"makebreak/sequences/journal"
	"makebreak/testdata/few"
)

// soakKills is how often the soak is killed; the race detector makes a start so slow
// that it sees fewer.
func soakKills() int {
	switch {
	case testing.Short():
		return 20
	case few.Race:
		return 40
	}
	return 204
}

var cycleTold = regexp.MustCompile(`^cycle (\d+): `)

// A soak that is killed at any instant, again and again, has every cycle that it
// reported done in its log, once; it goes on with the next one each time, counts
// the interruptions, and its log stays sound.
func TestSoak_Killed(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	rng := rand.New(rand.NewPCG(1, 2))
	reported, sittings, mostAtOnce, kills := map[int]bool{}, 0, 0, soakKills()
	usual := 100 * time.Millisecond // from the start to the first cycle
	for i := range kills {
		told := killed(t, log, i, rng, &usual)
		for _, n := range told {
			if reported[n] {
				t.Fatalf("kill %d: cycle %d was reported twice", i, n)
			}
			reported[n] = true
		}
		if len(told) > 0 {
			sittings++
		}
		mostAtOnce = max(mostAtOnce, len(told))
		if i%50 == 49 {
			checkSoak(t, log, reported, i+1)
		}
	}
	if sittings < kills/4 {
		t.Errorf("only %d of %d sittings came to a cycle", sittings, kills)
	}
	checkSoak(t, log, reported, kills)
	for _, as := range []string{"text", "csv", "json"} {
		if status, out, errs := run(t, "--log", log, "report", "last", "--as", as); status != exitPass || !strings.Contains(out, "operate") {
			t.Errorf("report --as %s: exit status %d: %s", as, status, errs)
		}
	}
	t.Logf("%d kills, %d sittings with cycles, %d cycles reported, at most %d in a sitting", kills, sittings, len(reported), mostAtOnce)
}

// killed lets a soak go on until it is killed, some at any instant from its start
// and some soon after its first cycle, and returns which cycles it reported. usual is
// the time that a start takes, renewed by each one that comes to a cycle.
func killed(t *testing.T, log string, i int, rng *rand.Rand, usual *time.Duration) (told []int) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p := exec.Command(self)
	p.Args = []string{"makebreak", "soak", "relay-only", "--go-on", "--log", log, "--unit", "RB-017", "--seed", "1",
		"--cycles", "1000000", "--keep-first", "3", "--keep-last", "5", "--keep-every", "7", "--tell-every", "1"}
	p.Env = append(os.Environ(), "GORACE=atexit_sleep_ms=0")
	errs, err := p.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	kill := func() { _ = p.Process.Kill() } // SIGKILL
	late := time.AfterFunc(processPatience, kill)
	defer late.Stop()
	if i%2 == 0 {
		time.AfterFunc(time.Duration(rng.Int64N(int64(*usual*4/3))), kill)
	}
	soon := time.Duration(rng.IntN(15_000)) * time.Microsecond
	var text strings.Builder
	for s := bufio.NewScanner(errs); s.Scan(); {
		text.WriteString(s.Text() + "\n")
		m := cycleTold.FindStringSubmatch(s.Text())
		if m == nil {
			continue
		}
		n, err := strconv.Atoi(m[1])
		if err != nil {
			t.Fatal(err)
		}
		if told = append(told, n); len(told) == 1 && i%2 == 1 {
			*usual = time.Since(began)
			time.AfterFunc(soon, kill)
		}
	}
	if _ = p.Wait(); p.ProcessState.ExitCode() != -1 {
		t.Fatalf("kill %d: it ended by itself, exit status %d:\n%s", i, p.ProcessState.ExitCode(), text.String())
	}
	return told
}

// sizeOfNewLog is how many bytes a log has without any run in it.
func sizeOfNewLog(t *testing.T) int {
	t.Helper()
	path := filepath.Join(t.TempDir(), "log.db")
	db, err := journal.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return int(info.Size())
}

// A soak whose log was damaged when it was cut off adds nothing to it.
func TestSoak_CutAndDamaged(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	const page = 4096
	tables := sizeOfNewLog(t) // a log that can be opened has its tables whole
	var file []byte
	for rng, usual := rand.New(rand.NewPCG(3, 4)), 100*time.Millisecond; len(file) < 2*tables; {
		killed(t, log, 1, rng, &usual)
		db, err := journal.Open(log)
		if err != nil {
			t.Fatal(err)
		}
		if err := db.CheckPages(t.Context()); err != nil {
			t.Errorf("before the damage: %v", err)
		}
		if err := db.Close(); err != nil { // the write-ahead file goes into the log
			t.Fatal(err)
		}
		if file, err = os.ReadFile(log); err != nil {
			t.Fatal(err)
		}
	}
	for at := tables; at < len(file); at += page {
		copy(file[at:], strings.Repeat("Z", 64))
	}
	if err := os.WriteFile(log, file, 0o600); err != nil {
		t.Fatal(err)
	}
	status, out, errs := run(t, "--log", log, "soak", "--resume", "last")
	if status != exitLog || out != "" || !strings.Contains(errs, "the log is damaged") || !strings.Contains(errs, "does not go on in it; keep the file") {
		t.Errorf("exit status %d, %q: %s", status, out, errs)
	}
	checked, found, advice := run(t, "--log", log, "runs", "check")
	if checked != exitInput || !strings.Contains(found, "\nThe log is damaged.\n") || !strings.Contains(advice, "keep the file as it is: copy it, with log.db-wal where there is one") {
		t.Errorf("check: exit status %d, %q: %s", checked, found, advice)
	}
}

// checkSoak checks that the log is sound and holds each reported cycle with its figures.
func checkSoak(t *testing.T, log string, reported map[int]bool, kills int) {
	t.Helper()
	db, err := journal.Open(log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.Check(); err != nil {
		t.Fatal(err)
	}
	runs, err := db.Runs()
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs in the log: %v", len(runs), err)
	}
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	figures := map[int]int{}
	for m, err := range rec.Measurements() {
		if err != nil {
			t.Fatal(err)
		}
		figures[m.Cycle]++
	}
	stored := 0
	for c, err := range rec.CycleInfos() {
		if err != nil {
			t.Fatal(err)
		}
		if stored++; c.N != stored || !c.Complete || figures[c.N] < 15 {
			t.Fatalf("cycle %d comes as number %d with %d figures, complete %t", c.N, stored, figures[c.N], c.Complete)
		}
	}
	for n := range reported {
		if n > stored {
			t.Errorf("cycle %d was reported done, and the log ends with cycle %d", n, stored)
		}
	}
	// A cycle may be stored and its report be cut off, at most a queue of them each time.
	if lost := stored - len(reported); lost < 0 || lost > kills*16 {
		t.Errorf("%d cycles stored, %d reported", stored, len(reported))
	}
	checkKept(t, rec, stored)
	gaps, err := rec.Interruptions()
	if err != nil || len(gaps) == 0 {
		t.Errorf("%d interruptions are known: %v", len(gaps), err)
	}
}

// checkKept checks which captures are kept. A machine under load lets a sitting go on for
// more cycles than the range of the figures is learned in; then some are kept as drifted.
func checkKept(t *testing.T, rec *journal.RunRecord, stored int) {
	t.Helper()
	counts, _, err := rec.CaptureCounts()
	if err != nil {
		t.Fatal(err)
	}
	first, last, every, drifted := counts[journal.KeptFirst], counts[journal.KeptLast], counts[journal.KeptEvery], counts[journal.KeptDrifted]
	if first != min(3, stored) || every != stored/7 || last > 5 || drifted > stored/100 {
		t.Errorf("of %d cycles are kept %d first, %d last, %d every seventh, %d drifted", stored, first, last, every, drifted)
	}
	if counts[journal.KeptAll]+counts[journal.KeptBad] > 0 {
		t.Errorf("of cycles that all passed some are kept for another reason: %v", counts)
	}
}

// What a soak says of its figures is the same whether it was interrupted or not and
// whether its sums were stored or made from the figures.
func TestSoak_SumsSame(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	stops := &stopAt{line: "cycle 300: ", stop: cancel}
	args := []string{"soak", "relay-only", "--log", log, "--seed", "1", "--cycles", "700", "--tell-every", "1"}
	if status := execute(ctx, args, streams{strings.NewReader(""), &strings.Builder{}, stops}); status != exitInterrupted {
		t.Fatalf("exit status %d:\n%s", status, stops.text.String())
	}
	status, out, errs := run(t, "--log", log, "soak", "--resume", "last")
	if status != exitPass {
		t.Fatalf("exit status %d: %s", status, errs)
	}
	db, err := journal.Open(log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	if at, state, err := rec.Checkpoint(); err != nil || at < 700 || len(state) == 0 {
		t.Fatalf("the sums are stored up to cycle %d, %d bytes: %v", at, len(state), err)
	}
	if rec.Cycles != 700 || !rec.Complete {
		t.Errorf("%d cycles, complete %t", rec.Cycles, rec.Complete)
	}
	again, err := db.Resume(rec.ID, time.Now(), "")
	if err == nil {
		t.Fatalf("a complete run %s can be resumed", again.ID())
	}
	raw, err := sql.Open("sqlite", log)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := raw.Exec("DELETE FROM checkpoint"); err != nil {
		t.Fatal(err)
	}
	if err := raw.Close(); err != nil {
		t.Fatal(err)
	}
	if _, made, errs := run(t, "--log", log, "report", "last"); made != out {
		t.Errorf("from the figures it is\n%s\n%sand from the sums\n%s", made, errs, out)
	}
	if !strings.Contains(out, "interrupted once; no cycle that was reported done is missing") {
		t.Errorf("the record does not tell of the interruption:\n%s", out)
	}
}

// stopAt calls stop when a line begins as given.
type stopAt struct {
	text strings.Builder
	line string
	stop func()
}

func (s *stopAt) Write(p []byte) (int, error) {
	if strings.HasPrefix(string(p), s.line) {
		s.stop()
	}
	return s.text.Write(p)
}
