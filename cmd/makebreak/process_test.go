package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"makebreak/sequences/journal"
	"makebreak/testdata/tool"
)

// process is the program running beside the test.
type process struct {
	*exec.Cmd
	out bytes.Buffer
	// metrics is where it serves them; empty: it does not.
	metrics string

	mu  sync.Mutex
	err bytes.Buffer
	end chan struct{} // closed at the end of its standard error
}

// processPatience is how long a process may take for what it does in no time, on a
// machine that does much else.
const processPatience = 3 * time.Minute

// start starts the program with its arguments and a log in a folder of its own.
func start(t testing.TB, log string, args ...string) *process {
	t.Helper()
	return startAs(t, nil, log, args...)
}

// startAs starts the program by another one, which must become it.
func startAs(t testing.TB, by []string, log string, args ...string) *process {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	// Where the tests run under nohup, the program would too.
	signal.Notify(make(chan os.Signal, 1), syscall.SIGHUP)
	p := &process{end: make(chan struct{})}
	p.Cmd = exec.Command(self)
	p.Args = append([]string{"makebreak", "--log", log}, args...)
	if len(by) > 0 {
		p.Cmd = exec.Command(by[0], slices.Concat(by[1:], []string{asProgram(t, self), "--log", log}, args)...)
	}
	p.Env = append(os.Environ(), "GORACE=atexit_sleep_ms=0")
	p.Stdout = &p.out
	stderr, err := p.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = p.Process.Kill() }) // no harm where it has ended
	address := make(chan string, 1)
	go p.listen(stderr, address)
	for _, a := range args {
		if a == "--metrics" {
			p.awaitAddress(t, address)
		}
	}
	return p
}

func (p *process) listen(stderr io.Reader, address chan<- string) {
	defer close(p.end)
	for s := bufio.NewScanner(stderr); s.Scan(); {
		if url, ok := strings.CutPrefix(s.Text(), "Metrics at "); ok {
			address <- url
		}
		p.mu.Lock()
		fmt.Fprintln(&p.err, s.Text())
		p.mu.Unlock()
	}
}

func (p *process) awaitAddress(t testing.TB, address <-chan string) {
	t.Helper()
	select {
	case p.metrics = <-address:
	case <-p.end:
		t.Fatalf("it has ended: %s", p.errors())
	case <-time.After(processPatience):
		t.Fatal("no metrics are served")
	}
}

func (p *process) errors() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.err.String()
}

// wait waits for the end and returns the exit status; -1: killed by a signal.
func (p *process) wait(t *testing.T) int {
	t.Helper()
	late := time.AfterFunc(processPatience, func() { _ = p.Process.Kill() })
	defer late.Stop()
	<-p.end
	_ = p.Wait() // its status says it all
	return p.ProcessState.ExitCode()
}

// scraper asks for what is served, and does not wait for ever for a program that hangs.
var scraper = http.Client{Timeout: processPatience}

// scrape reads the metrics.
func (p *process) scrape(t testing.TB) string {
	t.Helper()
	return p.read(t, p.metrics)
}

// read reads what the process serves at an address.
func (p *process) read(t testing.TB, url string) string {
	t.Helper()
	r, err := scraper.Get(url)
	if err != nil {
		t.Fatalf("%v; standard error: %s", err, p.errors())
	}
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		t.Fatalf("%s: %v", r.Status, err)
	}
	return string(b)
}

var cyclesDone = regexp.MustCompile(`(?m)^makebreak_cycles_total\{verdict="pass"\} [1-9]`)

// awaitCycle waits until the process has stored a cycle.
func (p *process) awaitCycle(t *testing.T) string {
	t.Helper()
	for end := time.Now().Add(processPatience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if text := p.scrape(t); cyclesDone.MatchString(text) {
			return text
		}
	}
	t.Fatal("no cycle is done")
	return ""
}

// asProgram gives the test binary the program's name.
func asProgram(t testing.TB, self string) string {
	t.Helper()
	link := filepath.Join(t.TempDir(), "makebreak")
	if err := os.Symlink(self, link); err != nil {
		t.Fatal(err)
	}
	return link
}

var endlessArgs = []string{"run", "relay-only", "--real-time", "--seed", "1", "--cycles", "100000", "--metrics", "127.0.0.1:0"}

// endless starts a run in real time that no test waits out, and waits for its
// first cycle.
func endless(t *testing.T, log string, args ...string) *process {
	t.Helper()
	p := start(t, log, slices.Concat(endlessArgs, args)...)
	p.awaitCycle(t)
	return p
}

