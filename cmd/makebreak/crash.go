package main

import (
	"bytes"
	"os"
	"os/signal"
	"runtime/pprof"
	"syscall"

	"makebreak/rig/guard"
)

// endWhenAborted ends the program when it gets SIGABRT, as from systemd when it seems to
// hang, and says where it hung. The runtime would do so too, but first waits up to 10 s
// for all its threads, and until the program has gone its guard leaves the drives as they are.
func endWhenAborted() {
	c := make(chan os.Signal, 1)
	signal.Notify(c, syscall.SIGABRT)
	<-c
	told := bytes.NewBufferString("makebreak: aborted from outside; it was doing this:\n")
	_ = pprof.Lookup("goroutine").WriteTo(told, 2) // all of them; nobody is left to be told of an error
	_, _ = os.Stderr.Write(told.Bytes())
	guard.Tell(told.String())
	os.Exit(exitInternal)
}
