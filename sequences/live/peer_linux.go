package live

import (
	"net"
	"os"

	"golang.org/x/sys/unix"
)

// own reports whether the program at the other end of a socket is this user's or root's.
func own(c *net.UnixConn) bool {
	raw, err := c.SyscallConn()
	if err != nil {
		return false
	}
	is := false
	err = raw.Control(func(fd uintptr) {
		peer, err := unix.GetsockoptUcred(int(fd), unix.SOL_SOCKET, unix.SO_PEERCRED)
		is = err == nil && (peer.Uid == 0 || int(peer.Uid) == os.Geteuid() || os.Geteuid() == 0)
	})
	return err == nil && is
}
