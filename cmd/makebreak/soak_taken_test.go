package main

import (
	"path/filepath"
	"strings"
	"testing"

	"makebreak/sequences/journal"
)

// A soak that goes on in one program is refused to every other, and nothing in the log
// tells of those; once its program is killed, another goes on with it at once.
func TestSoak_Taken(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	goOn := []string{"soak", "relay-only", "--go-on", "--unit", "RB-017", "--seed", "1", "--cycles", "2000"} // ten minutes in real time
	p := start(t, log, append(goOn, "--real-time", "--metrics", "127.0.0.1:0")...)
	p.awaitCycle(t)
	others := map[string][]string{
		"another program is writing this run":                  {"soak", "--resume", "last"},
		`go on with the soak of unit "RB-017" by relay-only: `: goOn,
	}
	for want, args := range others {
		status, out, errs := run(t, append(args, "--log", log)...)
		if status != exitLog || out != "" || !strings.Contains(errs, want) {
			t.Errorf("%v: exit status %d, %q: %s", args, status, out, errs)
		}
	}
	if status, out, errs := run(t, "runs", "check", "--log", log); status != exitPass || !strings.HasSuffix(out, "\nThe log is sound.\n") || errs != "" {
		t.Errorf("check: exit status %d, %q: %s", status, out, errs)
	}
	if n := gaps(t, log); n != 0 {
		t.Errorf("the log tells of %d interruptions", n)
	}
	if err := p.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	p.wait(t)
	done := only(t, log).Cycles
	db, err := journal.Open(log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if rec, err := db.Lock("last"); err != nil || rec.Cycles != done {
		t.Errorf("once it is killed: %v", err)
	}
}

func gaps(t *testing.T, log string) int {
	t.Helper()
	db, err := journal.OpenRead(log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rec, err := db.Find("last")
	if err != nil {
		t.Fatal(err)
	}
	all, err := rec.Interruptions()
	if err != nil {
		t.Fatal(err)
	}
	return len(all)
}
