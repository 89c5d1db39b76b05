package guard

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/guard/process"
	"makebreak/rig/task"
)

// What the test binary does as a program with a guard.
const (
	endVariable    = "MAKEBREAK_TEST_END" // how it ends
	reportVariable = "MAKEBREAK_TEST_REPORT"
)

// The descriptors of that program besides the standard ones.
const (
	restPipe  = 3 // the acts write into it
	alarmPipe = 4 // who writes into it sets an alarm off
)

func TestMain(m *testing.M) {
	if end := os.Getenv(endVariable); end != "" {
		os.Exit(program(end))
	}
	os.Exit(m.Run())
}

// program has something watched, says which process its guard is, and ends as it is told to
// once its input ends.
func program(end string) int {
	debug.SetTraceback("crash")
	g, err := Post()
	if err == nil {
		err = Keep(Report{Path: os.Getenv(reportVariable), Program: "v1", Run: "2026-11-28.test-1"})
	}
	lost := make(chan error, 2)
	if err == nil {
		_, err = g.Watch([]Act{{Descriptor: restPipe, Bytes: []byte("a")}, {Descriptor: restPipe, Bytes: []byte("b")}}, []int{alarmPipe}, func(why error) { lost <- why })
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	unix.CloseOnExec(restPipe)
	unix.Close(restPipe) // the guard has its own
	fmt.Println(g.process.Pid)
	if end == "guard" {
		fmt.Println(<-lost)
		if !g.isGone() {
			select {}
		}
		if _, err := g.Watch(nil, nil, func(error) {}); !errors.Is(err, ErrGone) {
			fmt.Println("watched without a guard:", err)
		}
		return 0
	}
	_, _ = io.Copy(io.Discard, os.Stdin)
	switch end {
	case "well":
		Dismiss()
	case "panic":
		task.Go(func() { panic("on purpose") })
		select {}
	case "crash":
		m := map[int]int{}
		for range 4 {
			task.Go(func() {
				for i := 0; ; i++ {
					m[i%100] = i
				}
			})
		}
		select {}
	case "exit":
	default: // wait to be killed
		select {}
	}
	return 3
}

// started is such a program at work.
type started struct {
	*exec.Cmd
	input   io.Closer
	output  *bufio.Reader
	rest    *os.File // what the acts write
	alarm   *os.File
	guard   int // its process
	report  string
	t       *testing.T
	errText bytes.Buffer
}

func startProgram(t *testing.T, end string) *started {
	t.Helper()
	s := &started{Cmd: exec.Command("/proc/self/exe"), report: filepath.Join(t.TempDir(), "log.db-crash"), t: t}
	s.Env = append(os.Environ(), endVariable+"="+end, reportVariable+"="+s.report)
	rest, toRest, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	fromAlarm, alarm, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	s.rest, s.alarm = rest, alarm
	t.Cleanup(func() { rest.Close(); alarm.Close() })
	s.ExtraFiles = []*os.File{toRest, fromAlarm}
	s.Stderr = &s.errText
	if s.input, err = s.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := s.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Process.Kill() })
	toRest.Close()
	fromAlarm.Close()
	s.output = bufio.NewReader(out)
	s.guard, err = strconv.Atoi(s.line())
	if err != nil {
		t.Fatalf("%v: %s", err, s.errText.String())
	}
	return s
}

// line is the next one that the program says.
func (s *started) line() string {
	s.t.Helper()
	text, err := s.output.ReadString('\n')
	if err != nil {
		s.t.Fatalf("the program said %q: %v: %s", text, err, s.errText.String())
	}
	return strings.TrimSpace(text)
}

// rested waits for the guard's end, and returns what its acts wrote.
func (s *started) rested() string {
	s.t.Helper()
	if err := s.rest.SetReadDeadline(time.Now().Add(time.Minute)); err != nil {
		s.t.Fatal(err)
	}
	text, err := io.ReadAll(s.rest)
	if err != nil {
		s.t.Fatalf("the guard has not ended: %v", err)
	}
	return string(text)
}

