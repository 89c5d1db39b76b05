package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"makebreak/rig/signals"
	"makebreak/rig/task"
)

// crashVariable names the crash that the program in a test binary comes to when it gets
// SIGUSR1.
const crashVariable = "MAKEBREAK_TEST_CRASH"

// earlyVariable numbers a signal that the program in a test binary gets before main begins.
const earlyVariable = "MAKEBREAK_TEST_EARLY"

// panicByTask is the crash that is none: rig/task ends the program for it.
const panicByTask = "panic by task"

// crashes are the ways in which the Go runtime ends a program by itself.
var crashes = map[string]func(){
	"panic":          func() { panic("on purpose") },
	panicByTask:      func() { task.Go(func() { panic("on purpose") }) },
	"nil pointer":    func() { var p *int; *p = 1 },
	"unlocked mutex": func() { new(sync.Mutex).Unlock() },
	"two writers":    twoWriters,
	"no stack":       func() { debug.SetMaxStack(64 << 20); fmt.Fprint(io.Discard, deeper(0)) },
	"no memory":      func() { fmt.Fprint(io.Discard, make([]byte, math.MaxInt/2)[0]) },
	"no more memory": noMoreMemory,
}

// twoWriters writes into one map from many goroutines until the runtime notices.
func twoWriters() {
	m := map[int]int{}
	for range 8 {
		go func() {
			for i := 0; ; i++ {
				m[i%1000] = i
			}
		}()
	}
	select {}
}

func deeper(n int) int { return 1 + deeper(n+1) }

// noMoreMemory takes memory until the kernel gives no more.
func noMoreMemory() {
	most := syscall.Rlimit{Cur: 4 << 30, Max: 4 << 30}
	if err := syscall.Setrlimit(syscall.RLIMIT_AS, &most); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(exitPass)
	}
	var all [][]byte
	for {
		all = append(all, make([]byte, 256<<20))
	}
}

// mainOrCrash is the program. Where a test asks for it, a signal makes it crash on a
// goroutine of its own, while the program does its work.
func mainOrCrash() {
	if early := os.Getenv(earlyVariable); early != "" {
		n, _ := strconv.Atoi(early)
		_ = syscall.Kill(syscall.Getpid(), syscall.Signal(n))
		for len(signals.Requests()) == 0 { // the kernel may hand it to another thread
			time.Sleep(time.Millisecond)
		}
	}
	if crash := crashes[os.Getenv(crashVariable)]; crash != nil {
		c := make(chan os.Signal, 1)
		signal.Notify(c, syscall.SIGUSR1)
		go func() {
			<-c
			crash()
		}()
	}
	main()
}

// A crash of the Go runtime ends the program by a signal, never by a status that has a
// meaning. What was logged is safe, and no core file is written.
func TestCrash(t *testing.T) {
	for name := range crashes {
		if name == panicByTask {
			continue
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			end := ended(t, syscall.SIGUSR1, "env", crashVariable+"="+name)
			if !end.Signaled() || end.Signal() != syscall.SIGABRT {
				t.Errorf("ended with exit status %d, want the signal %v", end.ExitStatus(), syscall.SIGABRT)
			}
		})
	}
}

// Who aborts the program from outside, as systemd does where it hangs, is told where it was.
func TestCrash_Aborted(t *testing.T) {
	for _, s := range aborting {
		t.Run(s.String(), func(t *testing.T) {
			t.Parallel()
			if end := ended(t, s.(syscall.Signal), "env"); end.ExitStatus() != exitInternal {
				t.Errorf("ended with exit status %d, want %d", end.ExitStatus(), exitInternal)
			}
		})
	}
}

// A panic on any goroutine is the program's own fault.
func TestCrash_Goroutine(t *testing.T) {
	t.Parallel()
	if end := ended(t, syscall.SIGUSR1, "env", crashVariable+"="+panicByTask); end.ExitStatus() != exitInternal {
		t.Errorf("ended with exit status %d, want %d", end.ExitStatus(), exitInternal)
	}
}

// The next run says, once, how the last program on its log ended, and where that stands.
func TestCrash_Told(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	p := endless(t, log)
	id := only(t, log).Run
	if err := p.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	p.wait(t)
	reported(t, log, "killed by a signal that it could not see", id)
	for _, told := range []bool{true, false} {
		_, _, errs := run(t, "--log", log, "run", "relay-only", "--cycles", "1", "--seed", "1")
		if got := strings.Contains(errs, id+", killed") && strings.Contains(errs, log+"-crash-1"); got != told {
			t.Errorf("told %v, want %v: %s", got, told, errs)
		}
	}
	if status, _, errs := run(t, "--log", log, "runs", "-o", log+"-crash-1"); status != exitUsage {
		t.Errorf("the report was replaced: %s", errs)
	}
}

