package realtime

import (
	"os"
	"runtime"
)

// spareThreads is how many goroutines may run at once beyond the machine's processors.
const spareThreads = 3

// SpareProcessors lets the loop that samples run at once when it has been woken, also
// while the rest of the program is busy. Go hands out as many permits to run as the
// machine has processors; who waits in the kernel gives its permit up, and on a machine
// with one processor gets it back after up to 10 ms, when whoever measures and stores a
// cycle has been made to pause. Eight conversions end in that time. With permits to
// spare it is the kernel that shares out the processors. This alone, on the kernel bench
// with one processor: of some 3,500 conversions a run misses 3.0 on average of fifteen
// runs (0 to 7), instead of 4.9 of twelve (2 to 7). See RaisePriority, LowerPriority
// and CollectRarely for the rest.
func SpareProcessors() {
	if os.Getenv("GOMAXPROCS") == "" { // else whoever started the program has decided
		runtime.GOMAXPROCS(runtime.NumCPU() + spareThreads)
	}
}
