package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/api"
	prometheus "github.com/prometheus/client_golang/api/prometheus/v1"
	"github.com/prometheus/common/model"
	"golang.org/x/sys/unix"

	"makebreak/analyze/metrics/monitoring"
	"makebreak/testdata/tool"
)

// heldRig is the program at a soak that a test holds: it goes on only as its messages are read,
// and does not end before its results are. So it is known what has been done when it is
// scraped, on a fast machine and on a slow one.
type heldRig struct {
	name, log, target string
	cmd               *exec.Cmd
	messages          *bufio.Scanner
	results           *bufio.Reader
	ended             chan struct{} // closed when there are no more messages
}

// heldPipe is how many bytes of messages the program may be ahead.
const heldPipe = 4096

// narrow returns a pipe that holds heldPipe bytes.
func narrow(t *testing.T) (r, w *os.File) {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.Close() })
	if _, err := unix.FcntlInt(w.Fd(), unix.F_SETPIPE_SZ, heldPipe); err != nil {
		t.Fatal(err)
	}
	return r, w
}

// hold starts a soak that tells of each cycle, and holds it.
func hold(t *testing.T, name, log string, args ...string) *heldRig {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	results, out := narrow(t)
	messages, errs := narrow(t)
	h := &heldRig{name: name, log: log, cmd: exec.Command(self), messages: bufio.NewScanner(messages), results: bufio.NewReader(results), ended: make(chan struct{})}
	h.cmd.Args = append([]string{"makebreak", "--log", log, "soak"}, append(args, "--tell-every", "1", "--as", "csv", "--metrics", "127.0.0.1:0")...)
	h.cmd.Env = append(os.Environ(), "GORACE=atexit_sleep_ms=0")
	h.cmd.Stdout, h.cmd.Stderr = out, errs
	err = h.cmd.Start()
	_, _ = out.Close(), errs.Close()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = h.cmd.Process.Kill(); _ = h.cmd.Wait() }) // no harm where it has ended
	for h.messages.Scan() {
		if at, ok := strings.CutPrefix(h.messages.Text(), "Metrics at "); ok {
			served, err := url.Parse(at)
			if err != nil {
				t.Fatal(err)
			}
			h.target = served.Host
			return h
		}
	}
	t.Fatalf("%s serves no metrics", name)
	return nil
}

// release lets the soak go on to its end. It then holds its results.
func (h *heldRig) release() {
	go func() {
		defer close(h.ended)
		for h.messages.Scan() {
		}
	}()
}

// awaitResults waits until the soak has ended and its results are to be read.
func (h *heldRig) awaitResults(t *testing.T) {
	t.Helper()
	late := time.AfterFunc(processPatience, func() { _ = h.cmd.Process.Kill() })
	defer late.Stop()
	if _, err := h.results.Peek(1); err != nil {
		t.Fatalf("%s has no results: %v", h.name, err)
	}
}

// end takes the results and returns the exit status.
func (h *heldRig) end(t *testing.T) int {
	t.Helper()
	if n, err := io.Copy(io.Discard, h.results); err != nil || n <= heldPipe {
		t.Errorf("%s: %d bytes of results, which it was to be held with: %v", h.name, n, err)
	}
	<-h.ended
	_ = h.cmd.Wait() // its status says it all
	return h.cmd.ProcessState.ExitCode()
}

// served has the program serve a log, and returns where.
func served(t *testing.T, log string) string {
	t.Helper()
	at, err := url.Parse(serving(t, start(t, log, "serve", "--listen", "127.0.0.1:0")).url)
	if err != nil {
		t.Fatal(err)
	}
	return at.Host
}

// watching is a Prometheus that scrapes rigs.
type watching struct {
	prometheus.API
	t *testing.T
}

var listening = regexp.MustCompile(`msg="Listening on" address=(\S+)`)

