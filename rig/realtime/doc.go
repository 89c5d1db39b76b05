// Package realtime keeps the loop that samples in time on a machine that does other work
// too: by the kernel's priorities, and by when the Go runtime collects memory and how many
// threads it lets run. All of it is asked for and may be refused; what is missed then is
// counted by the bench.
package realtime
