package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"makebreak/sequences/journal"
)

// page is what a program serves.
type page struct {
	*process
	url string
}

var pageAt = regexp.MustCompile(`(?m)^Page at (\S+)$`)

// serving waits until the process serves its page.
func serving(t testing.TB, p *process) *page {
	t.Helper()
	for end := time.Now().Add(processPatience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if found := pageAt.FindStringSubmatch(p.errors()); found != nil {
			return &page{p, found[1]}
		}
	}
	t.Fatalf("no page is served: %s", p.errors())
	return nil
}

// get reads the first page.
func (p *page) get(t *testing.T) string {
	t.Helper()
	now, _, _ := strings.Cut(p.read(t, p.url), `<section class="log"`)
	return now
}

// until reads the page until it is as it must be.
func (p *page) until(t *testing.T, what string, is func(now string) bool) string {
	t.Helper()
	now := ""
	for end := time.Now().Add(processPatience); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		if now = p.get(t); is(now) {
			return now
		}
	}
	t.Fatalf("%s: the page does not come to it: %s", what, now)
	return ""
}

// goesOn is in the page for each run that a program tells of now.
const goesOn = `class="goes-on"`

// The page shows the runs of other programs on its log, all that there are. One that was
// killed is not shown as running, and nothing of it is in the way of the next one.
func TestServe_OtherPrograms(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	one := endless(t, log, "--unit", "ONE-1")
	served := serving(t, start(t, log, "serve", "--listen", "127.0.0.1:0"))
	served.until(t, "one run", func(now string) bool {
		return strings.Count(now, goesOn) == 1 && strings.Contains(now, "Unit ONE-1") && strings.Contains(now, "K1_NO")
	})
	two := endless(t, log, "--unit", "TWO-2")
	now := served.until(t, "two runs", func(now string) bool { return strings.Count(now, goesOn) == 2 && strings.Count(now, "K1_NO") >= 2 })
	if strings.Index(now, "ONE-1") > strings.Index(now, "TWO-2") {
		t.Error("the run that began first does not stand first")
	}
	if err := one.Process.Kill(); err != nil { // SIGKILL
		t.Fatal(err)
	}
	one.wait(t)
	served.until(t, "the other run alone", func(now string) bool { return strings.Count(now, goesOn) == 1 && !strings.Contains(now, "ONE-1") })
	if err := two.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	two.wait(t)
	served.until(t, "no run", func(now string) bool {
		return !strings.Contains(now, goesOn) && strings.Contains(now, "Unit TWO-2") && strings.Contains(now, "? incomplete") || strings.Contains(now, "ended without a word")
	})
	if n := len(journal.Sockets(log)); n != 2 {
		t.Errorf("%d sockets are left over, want those of the two that were killed", n)
	}
	if status, _, errs := run(t, "--log", log, "run", "relay-only", "--cycles", "1", "--seed", "1", "--unit", "THREE-3"); status != exitPass {
		t.Errorf("the next run: exit status %d: %s", status, errs)
	}
	if left := journal.Sockets(log); len(left) > 0 {
		t.Errorf("the next run has left %q", left)
	}
	served.until(t, "the next run's end", func(now string) bool {
		return strings.Contains(now, "Unit THREE-3") && strings.Contains(now, "Record of this run")
	})
	if err := served.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	served.wait(t)
}

// A program of which nothing is heard, since it stands still, is shown from the log and
// with that doubt.
func TestServe_Silent(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	one := endless(t, log, "--unit", "ONE-1")
	if err := os.Remove(journal.Sockets(log)[0]); err != nil {
		t.Fatal(err)
	}
	served := serving(t, start(t, log, "serve", "--listen", "127.0.0.1:0"))
	now := served.until(t, "the run, from the log", func(now string) bool { return strings.Contains(now, "does not answer") })
	if !strings.Contains(now, "Unit ONE-1") || strings.Contains(now, "K1_NO") {
		t.Errorf("it is not shown from the log: %s", now)
	}
	if err := one.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if status := one.wait(t); status != exitInterrupted {
		t.Errorf("exit status %d: %s", status, one.errors())
	}
	served.until(t, "its end", func(now string) bool {
		return strings.Contains(now, "interrupted") && !strings.Contains(now, "does not answer")
	})
}

// A run's own page shows it and its log, and ends with it. The log holds the same as where
// nobody looks.
func TestRun_Page(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	p := serving(t, endless(t, log, "--unit", "ONE-1", "--page", "127.0.0.1:0"))
	p.until(t, "the run", func(now string) bool { return strings.Count(now, goesOn) == 1 && strings.Contains(now, "K1_NO") })
	if err := p.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if status := p.wait(t); status != exitInterrupted {
		t.Errorf("exit status %d: %s", status, p.errors())
	}
	if _, err := scraper.Get(p.url); err == nil {
		t.Error("the page is served after the run's end")
	}
	for address, want := range map[string]int{"0.0.0.0:0": exitUsage, "127.0.0.1:99999": exitUsage, "nowhere": exitUsage} {
		status, _, errs := run(t, "--log", log, "run", "relay-only", "--cycles", "1", "--page", address)
		if status != want {
			t.Errorf("--page %s: exit status %d, want %d: %s", address, status, want, errs)
		}
	}
}

// A page of several units has all of them in lines, and each one's own behind its link. Programs
// that serve the log show the same, and the newest runs after their end.
func TestRun_PageUnits(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	rig := filepath.Join("..", "..", "testdata", "rigs", "two-panels.yaml")
	p := serving(t, start(t, log, "run", "armed-high", "--rig", rig, "--unit", "left=L-1", "--unit", "right=R-1", "--cycles", "100000", "--seed", "1",
		"--fault", "welded@right/K1", "--real-time", "--page", "127.0.0.1:0"))
	now := p.until(t, "two units", func(now string) bool {
		return strings.Count(now, goesOn) == 1 && strings.Contains(now, "2 units at the same time") && strings.Contains(now, "watching")
	})
	links := unitLink.FindAllStringSubmatch(now, -1)
	if len(links) != 2 || links[0][2] != "left" || links[1][2] != "right" {
		t.Fatalf("links %q in %s", links, now)
	}
	for i, want := range []string{"left: unit L-1", "right: unit R-1"} {
		own, _, _ := strings.Cut(p.read(t, strings.TrimSuffix(p.url, "/")+links[i][1]), `<section class="log"`)
		if !strings.Contains(own, want) || strings.Count(own, "K1_NO") == 0 || strings.Contains(own, []string{"R-1", "L-1"}[i]) {
			t.Errorf("the page of one unit: %s", own)
		}
	}
	if err := p.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if status := p.wait(t); status != exitInterrupted {
		t.Errorf("exit status %d: %s", status, p.errors())
	}
	served := serving(t, start(t, log, "serve", "--listen", "127.0.0.1:0"))
	served.until(t, "both after their end", func(now string) bool {
		return strings.Contains(now, "All have ended") && strings.Contains(now, "L-1") && strings.Contains(now, "R-1")
	})
}

var unitLink = regexp.MustCompile(`<a href="(/\?now=[0-9a-f]+)">(\w+)</a>`)
