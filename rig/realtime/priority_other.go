//go:build !linux

package realtime

// RaisePriority does nothing: there is no real rig to be in time for.
func RaisePriority() (restore func()) { return func() {} }

// LowerPriority does nothing: there is nobody to let go first.
func LowerPriority() {}

// SmallPages does nothing: how memory is paged matters to nobody.
func SmallPages() {}

// LockMemory does nothing: there is no real rig to be in time for.
func LockMemory() bool { return false }

// UnlockMemory does nothing.
func UnlockMemory() {}