// runPatience is how long a command may take in this process: one that should have ended
// by itself is interrupted then, and its test fails by its name.
const runPatience = 5 * time.Minute

// run runs a command of the program in this process.
func run(t *testing.T, args ...string) (status int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	status = bounded(args, streams{strings.NewReader(""), &o, &e})
	return status, o.String(), e.String()
}

// bounded is execute for no longer than runPatience.
func bounded(args []string, s streams) (status int) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	late := time.AfterFunc(runPatience, cancel)
	defer late.Stop()
	return execute(ctx, args, s)
}

// only returns the one run in a log, which must be sound.
func only(t *testing.T, log string) journal.RunSummary {
	t.Helper()
	db, err := journal.OpenRead(log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.Check(); err != nil {
		t.Error(err)
	}
	runs, err := db.Runs()
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs in the log: %v", len(runs), err)
	}
	return runs[0]
}

// An interruption ends a run with 130; its results are written, and what was
// captured is kept and marked. A log that is being written can be read.
func TestSignal_Run(t *testing.T) {
	for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT} {
		t.Run(s.String(), func(t *testing.T) {
			t.Parallel()
			log := filepath.Join(t.TempDir(), "log.db")
			results := filepath.Join(t.TempDir(), "results.csv")
			p := endless(t, log, "--as", "csv", "-o", results)
			if status, out, errs := run(t, "--log", log, "runs"); status != exitPass || !strings.Contains(out, "  incomplete\n") || !strings.Contains(out, "not complete") {
				t.Errorf("runs while it runs: exit status %d\n%s%s", status, out, errs)
			}
			if err := p.Process.Signal(s); err != nil {
				t.Fatal(err)
			}
			if status := p.wait(t); status != exitInterrupted {
				t.Errorf("exit status %d, want %d", status, exitInterrupted)
			}
			r := only(t, log)
			if want := "makebreak: interrupted; run " + r.Run + " is in the log, marked as incomplete\n"; !strings.Contains(p.errors(), want) {
				t.Errorf("standard error %q lacks %q", p.errors(), want)
			}
			if r.Complete || r.Cycles < 1 {
				t.Errorf("the log has %d cycles, complete %t", r.Cycles, r.Complete)
			}
			written, err := os.ReadFile(results)
			if err != nil {
				t.Fatal(err)
			}
			if _, again, _ := run(t, "--log", log, "report", "last", "--as", "csv"); again != string(written) {
				t.Error("the results written are not those of the log")
			}
			if _, text, _ := run(t, "--log", log, "report", "last"); !strings.Contains(text, "incomplete: interrupted") {
				t.Errorf("the record does not say that it is incomplete:\n%s", text)
			}
		})
	}
}

// A soak whose readers have ended goes on to its end, and its status is its verdict's.
func TestPipeClosed(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), processPatience)
	defer cancel()
	p := exec.CommandContext(ctx, self)
	p.Args = []string{"makebreak", "--log", log, "soak", "relay-only", "--seed", "1", "--cycles", "50", "--tell-every", "1"}
	p.Stdout, p.Stderr = w, w
	_ = p.Run() // its status says it all
	if status := p.ProcessState.ExitCode(); status != exitPass {
		t.Errorf("exit status %d, want %d: the reader has seen enough", status, exitPass)
	}
	if r := only(t, log); !r.Complete || r.Cycles != 50 {
		t.Errorf("the log has %d cycles, complete %t", r.Cycles, r.Complete)
	}
}

// A run started under nohup outlives the terminal that it was started from.
func TestSignal_Nohup(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	p := startAs(t, []string{"nohup"}, log, endlessArgs...)
	p.awaitCycle(t)
	if err := p.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	before := only(t, log).Cycles
	for end := time.Now().Add(processPatience); only(t, log).Cycles < before+3; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it has stopped: %s", p.errors())
		}
	}
	if err := p.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if status := p.wait(t); status != exitInterrupted {
		t.Errorf("exit status %d, want %d", status, exitInterrupted)
	}
}

// A command that waits for its input ends too.
func TestSignal_Waiting(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{"analyze", "-"}, waitingForYes(t)} {
		t.Run(args[0], func(t *testing.T) {
			t.Parallel()
			log := filepath.Join(t.TempDir(), "log.db")
			in, out, err := os.Pipe()
			if err != nil {
				t.Fatal(err)
			}
			defer in.Close()
			defer out.Close()
			ctx, cancel := context.WithCancel(context.Background())
			ended := make(chan int)
			var errs bytes.Buffer
			go func() { ended <- execute(ctx, append(args, "--log", log), streams{in, io.Discard, &errs}) }()
			time.AfterFunc(100*time.Millisecond, cancel)
			select {
			case status := <-ended:
				if status != exitInterrupted || !strings.Contains(errs.String(), "makebreak: interrupted") {
					t.Errorf("exit status %d, standard error %q", status, errs.String())
				}
			case <-time.After(processPatience):
				t.Fatal("it does not end")
			}
		})
	}
}

