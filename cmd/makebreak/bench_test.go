package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// BenchmarkRun measures whole runs in virtual time with the log on: cycles a
// second, and seconds of processor time for 1,000 cycles, which depend less on what else
// the machine does. Set-up and report are included.
func BenchmarkRun(b *testing.B) {
	for _, c := range []struct {
		sequence string
		cycles   int
	}{{"relay-only", 1000}, {"armed-high", 200}} {
		b.Run(c.sequence, func(b *testing.B) {
			dir := b.TempDir()
			began := processorTime(b)
			for i := 0; b.Loop(); i++ {
				var out, errs bytes.Buffer
				status := execute(context.Background(), []string{"run", c.sequence, "--cycles", fmt.Sprint(c.cycles), "--seed", "1",
					"--log", filepath.Join(dir, fmt.Sprint(i), "log.db")}, streams{strings.NewReader(""), &out, &errs})
				if status != exitPass {
					b.Fatalf("exit status %d: %s", status, errs.String())
				}
			}
			cycles := float64(c.cycles * b.N)
			b.ReportMetric(cycles/b.Elapsed().Seconds(), "cycles/s")
			b.ReportMetric((processorTime(b)-began).Seconds()/cycles*1000, "cpu-s/1000cycles")
		})
	}
}

// processorTime returns what this process has taken of the processors until now.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkAnalyzeFile measures the program as a process on a capture of a million
// rows, as an instrument writes it: processor time and the peak of its memory.
func BenchmarkAnalyzeFile(b *testing.B) {
	dir := b.TempDir()
	program, path := filepath.Join(dir, "makebreak"), filepath.Join(dir, "million.csv")
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	writeMillion(b, path)
	b.Run("csv", func(b *testing.B) { benchmarkAnalyzeFile(b, program, path, "csv", "switching_delay", 4) })
	b.Run("html", func(b *testing.B) { benchmarkAnalyzeFile(b, program, path, "html", "<svg", 3) })
}

// benchmarkAnalyzeFile measures one form of the results, in which a word stands so many times.
func benchmarkAnalyzeFile(b *testing.B, program, path, as, word string, times int) {
	var cpu, peak float64
	size := 0
	for b.Loop() {
		var out bytes.Buffer
		c := exec.Command(program, "analyze", path, "--as", as)
		c.Stdout = &out
		if err := c.Start(); err != nil {
			b.Fatal(err)
		}
		watched := make(chan float64)
		go func() { watched <- peakMiB(c.Process.Pid) }()
		if err := c.Wait(); err != nil {
			b.Fatal(err)
		}
		peak = math.Max(peak, <-watched)
		if n := bytes.Count(out.Bytes(), []byte(word)); n < times {
			b.Fatalf("%s stands there %d times, want %d", word, n, times)
		}
		size = out.Len()
		cpu += (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds()
	}
	b.ReportMetric(cpu/float64(b.N), "cpu-s/op")
	b.ReportMetric(peak, "peak-MiB")
	b.ReportMetric(float64(size)/1024, "written-KiB")
}

// peakMiB follows a process's own peak of resident memory until it ends. The peak that
// wait4 reports would do, were it not that a child begins with its parent's.
func peakMiB(pid int) float64 {
	peak := 0.0
	for {
		status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
		_, after, ok := strings.Cut(string(status), "VmHWM:")
		if err != nil || !ok {
			return peak
		}
		var kib float64
		if _, err := fmt.Sscan(after, &kib); err == nil {
			peak = math.Max(peak, kib/1024)
		}
		time.Sleep(2 * time.Millisecond)
	}
}

// writeMillion writes one output and one relay sampled every 10 µs for 10 s, with
// four events.
func writeMillion(b *testing.B, path string) {
	b.Helper()
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriter(f)
	fmt.Fprintln(w, "time_s,event,OUT3_V,K1_NO,K1_NC")
	names := map[int]string{100_000: "arm-away", 300_000: "disarm", 500_000: "arm-stay", 700_000: "disarm"}
	high, crossed := false, -1
	for i := range 1_000_000 {
		event, no, nc := names[i], "", ""
		if event != "" {
			crossed = i + 14_200
		}
		switch i {
		case 0:
			no, nc = "0", "1"
		case crossed:
			high = !high
		case crossed + 300:
			if high {
				nc = "0"
			} else {
				no = "0"
			}
		case crossed + 540:
			if high {
				no = "1"
			} else {
				nc = "1"
			}
		}
		v := 0.6
		if high {
			v = 13.2
		}
		v += 0.004 * math.Sin(float64(i)*1.7) // stands for noise
		fmt.Fprintf(w, "%.6f,%s,%.4f,%s,%s\n", float64(i)*1e-5, event, v, no, nc)
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	if err := f.Close(); err != nil {
		b.Fatal(err)
	}
}
