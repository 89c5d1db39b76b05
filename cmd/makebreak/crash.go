package main

import (
	"bytes"
	"fmt"
	"os"
	"os/signal"
	"runtime/pprof"
	"syscall"

	"makebreak/rig/guard"
)

// aborting are the signals that say, where they come from outside, that something is wrong with
// the program. Those that its own code causes do not come this way.
var aborting = []os.Signal{syscall.SIGABRT, syscall.SIGSEGV, syscall.SIGBUS, syscall.SIGFPE, syscall.SIGILL, syscall.SIGTRAP, syscall.SIGSYS}

// endWhenAborted ends the program when it is aborted from outside, as by systemd when it
// seems to hang, and says where it hung. The runtime would do so too, but first waits 10 s and
// more for all its threads.
func endWhenAborted() {
	c := make(chan os.Signal, 1)
	signal.Notify(c, aborting...)
	told := bytes.NewBufferString(fmt.Sprintf("makebreak: ended from outside (%v); it was doing this:\n", <-c))
	_ = pprof.Lookup("goroutine").WriteTo(told, 2) // all of them; nobody is left to be told of an error
	_, _ = os.Stderr.Write(told.Bytes())
	guard.Tell(told.String())
	os.Exit(exitInternal)
}
