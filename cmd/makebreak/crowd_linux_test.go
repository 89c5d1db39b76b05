package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"makebreak/rig/realtime"
)

// crowdName is what the test's binary is called to be a crowd.
const crowdName = "crowd"

func init() { standIns[crowdName] = crowdMain }

// pagesOpen is how many pages of a crowd follow what happens now.
const pagesOpen = 100

// crowdMain looks at the address in its arguments until standard input ends: 100 open pages,
// 200 who are slow to ask, and two who post a gigabyte each time. It says when all of the
// pages are open.
func crowdMain() {
	ctx, end := context.WithCancel(context.Background())
	defer end()
	c := crowd{ctx, os.Args[1]}
	opened := make(chan struct{})
	for range pagesOpen {
		c.repeat(func() { c.follow(opened) })
	}
	for range pagesOpen {
		<-opened
	}
	go func() {
		for range opened {
		}
	}()
	for range 200 {
		c.repeat(c.dawdle)
	}
	for range 2 {
		c.repeat(func() { c.send(http.MethodPost, "/", io.LimitReader(zeros{}, 1<<30)) })
	}
	fmt.Println("here")
	_, _ = io.Copy(io.Discard, os.Stdin) // until whoever started it has had enough
}

type crowd struct {
	ctx     context.Context
	address string // host and port
}

func (c crowd) repeat(f func()) {
	go func() {
		for c.ctx.Err() == nil {
			f()
			time.Sleep(10 * time.Millisecond)
		}
	}()
}

// ask begins a request; nil: it was not answered.
func (c crowd) ask(method, path string, body io.Reader) io.ReadCloser {
	r, err := http.NewRequestWithContext(c.ctx, method, "http://"+c.address+path, body)
	if err != nil {
		panic(err)
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil
	}
	return a.Body
}

func (c crowd) send(method, path string, body io.Reader) {
	if a := c.ask(method, path, body); a != nil {
		_, _ = io.Copy(io.Discard, a) // what comes is not looked at
		a.Close()
	}
}

// follow keeps a page open, and tells when it has shown something.
func (c crowd) follow(opened chan<- struct{}) {
	a := c.ask(http.MethodGet, "/now", nil)
	if a == nil {
		return
	}
	defer a.Close()
	b := bufio.NewReader(a)
	if _, err := b.ReadString('\n'); err != nil {
		return
	}
	opened <- struct{}{}
	_, _ = io.Copy(io.Discard, b)
}

// dawdle asks with five bytes a second.
func (c crowd) dawdle() {
	conn, err := net.Dial("tcp", c.address)
	if err != nil {
		return
	}
	defer conn.Close()
	for _, b := range []byte("GET / HTTP/1.1\r\nHost: localhost\r\nX: " + strings.Repeat("x", 1000)) {
		if _, err := conn.Write([]byte{b}); err != nil || c.ctx.Err() != nil {
			return
		}
		time.Sleep(200 * time.Millisecond)
	}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// watched is how long the soak is watched alone, and beside the crowd, of each pair.
const watched = 3 * time.Second

// BenchmarkSoak_Crowd says what a crowd at the page of a soak in virtual time costs it, as
// the product is: two processes. A soak of its own is watched, alone and beside the
// crowd in turn, as many pairs as the benchmark has turns (-benchtime 20x). The
// crowd runs where no one else wants to, as it would be on other machines. The figures
// are medians of the pairs: fall-% is by how much fewer cycles a second were
// logged, own-% by how much more of a processor a cycle took of the soak's process.
func BenchmarkSoak_Crowd(b *testing.B) {
	p := start(b, filepath.Join(b.TempDir(), "log.db"), "soak", "relay-only", "--seed", "1", "--cycles", "100000000",
		"--metrics", "127.0.0.1:0", "--page", "127.0.0.1:0")
	page := strings.TrimSuffix(strings.TrimPrefix(serving(b, p).url, "http://"), "/")
	p.pace(b, watched) // begins slower than it goes on
	var fall, own []float64
	for b.Loop() {
		alone := p.pace(b, watched)
		leave := gather(b, page)
		beside := p.pace(b, watched)
		leave()
		time.Sleep(time.Second)
		fall = append(fall, 100*(1-beside.rate/alone.rate))
		own = append(own, 100*(beside.processor/alone.processor-1))
		b.Logf("alone %.0f cycles/s, %.0f µs each; beside the crowd %.0f, %.0f", alone.rate, alone.processor*1e6, beside.rate, beside.processor*1e6)
	}
	b.ReportMetric(median(fall), "fall-%")
	b.ReportMetric(median(own), "own-%")
	b.ReportMetric(0, "ns/op") // the time watched says nothing
}

func median(x []float64) float64 {
	x = slices.Sorted(slices.Values(x))
	return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
}

// gather starts a crowd in a process that runs when no other one wants to, and
// returns once it looks; leave sends it away.
func gather(b *testing.B, address string) (leave func()) {
	b.Helper()
	self, err := os.Executable()
	if err != nil {
		b.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Args = []string{crowdName, address}
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	started := make(chan error)
	go func() { // its thread hands its priority on, and ends with it
		runtime.LockOSThread()
		realtime.LowerPriority()
		started <- cmd.Start()
	}()
	if err := <-started; err != nil {
		b.Fatal(err)
	}
	if _, err := io.ReadFull(out, make([]byte, len("here\n"))); err != nil {
		b.Fatal(err)
	}
	return func() {
		in.Close()
		_ = cmd.Wait() // the crowd is not what is tested
	}
}

// pace is how fast a soak was over some time.
type pace struct {
	rate      float64 // cycles logged a second
	processor float64 // seconds of a processor a cycle took of the soak's own process
}

func (p *process) pace(b *testing.B, over time.Duration) pace {
	b.Helper()
	began, cycles, used := time.Now(), p.cycles(b), p.used(b)
	time.Sleep(over)
	took, n, of := time.Since(began).Seconds(), p.cycles(b)-cycles, p.used(b)-used
	if n <= 0 {
		b.Fatalf("%g cycles in %g s: %s", n, took, p.errors())
	}
	return pace{n / took, of / n}
}

var cyclesCounted = regexp.MustCompile(`(?m)^makebreak_cycles_total\{verdict="pass"\} (\S+)`)

// cycles is how many cycles are logged.
func (p *process) cycles(b *testing.B) float64 {
	b.Helper()
	found := cyclesCounted.FindStringSubmatch(p.scrape(b))
	if found == nil {
		return 0
	}
	n, err := strconv.ParseFloat(found[1], 64)
	if err != nil {
		b.Fatal(err)
	}
	return n
}

// used is what the process itself has had of processors, in seconds (proc(5)).
func (p *process) used(b *testing.B) float64 {
	b.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.Process.Pid))
	if err != nil {
		b.Fatal(err)
	}
	const ticks = 100.0 // a second, on every Linux that Go runs on
	_, after, _ := strings.Cut(string(stat), ") ")
	fields := strings.Fields(after)
	const user, system = 14 - 3, 15 - 3 // numbered from 1, the first two cut off
	u, err := strconv.ParseFloat(fields[user], 64)
	if err != nil {
		b.Fatal(err)
	}
	s, err := strconv.ParseFloat(fields[system], 64)
	if err != nil {
		b.Fatal(err)
	}
	return (u + s) / ticks
}
