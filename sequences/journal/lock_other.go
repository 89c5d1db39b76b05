//go:build !linux

package journal

import "golang.org/x/sys/unix"

// setLock locks for the program as a whole.
const setLock = unix.F_SETLK

// getLock says whether setLock would find a byte locked.
const getLock = unix.F_GETLK
