// Package signals takes the signals that ask the program to end, and has a crash of the Go
// runtime end it by a signal, from as early as Go allows.
//
// Packages are initialised in the order of their paths, each as soon as those that it imports
// are. Those that nearly all others need come first, so a package that imports no others
// comes next, before some milliseconds of the rest. Whatever else is imported here, fmt or
// runtime/debug say, puts it behind most of them: see TestImports_Early.
package signals

import (
	"os"
	"os/signal"
	"syscall"
	_ "unsafe" // for go:linkname
)

// requests holds the first signals that ask the program to end.
var requests = make(chan os.Signal, 2)

func init() {
	crashBySignal()
	// One after the other, each handed to a thread of its own. The runtime's way with SIGQUIT is
	// to crash, so that one is first.
	all := []os.Signal{syscall.SIGQUIT, syscall.SIGTERM, os.Interrupt}
	if !signal.Ignored(syscall.SIGHUP) { // as under nohup
		all = append(all, syscall.SIGHUP)
	}
	signal.Notify(requests, all...)
	signal.Ignore(syscall.SIGPIPE) // a reader of the results that ends first is an error of writing
}

// Requests gives the signals that ask the program to end, also those that came before main
// began: the first two are kept until somebody takes them.
func Requests() <-chan os.Signal { return requests }

// crashBySignal lets a crash of the Go runtime end the program by SIGABRT. The runtime's
// own way is to exit with status 2, which here means that a result is undecided. That
// concerns what recover cannot catch: a map written by two, no memory or stack left, a signal
// such as SIGSEGV from outside.
//
// The kernel would write a core file then. None is wanted, save where who starts the
// program asks for one by GOTRACEBACK=crash.
func crashBySignal() {
	if os.Getenv("GOTRACEBACK") != "crash" {
		_ = syscall.Setrlimit(syscall.RLIMIT_CORE, &syscall.Rlimit{}) // a wish: a core file harms nothing
	}
	setTraceback("crash")
}

// setTraceback is debug.SetTraceback. It is the runtime's own, under the name that the runtime
// gives it there, so runtime/debug need not be initialised first.
//
//go:linkname setTraceback runtime/debug.SetTraceback
func setTraceback(level string)
