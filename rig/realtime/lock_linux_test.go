package realtime

import (
	"os"
	"os/exec"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"makebreak/testdata/few"
)

// lockedKB is how much of this process's address space is locked, in kB.
func lockedKB(t *testing.T) int { return statusKB(t, "VmLck:") }

// statusKB is a figure of this process in kB.
func statusKB(t *testing.T, key string) int {
	t.Helper()
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(status), key)
	n, err := strconv.Atoi(strings.Fields(rest)[0])
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// givesBack checks that memory which is no longer used goes back to the system although it was
// locked: the kernel refuses the usual call for that, and Go's runtime finds another.
func givesBack(t *testing.T) {
	debug.FreeOSMemory()
	before := statusKB(t, "VmRSS:")
	big := make([]byte, 64<<20)
	for i := range big {
		big[i] = 1
	}
	held := statusKB(t, "VmRSS:")
	runtime.KeepAlive(big)
	big = nil
	debug.FreeOSMemory()
	if after := statusKB(t, "VmRSS:"); held-before < 60<<10 || after-before > 10<<10 {
		t.Errorf("%d kB are held before, %d with 64 MB more, and %d once they are no longer used", before, held, after)
	}
}

// Memory is locked where there is no bound, and what comes later with it; with a bound it is
// left alone, though the kernel would let it begin.
func TestLockMemory(t *testing.T) {
	switch os.Getenv("REALTIME_TEST_LOCK") {
	case "":
	case "free":
		before := lockedKB(t)
		if !LockMemory() || before != 0 || lockedKB(t) == 0 {
			t.Fatalf("%d kB locked before, %d after", before, lockedKB(t))
		}
		first := lockedKB(t)
		big := make([]byte, 256<<20)
		if big[len(big)-1] = 1; lockedKB(t) <= first {
			t.Errorf("%d kB locked, and %d after more was asked for", first, lockedKB(t))
		}
		runtime.KeepAlive(big)
		if !few.Race {
			givesBack(t)
		}
		UnlockMemory()
		if lockedKB(t) != 0 {
			t.Errorf("%d kB stay locked", lockedKB(t))
		}
		return
	case "bound":
		if LockMemory() || lockedKB(t) != 0 {
			t.Errorf("%d kB locked", lockedKB(t))
		}
		return
	}
	var limit unix.Rlimit
	if err := unix.Getrlimit(unix.RLIMIT_MEMLOCK, &limit); err != nil || limit.Cur == unix.RLIM_INFINITY {
		t.Skip("needs a limit on locked memory")
	}
	for _, c := range []string{"free", "bound"} {
		cmd := exec.Command("/proc/self/exe", "-test.run=^TestLockMemory$")
		cmd.Env = append(os.Environ(), "REALTIME_TEST_LOCK="+c)
		if os.Geteuid() != 0 {
			t.Skip("needs root, who may lock all memory")
		}
		if c == "bound" { // a user without the capability
			cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534, NoSetGroups: true}}
		}
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", c, err, out)
		}
	}
}
