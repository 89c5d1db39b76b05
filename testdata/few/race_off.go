//go:build !race

package few

// Race says that the race detector runs.
const Race = false