// However a program ends, what it had watched is put at rest, its guard ends with it, and
// unless it ended as it should there is a report.
func TestGuard_ProgramEnds(t *testing.T) {
	for _, c := range []struct {
		end      string
		signal   unix.Signal
		status   int // -1: by a signal
		reported string
	}{
		{"well", 0, 3, ""},
		{"exit", 0, 3, process.Killed},
		{"killed", unix.SIGKILL, -1, process.Killed},
		{"panic", 0, task.Status, "on purpose"},
		{"crash", 0, -1, "ended:   crashed: a fatal error of the Go runtime"},
		{"segmentation fault", unix.SIGSEGV, -1, "SIGSEGV"},
	} {
		t.Run(c.end, func(t *testing.T) {
			t.Parallel()
			s := startProgram(t, c.end)
			if c.signal != 0 {
				_ = s.Process.Signal(c.signal)
			}
			s.input.Close()
			_ = s.Wait()
			if got := s.ProcessState.ExitCode(); got != c.status {
				t.Errorf("exit status %d, want %d: %s", got, c.status, s.errText.String())
			}
			if got := s.rested(); !strings.HasPrefix(got, "ab") || strings.Trim(got, "ab") != "" {
				t.Errorf("the acts wrote %q", got)
			}
			b, err := os.ReadFile(s.report)
			text := string(b)
			if c.reported == "" {
				if !errors.Is(err, os.ErrNotExist) {
					t.Errorf("a report: %v %s", err, text)
				}
				return
			}
			for _, want := range []string{"program: v1\n", "run:     2026-11-28.test-1\n", "ended:   ", c.reported} {
				if !strings.Contains(text, want) {
					t.Errorf("%v: %q lacks %q", err, text, want)
				}
			}
			if strings.Contains(text, endVariable) || c.reported != process.Killed && !strings.Contains(text, "goroutine ") {
				t.Errorf("the environment, or no goroutine, in\n%s", text)
			}
		})
	}
}

// Where the guard is killed first the program is told, and can have nothing watched any more.
func TestGuard_Killed(t *testing.T) {
	t.Parallel()
	s := startProgram(t, "guard")
	if err := unix.Kill(s.guard, unix.SIGKILL); err != nil {
		t.Fatal(err)
	}
	if got := s.line(); got != ErrGone.Error() {
		t.Errorf("the program said %q", got)
	}
	if err := s.Wait(); err != nil {
		t.Errorf("%v: %s", err, s.errText.String())
	}
}

// What ends or stops the program from the keyboard or a service manager leaves its guard alone.
func TestGuard_Signals(t *testing.T) {
	t.Parallel()
	s := startProgram(t, "killed")
	for _, signal := range []unix.Signal{unix.SIGINT, unix.SIGTERM, unix.SIGHUP, unix.SIGQUIT, unix.SIGTSTP} {
		if err := unix.Kill(s.guard, signal); err != nil {
			t.Fatal(err)
		}
	}
	_ = s.Process.Kill()
	_ = s.Wait()
	if got := s.rested(); !strings.HasPrefix(got, "ab") {
		t.Errorf("the acts wrote %q", got)
	}
}

// A guard that the kernel tells of the program's dying puts all at rest before the program has
// gone, and tells it, should it live.
func TestGuard_ProgramDying(t *testing.T) {
	t.Parallel()
	s := startProgram(t, "guard")
	if err := unix.Kill(s.guard, process.ParentDies); err != nil {
		t.Fatal(err)
	}
	if got := s.line(); got != ErrRested.Error() {
		t.Errorf("the program said %q", got)
	}
	_ = s.Process.Kill()
	_ = s.Wait()
	if got := s.rested(); !strings.HasPrefix(got, "abab") {
		t.Errorf("the acts wrote %q", got)
	}
}

// A program that stands still has its things put at rest when an alarm goes off, and again
// while it stands still.
func TestGuard_Alarm(t *testing.T) {
	t.Parallel()
	s := startProgram(t, "killed")
	if err := s.Process.Signal(unix.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	if _, err := s.alarm.Write([]byte{1}); err != nil {
		t.Fatal(err)
	}
	var got [4]byte
	if _, err := io.ReadFull(s.rest, got[:]); err != nil || string(got[:]) != "abab" {
		t.Errorf("the acts wrote %q: %v", got, err)
	}
	_ = s.Process.Kill()
	_ = s.Wait()
	s.rested()
}

// A guard that cannot do an act says so when its watch is closed; it and its process go when
// it is dismissed.
func TestGuard_Dismiss(t *testing.T) {
	g, err := Post()
	if err != nil {
		t.Fatal(err)
	}
	again, err := Post()
	if err != nil || again != g {
		t.Errorf("another guard: %v", err)
	}
	null, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	w, err := g.Watch([]Act{{Descriptor: int(null.Fd()), Bytes: []byte("a")}}, nil, func(why error) { t.Error(why) })
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err == nil || !strings.Contains(err.Error(), "bad file descriptor") {
		t.Errorf("closed: %v", err)
	}
	pid := g.process.Pid
	if err := unix.Kill(pid, 0); pid == os.Getpid() || err != nil {
		t.Fatalf("no guard process, pid %d: %v", pid, err)
	}
	Dismiss()
	if err := unix.Kill(pid, 0); !errors.Is(err, unix.ESRCH) {
		t.Errorf("the guard is still there: %v", err)
	}
	Dismiss()
}