// watch starts Prometheus with the settings that the project gives, at shorter intervals.
func watch(t *testing.T, targets map[string]string) *watching {
	t.Helper()
	dir := t.TempDir()
	settle(t, dir, targets)
	cmd := exec.Command(tool.Find(t, "prometheus"), "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address=127.0.0.1:0")
	said, err := cmd.StderrPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	ready, drained := make(chan string, 1), make(chan struct{})
	var lines strings.Builder
	go func() {
		defer close(drained)
		address := ""
		for s := bufio.NewScanner(said); s.Scan(); fmt.Fprintln(&lines, s.Text()) {
			if m := listening.FindStringSubmatch(s.Text()); m != nil {
				address = m[1]
			}
			if strings.Contains(s.Text(), "Server is ready to receive web requests") {
				ready <- address
			}
		}
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		<-drained
		_ = cmd.Wait()
	})
	select {
	case at := <-ready:
		client, err := api.NewClient(api.Config{Address: "http://" + at})
		if err != nil {
			t.Fatal(err)
		}
		return &watching{prometheus.NewAPI(client), t}
	case <-drained:
		t.Fatalf("Prometheus has ended:\n%s", lines.String())
	case <-time.After(processPatience):
		t.Fatal("Prometheus does not get ready")
	}
	return nil
}

// settle writes the settings and rules that the project gives into a folder.
func settle(t *testing.T, dir string, targets map[string]string) {
	t.Helper()
	if err := os.CopyFS(dir, monitoring.Files); err != nil {
		t.Fatal(err)
	}
	rewrite := func(name string, change func(string) string) {
		path := filepath.Join(dir, name)
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(change(string(text))), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	rewrite("prometheus.yml", func(text string) string {
		shorter := strings.ReplaceAll(text, "_interval: 15s", "_interval: 250ms")
		if strings.Count(shorter, "250ms") != 2 {
			t.Fatalf("the settings have no intervals of 15s:\n%s", text)
		}
		return shorter
	})
	rewrite("rigs.yml", func(string) string {
		var b strings.Builder
		for name, at := range targets {
			fmt.Fprintf(&b, "- targets: [%q]\n  labels: {instance: %s}\n", at, name)
		}
		return b.String()
	})
	if err := os.Mkdir(filepath.Join(dir, "makebreak"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(dir, "rigs.yml"), filepath.Join(dir, "makebreak", "rigs.yml")); err != nil {
		t.Fatal(err)
	}
}

// ask asks for what an expression was at an instant.
func (w *watching) ask(expr string, at time.Time) model.Vector {
	w.t.Helper()
	v, warnings, _, err := w.Query(w.t.Context(), expr, at)
	if err != nil || len(warnings) > 0 {
		w.t.Fatalf("%s: %v, %q", expr, err, warnings)
	}
	vector, ok := v.(model.Vector)
	if !ok {
		w.t.Fatalf("%s is a %s", expr, v.Type())
	}
	return vector
}

// history asks for all that was scraped of a metric.
func (w *watching) history(selector string, at time.Time) model.Matrix {
	w.t.Helper()
	v, _, _, err := w.Query(w.t.Context(), selector+"[1h]", at)
	if err != nil {
		w.t.Fatalf("%s: %v", selector, err)
	}
	return v.(model.Matrix)
}

// awaitScrapes waits until each target has been scraped so many times more. What is scraped may
// be a second old, and a scrape comes every quarter of one.
func (w *watching) awaitScrapes(more int) {
	w.t.Helper()
	most := w.await(1, "max(count_over_time(up[1h]))")[0].Value
	w.await(1, fmt.Sprintf("min(count_over_time(up[1h])) >= %v + %d", most, more))
}

// await waits until an expression has so many values, and returns them.
func (w *watching) await(values int, expr string) model.Vector {
	w.t.Helper()
	ctx, cancel := context.WithTimeout(w.t.Context(), processPatience)
	defer cancel()
	var last model.Vector
	for ctx.Err() == nil {
		if last = w.ask(expr, time.Now()); len(last) == values {
			return last
		}
		select {
		case <-ctx.Done():
		case <-time.After(50 * time.Millisecond):
		}
	}
	w.t.Fatalf("%s: %v, want %d values", expr, last, values)
	return nil
}
