package journal

import "golang.org/x/sys/unix"

// setLock locks for one opening of the file: also two openings by one program exclude
// each other, and closing one leaves the other's locks.
const setLock = unix.F_OFD_SETLK

// getLock says whether setLock would find a byte locked.
const getLock = unix.F_OFD_GETLK
