// Package task starts every goroutine of the program. A panic in one ends the program as its
// own fault: drives are released, it is told where it happened, and the exit status is
// [Status]. The Go runtime would end it by SIGABRT, without a word to the person and with
// drives left to the guard.
package task

import (
	"fmt"
	"os"
	"runtime/debug"
	"sync"
	"time"

	"makebreak/rig/words"
)

// Status is the exit status for the program's own fault.
const Status = 70

// Go runs f on a goroutine of its own.
func Go(f func()) { go Covered(f)() }

// Covered returns f for who starts goroutines by itself, as context.AfterFunc and
// time.AfterFunc do: a panic of f ends the program as one under Go does.
func Covered(f func()) func() {
	return func() {
		defer func() {
			if p := recover(); p != nil {
				fail(Told(p))
			}
		}()
		f()
	}
}

// Told is what a person reads of a panic, by the function that recovered it.
func Told(p any) string {
	return words.SafeLines(fmt.Sprintf("makebreak: this should not have happened: %v\nWhat was logged is safe. Please report it with these lines:\n%s", p, debug.Stack()))
}

// patience is how long the program waits, at its own fault, for what is to be done then. A
// supply's rest takes up to a second on a disturbed bus.
const patience = 2 * time.Second

var (
	failing sync.Mutex // locked for good by the first fault

	mu      sync.Mutex
	pending = map[*func(told string)]struct{}{}
)

// AtFault has f called when a panic ends the program, with what is told of it, from any
// goroutine and beside others. Forget takes that back.
func AtFault(f func(told string)) (forget func()) {
	mu.Lock()
	defer mu.Unlock()
	key := &f
	pending[key] = struct{}{}
	return func() {
		mu.Lock()
		defer mu.Unlock()
		delete(pending, key)
	}
}

// fail ends the program. It does not return; a second fault waits for the first one's end.
func fail(told string) {
	failing.Lock()
	_, _ = os.Stderr.WriteString(told) // nobody is left to be told of an error
	Fault(told)
	os.Exit(Status)
}

// Fault does what is pending for the program's own fault, which somebody else tells of and
// ends the program for. It waits for that, though not for ever.
func Fault(told string) {
	mu.Lock()
	done := make(chan struct{}, len(pending))
	for f := range pending {
		go func() {
			defer func() {
				_ = recover() // the program is ending for a fault already
				done <- struct{}{}
			}()
			(*f)(told)
		}()
	}
	mu.Unlock()
	late := time.After(patience)
	for range cap(done) {
		select {
		case <-done:
		case <-late:
			return
		}
	}
}
