package task

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// faultVariable names the way in which the test binary comes to grief.
const faultVariable = "MAKEBREAK_TEST_FAULT"

func TestMain(m *testing.M) {
	fault, ok := faults[os.Getenv(faultVariable)]
	if !ok {
		os.Exit(m.Run())
	}
	AtFault(func(told string) { fmt.Println("released:", strings.Contains(told, "on purpose")) })
	fault()
	time.Sleep(time.Minute)
}

var faults = map[string]func(){
	"goroutine": func() { Go(func() { panic("on purpose") }) },
	"timer":     func() { time.AfterFunc(0, Covered(func() { panic("on purpose") })) },
	"two at once": func() {
		for range 2 {
			Go(func() { panic("on purpose") })
		}
	},
	"release panics": func() {
		AtFault(func(string) { panic("another") })
		Go(func() { panic("on purpose") })
	},
	"release hangs": func() {
		AtFault(func(string) { select {} })
		Go(func() { panic("on purpose") })
	},
}

// A panic anywhere ends the program with its own status, after drives are released, and is
// told with where it happened.
func TestGo_Panic(t *testing.T) {
	for name := range faults {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			cmd := exec.Command("/proc/self/exe")
			cmd.Env = append(os.Environ(), faultVariable+"="+name)
			var errs strings.Builder
			cmd.Stderr = &errs
			out, err := cmd.Output()
			var ended *exec.ExitError
			if !errors.As(err, &ended) || ended.ExitCode() != Status {
				t.Errorf("%v, want exit status %d", err, Status)
			}
			if string(out) != "released: true\n" {
				t.Errorf("released %q", out)
			}
			if n := strings.Count(errs.String(), "on purpose\n"); n != 1 || !strings.Contains(errs.String(), "task_test.go:") {
				t.Errorf("told %d times, or without its place:\n%s", n, errs.String())
			}
		})
	}
}

// What is forgotten is not called.
func TestAtFault_Forgotten(t *testing.T) {
	called := make(chan string, 2)
	AtFault(func(string) { called <- "first" })()
	defer AtFault(func(string) { called <- "second" })()
	Fault("told")
	if got := <-called; got != "second" || len(called) != 0 {
		t.Errorf("%s was called, and %d more", got, len(called))
	}
}
