package journal

import (
	"fmt"
	"os"

	"makebreak/rig/infile"
)

// ordinary refuses, before anything opens it, a log that is there and no ordinary file, and
// one beside which something else stands in the place of a file of it: opening a pipe waits
// for somebody at its other end, and a device is no place for a log.
func ordinary(full, path string) error {
	for _, name := range Files(full) {
		info, err := os.Stat(name)
		if err != nil || info.Mode().IsRegular() {
			continue
		}
		if name == full {
			return failAt(path, "open", fmt.Errorf("%w: it is %s; name an ordinary file with --log", ErrNotLog, infile.Kind(info.Mode())))
		}
		return failAt(path, "open", fmt.Errorf("%w: beside it %s is %s, and must be an ordinary file or not there", ErrAccess, name, infile.Kind(info.Mode())))
	}
	return nil
}
