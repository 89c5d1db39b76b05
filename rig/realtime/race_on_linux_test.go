//go:build race

package realtime

// raceEnabled says that the race detector runs, whose own memory is never given back.
const raceEnabled = true
