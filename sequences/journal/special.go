package journal

import (
	"fmt"
	"io/fs"
	"os"
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
			return failAt(path, "open", fmt.Errorf("%w: it is %s; name an ordinary file with --log", ErrNotLog, kindOf(info.Mode())))
		}
		return failAt(path, "open", fmt.Errorf("%w: beside it %s is %s, and must be an ordinary file or not there", ErrAccess, name, kindOf(info.Mode())))
	}
	return nil
}

// kindOf says what a file is that is no ordinary one.
func kindOf(mode fs.FileMode) string {
	switch {
	case mode.IsDir():
		return "a folder"
	case mode&fs.ModeNamedPipe != 0:
		return "a pipe"
	case mode&fs.ModeSocket != 0:
		return "a socket"
	case mode&fs.ModeDevice != 0:
		return "a device"
	}
	return "no ordinary file"
}