// A run that ends as it should, or is interrupted, leaves no report.
func TestCrash_NoReport(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	p := endless(t, log)
	_ = p.Process.Signal(syscall.SIGTERM)
	p.wait(t)
	p = start(t, log, "run", "relay-only", "--cycles", "1")
	p.wait(t)
	if _, err := os.Stat(log + "-crash"); err == nil {
		t.Error("a report of a program that did not crash")
	}
}

// reported waits for the guard's report and looks for words in it.
func reported(t *testing.T, log string, words ...string) {
	t.Helper()
	var text []byte
	for end := time.Now().Add(processPatience); len(text) == 0; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("there is no report")
		}
		text, _ = os.ReadFile(log + "-crash") // it is there whole or not at all
	}
	for _, w := range words {
		if !strings.Contains(string(text), w) {
			t.Errorf("the report lacks %q:\n%.2000s", w, text)
		}
	}
	if strings.Contains(string(text), crashVariable) {
		t.Errorf("the environment is in the report:\n%s", text)
	}
}

// ended starts an endless run by another program, sends it the signal that makes it crash,
// and looks at what it leaves behind.
func ended(t *testing.T, s syscall.Signal, by ...string) syscall.WaitStatus {
	t.Helper()
	log := filepath.Join(t.TempDir(), "log.db")
	p := startAs(t, by, log, endlessArgs...)
	p.awaitCycle(t)
	limits, err := os.ReadFile(fmt.Sprintf("/proc/%d/limits", p.Process.Pid))
	if err == nil && !regexp.MustCompile(`Max core file size +0 `).Match(limits) {
		t.Errorf("a core file may be written:\n%s", limits)
	}
	if err := p.Process.Signal(s); err != nil {
		t.Fatal(err)
	}
	p.wait(t)
	if !strings.Contains(p.errors(), "goroutine") {
		t.Errorf("no word of what happened:\n%.2000s", p.errors())
	}
	reported(t, log, "goroutine ")
	if r := only(t, log); r.Cycles < 1 || r.Complete {
		t.Errorf("the log has %d cycles, complete %t", r.Cycles, r.Complete)
	}
	return p.ProcessState.Sys().(syscall.WaitStatus)
}

// A signal that comes before the program is ready to look at it is no less a request to end.
func TestSignal_BeforeMain(t *testing.T) {
	t.Parallel()
	for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGQUIT, syscall.SIGHUP} {
		p := startAs(t, []string{"env", fmt.Sprintf("%s=%d", earlyVariable, s)}, filepath.Join(t.TempDir(), "log.db"), "run", "armed-high")
		if status := p.wait(t); status != exitInterrupted || !strings.Contains(p.errors(), "interrupted") {
			t.Errorf("%v: exit status %d, want %d: %s", s, status, exitInterrupted, p.errors())
		}
	}
}

// Two signals together are one request, whichever they are: the run is marked. The status is
// that of an interruption.
func TestSignal_Twice(t *testing.T) {
	t.Parallel()
	for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGQUIT} {
		p := endless(t, filepath.Join(t.TempDir(), "log.db"))
		for range 2 {
			_ = p.Process.Signal(s) // it may have ended after the first
		}
		if status := p.wait(t); status != exitInterrupted {
			t.Errorf("%v: exit status %d, want %d", s, status, exitInterrupted)
		}
		if !strings.Contains(p.errors(), "marked as incomplete") {
			t.Errorf("%v: the run is not marked: %q", s, p.errors())
		}
	}
}

// A panic of the command itself is told with where it happened.
func TestCrash_Command(t *testing.T) {
	defer func(clock func() time.Time) { wallClock = clock }(wallClock)
	wallClock = func() time.Time { panic("on purpose") }
	var errs strings.Builder
	args := []string{"--log", filepath.Join(t.TempDir(), "log.db"), "run", "relay-only", "--cycles", "1"}
	status := execute(t.Context(), args, streams{strings.NewReader(""), io.Discard, &errs})
	if status != exitInternal || !strings.Contains(errs.String(), "on purpose") || !strings.Contains(errs.String(), "goroutine") {
		t.Errorf("exit status %d, want %d: %s", status, exitInternal, errs.String())
	}
}
