package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A run's page ends with the run also where that is killed, and the run goes on where its page
// is: they are two processes.
func TestRun_PageProcess(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	p := serving(t, endless(t, log, "--unit", "ONE-1", "--page", "127.0.0.1:0"))
	p.until(t, "the run", func(now string) bool { return strings.Contains(now, "K1_NO") })
	if err := p.Process.Kill(); err != nil { // SIGKILL
		t.Fatal(err)
	}
	p.wait(t)
	p.untilGone(t)
	p = serving(t, endless(t, log, "--unit", "TWO-2", "--page", "127.0.0.1:0"))
	p.until(t, "the next run", func(now string) bool { return strings.Contains(now, "Unit TWO-2") })
	if err := syscall.Kill(pageOfRun(t, p.Process.Pid), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	p.untilGone(t)
	if err := p.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if status := p.wait(t); status != exitInterrupted {
		t.Errorf("exit status %d: %s", status, p.errors())
	}
	if !strings.Contains(p.errors(), "The page has ended before the run") {
		t.Errorf("nothing is said of the page that has gone: %s", p.errors())
	}
}

// untilGone waits until the page is not served any more.
func (p *page) untilGone(t *testing.T) {
	t.Helper()
	for end := time.Now().Add(processPatience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		r, err := scraper.Get(p.url)
		if err != nil {
			return
		}
		r.Body.Close()
	}
	t.Error("the page is still served")
}

// pageOfRun is the process that serves a run's page.
func pageOfRun(t *testing.T, run int) (pid int) {
	t.Helper()
	lists, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/children", run))
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range lists {
		b, err := os.ReadFile(l)
		if err != nil {
			continue // the thread has ended
		}
		for _, child := range strings.Fields(string(b)) {
			name, err := os.ReadFile("/proc/" + child + "/cmdline")
			if err != nil || !strings.Contains(string(name), pageCalled) {
				continue
			}
			if pid, err = strconv.Atoi(child); err != nil {
				t.Fatal(err)
			}
			return pid
		}
	}
	t.Fatal("no process serves the page")
	return 0
}
