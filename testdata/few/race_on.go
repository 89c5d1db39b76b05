//go:build race

package few

// Race says that the race detector runs, which slows a simulated bench some ten times.
const Race = true
