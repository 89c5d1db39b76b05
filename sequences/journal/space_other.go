//go:build !linux

package journal

import (
	"errors"
	"os"
)

// freeSpace is not known here; SQLite's own error tells when the room runs out.
func freeSpace(string) (bytes int64, known bool) { return 0, false }

// readOnlyDisk is not known here; a copy is read then.
func readOnlyDisk(string) bool { return false }

// Without knowing the free space no reserve is kept.

func diskSize(string) int64 { return 0 }

func allocated(string) int64 { return 0 }

func allocate(*os.File, int64) error { return errors.ErrUnsupported }

func noInodes(string) bool { return false }

func allocateShared(string) error { return nil }

func countsInodes(string) bool { return false }

func syncDisk(string) {}
