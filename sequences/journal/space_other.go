//go:build !linux

package journal

// freeSpace is not known here; SQLite's own error tells when the room runs out.
func freeSpace(string) (bytes int64, known bool) { return 0, false }