// waitingForYes is a command that shows the cautions of a real rig and waits.
func waitingForYes(t *testing.T) []string {
	t.Helper()
	dir := t.TempDir()
	sequence := filepath.Join(dir, "drive.yaml")
	text := "name: drive\ncycles: 1\nsteps:\n  - {event: arm-away, hold: 1 s}\noutputs:\n  OUT3: {expect: {arm-away: high}}\n"
	if err := os.WriteFile(sequence, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return []string{"run", sequence, "--rig", filepath.Join("..", "..", "testdata", "rigs", "full.yaml")}
}

// A program that is killed has lost no cycle that it counted; its log is sound,
// and runs and report go on as before.
func TestKilled(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	p := endless(t, log)
	if err := p.Process.Kill(); err != nil { // SIGKILL
		t.Fatal(err)
	}
	if status := p.wait(t); status != -1 {
		t.Fatalf("it was not killed: exit status %d", status)
	}
	r := only(t, log)
	if r.Complete || r.Cycles < 1 {
		t.Errorf("the log has %d cycles, complete %t", r.Cycles, r.Complete)
	}
	status, out, errs := run(t, "--log", log, "report", "last", "--as", "csv")
	if status != exitPass || errs != "" {
		t.Errorf("report: exit status %d: %s", status, errs)
	}
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || len(rows) < 10 {
		t.Errorf("report shows %d rows: %v", len(rows), err)
	}
	if status, _, errs := run(t, "--log", log, "run", "relay-only", "--cycles", "1", "--seed", "1"); status != exitPass {
		t.Errorf("the next run: exit status %d: %s", status, errs)
	}
}

// Two programs write one log at a time.
func TestTwoRunsOneLog(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	p := endless(t, log)
	for range 3 {
		if status, _, errs := run(t, "--log", log, "run", "relay-only", "--cycles", "5", "--seed", "2"); status != exitPass {
			t.Errorf("exit status %d: %s", status, errs)
		}
	}
	if err := p.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if status := p.wait(t); status != exitInterrupted {
		t.Errorf("the first one: exit status %d: %s", status, p.errors())
	}
	_, out, _ := run(t, "--log", log, "runs", "--as", "csv")
	if n := strings.Count(out, ",5,pass,true,"); n != 3 {
		t.Errorf("%d runs of 5 cycles in the log, want 3:\n%s", n, out)
	}
}

// Metrics are served while a run lasts and written to a file at its end; promtool,
// the Prometheus project's own checker, has nothing to say of either.
func TestMetrics(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	log, file := filepath.Join(dir, "log.db"), filepath.Join(dir, "makebreak.prom")
	p := endless(t, log, "--metrics-file", file, "--unit", "4711")
	text := p.awaitCycle(t)
	for _, want := range []string{`makebreak_run_in_progress 1`, `unit="4711"`, `makebreak_operate_time_seconds_bucket{`} {
		if !strings.Contains(text, want) {
			t.Errorf("the scrape lacks %q:\n%s", want, text)
		}
	}
	promtool(t, text)
	if err := p.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	p.wait(t)
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if text = string(b); !strings.Contains(text, "makebreak_run_in_progress 0\n") || !cyclesDone.MatchString(text) {
		t.Errorf("the file at the run's end:\n%s", text)
	}
	promtool(t, text)
	// Another test's program may have the port by then, but not with this unit.
	if r, err := scraper.Get(p.metrics); err == nil {
		defer r.Body.Close()
		if b, err := io.ReadAll(r.Body); err == nil && strings.Contains(string(b), `unit="4711"`) {
			t.Errorf("metrics are served after the run:\n%s", b)
		}
	}
}

func promtool(t *testing.T, text string) {
	t.Helper()
	c := exec.Command(tool.Find(t, "promtool"), "check", "metrics")
	c.Stdin = strings.NewReader(text)
	if out, err := c.CombinedOutput(); err != nil || len(bytes.TrimSpace(out)) > 0 {
		t.Errorf("promtool check metrics: %v\n%s", err, out)
	}
}
