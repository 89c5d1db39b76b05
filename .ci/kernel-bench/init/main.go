//go:build linux

// The init of the kernel bench's guest: it brings up what the tests need, runs
// them one after the other and switches the machine off. It is the guest's
// first process; what it prints is the bench's report.
package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// modules are loaded in this order; configfs is mounted once it is there.
var modules = []string{"configfs", "i2c-dev", "kb-gpio-sim", "kb-adc"}

func main() {
	status := 1
	if err := bringUp(); err != nil {
		fmt.Println("kernel bench: guest not usable:", err)
	} else {
		status = runAll()
	}
	end(status)
}

// end tells the host the status, by a line that a guest which dies on the way does not give,
// and switches the machine off.
func end(status int) {
	fmt.Printf("kernel bench: exit %d\n", status)
	unix.Sync()
	if err := unix.Reboot(unix.LINUX_REBOOT_CMD_POWER_OFF); err != nil {
		fmt.Println("kernel bench: power off:", err)
	}
	select {}
}

func bringUp() error {
	for _, m := range []struct{ source, at, kind string }{
		{"proc", "/proc", "proc"},
		{"sysfs", "/sys", "sysfs"},
		{"devtmpfs", "/dev", "devtmpfs"},
		{"tmpfs", "/tmp", "tmpfs"},
	} {
		if err := mount(m.source, m.at, m.kind); err != nil {
			return err
		}
	}
	for _, m := range modules {
		if err := load("/modules/" + m + ".ko"); err != nil {
			return err
		}
	}
	if err := mount("configfs", "/sys/kernel/config", "configfs"); err != nil {
		return err
	}
	if err := loopbackUp(); err != nil {
		return err
	}
	go watch(limit())
	for k, v := range map[string]string{
		"PATH": "/bin:/sbin:/usr/bin", "HOME": "/root", "TMPDIR": "/tmp", "MAKEBREAK_KERNEL_BENCH": "1", "MAKEBREAK_BIN": "/makebreak",
		"MAKEBREAK_BENCH_FOLLOW": told("follow", "20s"), "MAKEBREAK_BENCH_KILLS": told("kills", "40"),
	} {
		if err := os.Setenv(k, v); err != nil {
			return err
		}
	}
	return nil
}

func mount(source, at, kind string) error {
	if err := os.MkdirAll(at, 0o755); err != nil {
		return err
	}
	if err := unix.Mount(source, at, kind, 0, ""); err != nil && err != unix.EBUSY {
		return fmt.Errorf("mounting %s: %w", at, err)
	}
	return nil
}

func load(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := unix.FinitModule(int(f.Fd()), "", 0); err != nil && err != unix.EEXIST {
		return fmt.Errorf("loading %s: %w", path, err)
	}
	return nil
}

// loopbackUp switches on the loopback interface, for tests that serve.
func loopbackUp() error {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return err
	}
	defer unix.Close(fd)
	req, err := unix.NewIfreq("lo")
	if err != nil {
		return err
	}
	req.SetUint16(unix.IFF_UP | unix.IFF_RUNNING)
	return unix.IoctlIfreq(fd, unix.SIOCSIFFLAGS, req)
}

// runAll runs every executable in /tests by name and returns the bench's exit
// status.
func runAll() int {
	paths, err := filepath.Glob("/tests/*")
	if err != nil || len(paths) == 0 {
		fmt.Println("kernel bench: no tests in /tests", err)
		return 1
	}
	kernel, _ := os.ReadFile("/proc/sys/kernel/osrelease")
	fmt.Printf("kernel bench: Linux %s", kernel)
	status := 0
	for _, path := range paths {
		if !runOne(path) {
			status = 1
		}
	}
	return status
}

func runOne(path string) bool {
	name := filepath.Base(path)
	var args []string
	if strings.HasSuffix(name, ".test") {
		args = []string{"-test.v", "-test.timeout=0", "-test.run=" + told("match", ".")}
	}
	fmt.Printf("kernel bench: %s starts\n", name)
	began := time.Now()
	cmd := exec.Command(path, args...)
	cmd.Dir = workDir(name)
	var out bytes.Buffer
	cmd.Stdout = &tee{&out}
	cmd.Stderr = cmd.Stdout
	err := cmd.Start()
	if err == nil {
		now.set(name, cmd.Process.Pid)
		err = cmd.Wait()
		now.set(name+", which has ended", 0)
	}
	for _, line := range strings.Split(out.String(), "\n") {
		if strings.HasPrefix(strings.TrimSpace(line), "--- SKIP") {
			fmt.Printf("kernel bench: %s DID NOT RUN: %s\n", name, strings.TrimSpace(line))
		}
	}
	word := "passed"
	if err != nil {
		word = "FAILED: " + err.Error()
	}
	fmt.Printf("kernel bench: %s %s after %.1f s\n", name, word, time.Since(began).Seconds())
	return err == nil
}

// limit is how long the tests may take by the guest's own clock, which counts instructions
// and skips idle time, and so is the same on every host.
func limit() time.Duration {
	s, err := strconv.Atoi(told("limit", "900"))
	if err != nil {
		fmt.Println("kernel bench: the limit:", err)
		end(1)
	}
	return time.Duration(s) * time.Second
}

// tick is how often the guest tells its time, for the host that cuts it and for nobody else.
const tick = 10 * time.Second

// lastWords is how long a test that is cut may take to say where it is.
const lastWords = 5 * time.Second

// watch tells the time, and ends the test that is still running when the limit is reached:
// it has shown by then where it hangs.
func watch(limit time.Duration) {
	began := time.Now()
	for time.Since(began) < limit {
		time.Sleep(min(tick, limit-time.Since(began)))
		fmt.Printf("kernel bench: guest time %.0f s\n", time.Since(began).Seconds())
	}
	in, pid := now.get()
	fmt.Printf("kernel bench: FAILED: cut after %.0f s of guest time, in test %s\n", limit.Seconds(), in)
	if pid != 0 {
		_ = unix.Kill(pid, unix.SIGQUIT) // it may just have ended
		time.Sleep(lastWords)
	}
	end(1)
}

// running is what runs just now.
type running struct {
	mu   sync.Mutex
	test string
	pid  int
}

var now = running{test: "none"}

func (r *running) set(test string, pid int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.test, r.pid = test, pid
}

func (r *running) get() (test string, pid int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.test, r.pid
}

// told is what the host has said of something, in a file of its own.
func told(what, otherwise string) string {
	b, err := os.ReadFile("/etc/bench-" + what)
	if err != nil {
		return otherwise
	}
	return strings.TrimSpace(string(b))
}

// workDir is a test's own folder from the host, /work/NAME, where it has one
// (its testdata), else the root.
func workDir(name string) string {
	dir := "/work/" + strings.TrimSuffix(name, ".test")
	if _, err := os.Stat(dir); err == nil {
		return dir
	}
	return "/"
}

// tee writes to the console, keeps a copy and notes which test begins.
type tee struct{ kept *bytes.Buffer }

func (t *tee) Write(p []byte) (int, error) {
	t.kept.Write(p)
	if _, after, found := bytes.Cut(p, []byte("=== RUN ")); found {
		test, _, _ := bytes.Cut(after, []byte("\n"))
		_, pid := now.get()
		now.set(string(bytes.TrimSpace(test)), pid)
	}
	return os.Stdout.Write(p)
}
