//go:build unix

package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"makebreak/rig/task"
)

// pipedLines are commands with a pipe in each place that takes a file. CALIBRATION and LATENCY
// are rig files beside which the pipe stands.
var pipedLines = []string{
	"analyze PIPE", "analyze C --sequence PIPE", "analyze C PIPE", "analyze C --causes PIPE", "run PIPE", "run armed-high --rig PIPE", "soak PIPE", "soak PIPE --go-on", "soak --resume last PIPE",
	"soak relay-only --rig PIPE", "rig check --rig PIPE", "rig watch --rig PIPE", "rig calibrate OUT3 --rig PIPE", "rig calibrate OUT3 --rig RIG --points PIPE",
	"rig check --rig CALIBRATION", "rig check --rig LATENCY", "run armed-high --rig CALIBRATION", "run armed-high --rig LATENCY", "rig watch --rig CALIBRATION",
	"run armed-high --seed 1 -o PIPE", "soak relay-only --cycles 3 --seed 1 -o PIPE", "report last -o PIPE", "runs -o PIPE", "runs check -o PIPE", "analyze C -o PIPE",
	"runs prune --older-than 0d -o PIPE", "rig check -o PIPE", "run --list -o PIPE", "report --schema -o PIPE", "soak plan --b10 1000 -o PIPE", "runs sign last --key PIPE", "batch armed-high --list PIPE", "report last --verify --key PIPE",
	"survey --rig PIPE", "survey --programmed-as PIPE", "survey --of last --limits PIPE --write F", "survey --of last -o PIPE", "survey --of last --write PIPE",
	"exercise start PIPE", "exercise check PIPE", "serve --listen localhost:0 --exercises PIPE", "exercise list -o PIPE",
}

// A command that waits in a pipe, wherever one is named, ends with the first signal: where
// nobody is at the pipe's other end, and where somebody is who does nothing. What it has
// logged stays.
func TestPipes_Ended(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var all []*piped
	for i, line := range pipedLines {
		for _, other := range []bool{false, true} {
			if testing.Short() && other != (i%2 == 0) {
				continue
			}
			all = append(all, newPiped(t, line, other))
		}
	}
	for _, p := range all {
		task.Go(func() { p.ended <- execute(ctx, p.args, streams{strings.NewReader(""), &p.out, &p.errs}) })
	}
	time.Sleep(time.Second) // for them to come to their pipes
	for _, p := range all {
		select {
		case status := <-p.ended:
			t.Errorf("%s: it did not wait: exit status %d: %s", p.line, status, p.errs.String())
			p.ended <- exitInterrupted
		default:
		}
	}
	cancel()
	for _, p := range all {
		if status := <-p.ended; status != exitInterrupted {
			t.Errorf("%s: exit status %d, want %d: %s", p.line, status, exitInterrupted, p.errs.String())
		}
		p.atOtherEnd(t, false) // who still waits in the pipe is let through
		if status, _, errs := run(t, "runs", "check", "--log", p.log); status != exitPass {
			t.Errorf("%s: the log: exit status %d: %s", p.line, status, errs)
		}
	}
}

// piped is a command with a pipe.
type piped struct {
	line, pipe, log string
	args            []string
	out, errs       strings.Builder
	ended           chan int
}

// newPiped makes the files of a command. Other says that somebody is at the pipe's other end.
func newPiped(t *testing.T, line string, other bool) *piped {
	t.Helper()
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	p := &piped{line: line, pipe: at("pipe"), log: at("log.db"), ended: make(chan int, 1)}
	if err := syscall.Mkfifo(p.pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, rig := range []string{"rig", "calibration", "latency"} {
		copyTo(t, at(rig+".yaml"), "../../rig/wiring/rigfile/bench.yaml")
	}
	for _, kind := range []string{"calibration", "latency"} {
		if err := os.Symlink(p.pipe, at(kind+"."+kind+".yaml")); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(at("c.csv"), []byte("time_s,event,OUT3_V\n0,,0\n1,arm-away,0\n2,,13\n3,,13\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if status, _, errs := run(t, "soak", "relay-only", "--cycles", "2", "--seed", "1", "--log", p.log); status != exitPass {
		t.Fatal(errs)
	}
	if other {
		p.atOtherEnd(t, strings.Contains(line, "-o PIPE") || strings.Contains(line, "--write PIPE"))
	}
	p.args = append(strings.Fields(strings.NewReplacer("PIPE", p.pipe, "RIG", at("rig.yaml"), "CALIBRATION", at("calibration.yaml"),
		"LATENCY", at("latency.yaml"), " C ", " "+at("c.csv")+" ").Replace(line)), "--log", p.log)
	return p
}

// atOtherEnd opens the pipe for reading and writing, which waits for nobody, and does nothing;
// full: nothing more can be written into the pipe.
func (p *piped) atOtherEnd(t *testing.T, full bool) {
	t.Helper()
	f, err := os.OpenFile(p.pipe, os.O_RDWR|syscall.O_NONBLOCK, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	if full {
		_ = f.SetWriteDeadline(time.Now().Add(20 * time.Millisecond))
		for err == nil {
			_, err = f.Write(make([]byte, 4096))
		}
	}
}

func copyTo(t *testing.T, to, from string) {
	t.Helper()
	b, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, b, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}
