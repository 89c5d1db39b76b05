//go:build linux

package kernelbench

import (
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// Pin binds the calling goroutine's thread, and the kernel's interrupt threads
// of lines that were requested under the label, to one processor. A goroutine
// that then works lines in quick succession is interrupted by the thread that
// reports their edges before it goes on, however busy the machine under the
// guest is; otherwise that thread's processor may stand still meanwhile, and
// hundreds of edges become one. It returns what undoes it for the goroutine.
func Pin(t testing.TB, label string) (unpin func()) {
	t.Helper()
	var all, one unix.CPUSet
	if err := unix.SchedGetaffinity(0, &all); err != nil {
		t.Fatal(err)
	}
	one.Set(0)
	runtime.LockOSThread()
	for _, id := range append(interruptThreads(t, label), 0) {
		if err := unix.SchedSetaffinity(id, &one); err != nil {
			t.Errorf("thread %d: %v", id, err)
		}
	}
	return func() {
		if err := unix.SchedSetaffinity(0, &all); err != nil {
			t.Error(err)
		}
		runtime.UnlockOSThread()
	}
}

// Prefer has the calling goroutine's thread run before all that is not preferred itself, until
// undo is called: what it looks at is then seen on time, however busy the guest's processor is.
// It must sleep by Nap, since another thread wakes it from time.Sleep.
func Prefer(t testing.TB) (undo func()) {
	t.Helper()
	const priority = 10
	runtime.LockOSThread()
	if err := schedule(unix.SCHED_FIFO, priority); err != nil {
		t.Error(err)
	}
	return func() {
		if err := schedule(unix.SCHED_NORMAL, 0); err != nil {
			t.Error(err)
		}
		runtime.UnlockOSThread()
	}
}

// Nap sleeps in the kernel.
func Nap(d time.Duration) {
	left := unix.NsecToTimespec(int64(d))
	_ = unix.Nanosleep(&left, nil) // a signal may end it early
}

// schedule gives the calling thread a policy and a priority.
func schedule(policy, priority uint32) error {
	return unix.SchedSetAttr(0, &unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: policy, Priority: priority}, 0)
}

// interruptThreads returns the ids of the kernel's threads "irq/24-label"; the
// kernel cuts the name to 15 characters.
func interruptThreads(t testing.TB, label string) []int {
	t.Helper()
	names, err := filepath.Glob("/proc/[0-9]*/comm")
	if err != nil {
		t.Fatal(err)
	}
	var ids []int
	for _, n := range names {
		text, err := os.ReadFile(n)
		if err != nil {
			continue // ended meanwhile
		}
		number, of, ok := strings.Cut(strings.TrimSpace(string(text)), "-")
		if !ok || !strings.HasPrefix(number, "irq/") || !strings.HasPrefix(label, of) {
			continue
		}
		id, err := strconv.Atoi(filepath.Base(filepath.Dir(n)))
		if err != nil {
			t.Fatal(err)
		}
		ids = append(ids, id)
	}
	if len(ids) == 0 {
		t.Errorf("no interrupt thread for %q", label)
	}
	return ids
}
