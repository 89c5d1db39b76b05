//go:build race

package main

// raceEnabled says that the race detector runs, which slows a simulated bench
// some ten times.
const raceEnabled = true
