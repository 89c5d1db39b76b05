package gpioline

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"strconv"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"

	"makebreak/rig/task"
)

// The guard is a second process of the same program that holds the drives'
// descriptors, the safe writes and one end of a pipe. When the program dies in a way
// that runs no more of its code, the kernel closes the other end, and the guard makes
// the drives inactive and does the writes. A chip on a bus keeps its setting whatever
// becomes of the program. For drives the kernel alone cannot be trusted with that: on a Raspberry
// Pi's own kernel an output keeps its level after the program that held it has
// gone, unless strict_gpiod is set (raspberrypi/linux, pull request 6117).

// guardName is what the guard's first argument says it is.
const guardName = "makebreak-drive-guard"

// exitGuardFailed is the guard's exit status where it cannot guard.
const exitGuardFailed = 2

// guardTimeout is how long the guard may take to be ready, and to end.
const guardTimeout = 20 * time.Second

var guardable atomic.Bool

// GuardMain must be the first call of a program that opens drives. In the
// process that the program starts as its guard it never returns; anywhere else
// it notes that a guard can be started and returns at once. Without it drives
// work, but stay as they are when the program is killed; see Set.Guarded.
func GuardMain() {
	if len(os.Args) >= 2 && os.Args[0] == guardName {
		os.Exit(runGuard(os.Args[1:], os.Stdin, os.Stdout))
	}
	guardable.Store(true)
}

// runGuard waits for the end of the program, releases its drives, which are the
// descriptors from 3 on, and does its safe writes. The arguments are how many drives
// there are, then the writes.
func runGuard(args []string, program io.Reader, ready io.WriteCloser) int {
	// What ends the program from the keyboard or the service manager must not
	// end its guard first.
	signal.Ignore(unix.SIGINT, unix.SIGTERM, unix.SIGHUP, unix.SIGQUIT, unix.SIGPIPE, unix.SIGTSTP)
	n, err := strconv.Atoi(args[0])
	if err != nil {
		return exitGuardFailed
	}
	list, err := parseSafeWrites(args[1:])
	if err != nil {
		return exitGuardFailed
	}
	writes, err := openSafeWrites(list)
	if err != nil {
		return exitGuardFailed
	}
	if _, err := ready.Write([]byte{1}); err != nil {
		return exitGuardFailed
	}
	ready.Close()
	_, _ = io.Copy(io.Discard, program)
	for fd := 3; fd < 3+n; fd++ {
		// No program is left to be told; the other drives must be released anyway.
		_ = setValue(fd, false)
	}
	_ = runSafeWrites(writes)
	return 0
}

// guard is the guard's process. A nil guard guards nothing.
type guard struct {
	cmd  *exec.Cmd
	life io.Closer // closing it, or dying, calls the guard
}

// startGuard starts a guard over the drives and the safe writes, where there are any and
// the program has called GuardMain.
func startGuard(drives []int, safe []SafeWrite) (*guard, error) {
	if len(drives)+len(safe) == 0 || !guardable.Load() {
		return nil, nil
	}
	g, err := spawnGuard(drives, safe)
	if err != nil {
		return nil, fmt.Errorf("guard over the drives: %w", err)
	}
	return g, nil
}

func spawnGuard(drives []int, safe []SafeWrite) (*guard, error) {
	// The link leads to this very program even if its file has been replaced.
	cmd := &exec.Cmd{
		Path:        "/proc/self/exe",
		Args:        append([]string{guardName, strconv.Itoa(len(drives))}, arguments(safe)...),
		Env:         []string{},
		Dir:         "/",
		SysProcAttr: &unix.SysProcAttr{Setsid: true},
	}
	var err error
	if cmd.ExtraFiles, err = duplicates(drives); err != nil {
		return nil, err
	}
	defer closeFiles(cmd.ExtraFiles)
	life, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	ready, err := cmd.StdoutPipe()
	if err != nil {
		return nil, errors.Join(err, life.Close())
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	g := &guard{cmd: cmd, life: life}
	if err := awaitReady(ready); err != nil {
		return nil, errors.Join(err, g.dismiss())
	}
	return g, nil
}

// awaitReady waits until the guard says that it is ready.
func awaitReady(ready io.ReadCloser) error {
	if f, ok := ready.(*os.File); ok {
		if err := f.SetReadDeadline(time.Now().Add(guardTimeout)); err != nil {
			return err
		}
	}
	var sign [1]byte
	if _, err := io.ReadFull(ready, sign[:]); err != nil {
		return fmt.Errorf("it does not answer: %w", err)
	}
	return ready.Close()
}

// duplicates returns copies of the descriptors as files, to be handed to a
// child; closing them leaves the originals alone.
func duplicates(fds []int) ([]*os.File, error) {
	var files []*os.File
	for _, fd := range fds {
		dup, err := unix.FcntlInt(uintptr(fd), unix.F_DUPFD_CLOEXEC, 3)
		if err != nil {
			closeFiles(files)
			return nil, err
		}
		files = append(files, os.NewFile(uintptr(dup), "drive"))
	}
	return files, nil
}

func closeFiles(files []*os.File) {
	for _, f := range files {
		f.Close()
	}
}

// dismiss ends the guard, which releases the drives and does the safe writes once more,
// gives the lines back, and waits until it has ended.
func (g *guard) dismiss() error {
	if g == nil {
		return nil
	}
	failed := g.life.Close()
	late := time.AfterFunc(guardTimeout, task.Covered(func() { _ = g.cmd.Process.Kill() }))
	defer late.Stop()
	if err := g.cmd.Wait(); err != nil {
		return errors.Join(failed, fail("guard over the drives", "", err))
	}
	return failed
}

// Guarded reports whether a guard releases the drives and does the safe writes if the
// program is killed.
func (s *Set) Guarded() bool { return s.guard != nil }
