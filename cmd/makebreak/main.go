// Makebreak tests the programmable outputs and relays of alarm panels on a bench:
// it runs arm and disarm cycles, measures, judges and keeps a log.
//
// This package only parses words and calls; see DEVELOPERS.md for where things
// are done.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"

	"makebreak/rig/gpioline"
	"makebreak/rig/inherited"
	"makebreak/rig/realtime"
	"makebreak/rig/task"
)

func main() {
	crashBySignal()
	gpioline.GuardMain()
	realtime.CollectOften()
	signal.Ignore(syscall.SIGPIPE) // a reader of the results that ends first is an error of writing: see toReader
	os.Exit(execute(untilInterrupted(), os.Args[1:], streams{os.Stdin, inherited.Out(os.Stdout), os.Stderr}))
}

// untilInterrupted returns a context that ends with the first signal that asks the program
// to end. A later one ends the program at once; one that comes within oneRequest is the same
// request, as from timeout, which signals the program and then its group.
func untilInterrupted() context.Context {
	signals := []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGQUIT}
	if !signal.Ignored(syscall.SIGHUP) { // as under nohup
		signals = append(signals, syscall.SIGHUP)
	}
	const oneRequest = 300 * time.Millisecond
	c := make(chan os.Signal, 2)
	signal.Notify(c, signals...)
	ctx, cancel := context.WithCancel(context.Background())
	task.Go(func() {
		<-c
		first := time.Now()
		cancel()
		for range c {
			if time.Since(first) > oneRequest {
				os.Exit(exitInterrupted)
			}
		}
	})
	return ctx
}
