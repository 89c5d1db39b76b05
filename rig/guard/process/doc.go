// Package process is the guard's own process: a second process of the same program, which
// [makebreak/rig/guard] starts. It puts drives and a supply at rest when the program has
// ended, however it did, or stands still, and writes down how it ended.
//
// A program that imports this package is its own guard: the process whose only argument is
// [Name] goes no further than this package's initialisation, which comes before nearly all
// others (see [makebreak/rig/signals]). So the guard takes little time to start and little
// memory. It knows nothing of lines and buses: it is given descriptors, and bytes for them.
package process

// Name is what the guard's only argument says it is.
const Name = "makebreak-guard"
