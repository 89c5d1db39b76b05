//go:build !linux

package live

import "net"

// own relies on the socket's rights where the system does not say who is at its other end.
func own(*net.UnixConn) bool { return true }
