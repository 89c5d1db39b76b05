package realtime

import (
	"runtime"

	"golang.org/x/sys/unix"
)

// Of how the kernel shares out its processors (sched(7), sched_setattr(2)).
const (
	// The sampling loop asks for up to share of every period, in nanoseconds. A conversion
	// takes it some 50 µs, and lasts 1.16 ms: more than two periods.
	share  = 200_000
	period = 500_000
	// urgency is the nice value that it asks for where it does not get that.
	urgency = -15
	// slice is how long, in nanoseconds, it runs at a time then: one that asks for little
	// is let run the sooner (kernel 6.12 and later, older ones do not look at it).
	slice = 100_000
)

// RaisePriority puts the calling goroutine, which keeps the bench's loop going, on a thread of
// its own that the kernel prefers: a conversion must be fetched within 1.16 ms of its
// ready edge. What it returns takes that back.
//
// It asks for a share by deadline, which root and CAP_SYS_NICE give, then for a nice value,
// which LimitNICE gives, and where it gets neither the short slice has to do. What is
// missed nevertheless is counted and shown. A nice value does not do for good: a thread
// that an interrupt has pushed aside lets another one finish its slice first. A real-time
// priority does not do either: where Go's runtime spins until another thread has done
// something, that one would never run. By deadline, who spins yields what is left of its
// share.
func RaisePriority() (restore func()) {
	runtime.LockOSThread()
	before, err := unix.SchedGetAttr(0, 0)
	if err != nil {
		return runtime.UnlockOSThread
	}
	for _, wish := range []unix.SchedAttr{
		{Policy: unix.SCHED_DEADLINE, Flags: unix.SCHED_FLAG_RESET_ON_FORK, Runtime: share, Deadline: period, Period: period},
		{Policy: unix.SCHED_NORMAL, Nice: urgency, Runtime: slice},
		{Policy: unix.SCHED_NORMAL, Nice: before.Nice, Runtime: slice},
	} {
		wish.Size = unix.SizeofSchedAttr
		if unix.SchedSetAttr(0, &wish, 0) == nil {
			break
		}
	}
	return func() {
		_ = unix.SchedSetAttr(0, before, 0) // where it fails it stays preferred, which harms nothing
		runtime.UnlockOSThread()
	}
}

// SmallPages has the kernel leave the program's memory in pages of the usual size. Where
// it would join them, a thread of its own copies up to two megabytes at a time, and on one
// processor nobody else runs meanwhile, for about as long as a conversion lasts.
func SmallPages() {
	_ = unix.Prctl(unix.PR_SET_THP_DISABLE, 1, 0, 0, 0) // a wish
}

// usualIO is the class of a thread's reading and writing that says nothing of it: best
// effort, in the middle (ioprio_set(2)).
const usualIO = 2<<13 | 4

// LowerPriority puts the calling goroutine, which measures cycles and stores them, on a thread
// of its own that runs when no other one wants to. That takes milliseconds, and a thread
// like any other would be let finish its time slice first whenever the sampling loop has
// been pushed aside by an interrupt, or waits for a third thread of Go's runtime. Any user
// may ask for it. The thread ends with the goroutine.
func LowerPriority() {
	runtime.LockOSThread()
	// Reading and writing go on as usual, else they would be put back as well.
	const process, itself = 1, 0
	_, _, _ = unix.Syscall(unix.SYS_IOPRIO_SET, process, itself, usualIO)
	attr := unix.SchedAttr{Size: unix.SizeofSchedAttr, Policy: unix.SCHED_IDLE}
	_ = unix.SchedSetAttr(0, &attr, 0) // a wish
}
