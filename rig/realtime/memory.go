package realtime

import (
	"math"
	"runtime/debug"
)

// How far the heap grows before what is no longer used is collected.
const (
	// tight, in percent of what is in use, suits captures, which are large and short-lived,
	// and keeps the program small on a Pi.
	tight = 50
	// roomy is what the program may take in all, in bytes. Beside a real bench it leaves
	// some 4 MB a minute to collect, and what is in use are 5 to 20: it lasts for about ten
	// minutes. Long states do not change that, see capture.Capture.Thin.
	roomy = 64 << 20
)

// CollectOften keeps the program small: memory no longer used is collected soon. The
// program starts so.
func CollectOften() {
	debug.SetGCPercent(tight)
	debug.SetMemoryLimit(math.MaxInt64)
}

// CollectRarely is for while a real bench samples: collecting stops the whole program for
// a moment, mostly for microseconds, at times for longer than a conversion lasts. So it
// is done when there is no room left, and not, as Go does else, every two minutes at the
// latest.
func CollectRarely() {
	debug.SetGCPercent(-1)
	debug.SetMemoryLimit(roomy)
}
