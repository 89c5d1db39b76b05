package main

import (
	"fmt"
	"os"
	"os/signal"
	"runtime/debug"
	"runtime/pprof"
	"syscall"

	"golang.org/x/sys/unix"

	"makebreak/rig/task"
)

// crashBySignal lets a crash of the Go runtime end the program by SIGABRT. The runtime's
// own way is to exit with status 2, which here means that a result is undecided. That
// concerns what recover cannot catch: a panic in any goroutine, a map written by two, no
// memory or stack left.
//
// The kernel would write a core file then. None is wanted, save where who starts the
// program asks for one by GOTRACEBACK=crash.
func crashBySignal() {
	if os.Getenv("GOTRACEBACK") != "crash" {
		_ = unix.Setrlimit(unix.RLIMIT_CORE, &unix.Rlimit{}) // a wish: a core file harms nothing
	}
	debug.SetTraceback("crash")
	task.Go(endWhenAborted)
}

// endWhenAborted ends the program when it gets SIGABRT, as from systemd when it seems to
// hang, and says where it hung. The runtime would do so too, but first waits up to 10 s
// for all its threads, and until the program has gone its guard leaves the drives as they are.
func endWhenAborted() {
	c := make(chan os.Signal, 1)
	signal.Notify(c, syscall.SIGABRT)
	<-c
	fmt.Fprintln(os.Stderr, "makebreak: aborted from outside; it was doing this:")
	_ = pprof.Lookup("goroutine").WriteTo(os.Stderr, 2) // all of them; nobody is left to be told of an error
	os.Exit(exitInternal)
}
