package main

import (
	"math"
	"runtime/debug"
)

// How far the heap grows before what is no longer used is collected.
const (
	// tight, in percent of what is in use, suits captures, which are large and short-lived,
	// and keeps the program small on a Pi.
	tight = 50
	// roomy makes that 64 MB at the least (4 MB at 100 %, by the Go runtime), and roomiest,
	// in bytes, bounds what the program takes in all where it uses much itself.
	roomy    = 1600
	roomiest = 192 << 20
)

// tightMemory is how the program starts.
func tightMemory() {
	debug.SetGCPercent(tight)
	debug.SetMemoryLimit(math.MaxInt64)
}

// roomyMemory is for while a real bench samples: collecting stops the whole program for
// a moment, mostly for microseconds, at times for longer than a conversion lasts. So it
// is done seldom.
func roomyMemory() {
	debug.SetGCPercent(roomy)
	debug.SetMemoryLimit(roomiest)
}
