package realtime

import (
	"golang.org/x/sys/unix"
)

// capLockMemory is CAP_IPC_LOCK (include/uapi/linux/capability.h).
const capLockMemory = 14

// LockMemory keeps the program's memory out of swap, where the user may lock all of it: a page
// that has to come back from a card takes longer than many conversions. It reports whether it
// did.
//
// Go reserves far more addresses than it uses, and the kernel counts all of them. So memory is
// locked as it is touched (MCL_ONFAULT, mlock2(2)), and only where there is no bound: with one,
// the next request for memory could be refused, and the program would die of it.
func LockMemory() bool {
	return mayLock() && unix.Mlockall(unix.MCL_CURRENT|unix.MCL_FUTURE|unix.MCL_ONFAULT) == nil
}

// UnlockMemory takes LockMemory back.
func UnlockMemory() { _ = unix.Munlockall() } // where it fails it stays locked, which harms nothing

// mayLock reports whether memory may be locked without bound: by the limit, or by a capability
// that overrides it.
func mayLock() bool {
	var limit unix.Rlimit
	if unix.Getrlimit(unix.RLIMIT_MEMLOCK, &limit) == nil && limit.Cur == unix.RLIM_INFINITY {
		return true
	}
	header := unix.CapUserHeader{Version: unix.LINUX_CAPABILITY_VERSION_3}
	var data [2]unix.CapUserData
	return unix.Capget(&header, &data[0]) == nil && data[0].Effective&(1<<capLockMemory) != 0
}
