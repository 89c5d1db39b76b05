// Package capture is the vocabulary of what a bench records: voltage samples
// and contact edges around events, all on one monotonic time base.
//
// It stands below everything else and imports nothing of the project, so that
// a capture taken now, read from the log or written by another instrument is
// the same thing to whatever measures it.
package capture
