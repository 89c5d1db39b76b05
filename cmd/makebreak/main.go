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

	"makebreak/rig/gpioline"
)

func main() {
	gpioline.GuardMain()
	tightMemory()
	signal.Ignore(syscall.SIGPIPE) // who reads the results may end before them; that is told as any error of writing
	signals := []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGQUIT}
	if !signal.Ignored(syscall.SIGHUP) { // as under nohup
		signals = append(signals, syscall.SIGHUP)
	}
	ctx, stop := signal.NotifyContext(context.Background(), signals...)
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	os.Exit(execute(ctx, os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr}))
}
