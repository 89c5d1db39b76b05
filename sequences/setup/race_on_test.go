//go:build race

package setup_test

// raceEnabled says that the race detector runs, which slows a simulated bench
// some ten times.
const raceEnabled = true
