// Makebreak tests the programmable outputs and relays of alarm panels on a bench:
// it runs arm and disarm cycles, measures, judges and keeps a log.
//
// This package only parses words and calls; see DEVELOPERS.md for where things
// are done.
package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"makebreak/rig/guard"
	"makebreak/rig/inherited"
	"makebreak/rig/realtime"
	"makebreak/rig/signals"
	"makebreak/rig/task"
)

func main() {
	realtime.CollectOften()
	if isPage() {
		os.Exit(servePage())
	}
	task.Go(endWhenAborted)
	if len(signals.Requests()) > 0 {
		fmt.Fprintln(os.Stderr, "makebreak: interrupted before anything was done")
		os.Exit(exitInterrupted)
	}
	status := execute(untilInterrupted(), os.Args[1:], streams{os.Stdin, inherited.Out(os.Stdout), os.Stderr})
	guard.Dismiss()
	os.Exit(status)
}

// untilInterrupted returns a context that ends with the first signal that asks the program
// to end. A later one ends the program at once; one that comes within oneRequest is the same
// request, as from timeout, which signals the program and then its group.
func untilInterrupted() context.Context {
	const oneRequest = 300 * time.Millisecond
	ctx, cancel := context.WithCancel(context.Background())
	task.Go(func() {
		<-signals.Requests()
		first := time.Now()
		cancel()
		for range signals.Requests() {
			if time.Since(first) > oneRequest {
				guard.EndWell()
				os.Exit(exitInterrupted)
			}
		}
	})
	return ctx
}
