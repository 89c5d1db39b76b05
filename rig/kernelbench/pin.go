//go:build linux

package kernelbench

import (
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

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
