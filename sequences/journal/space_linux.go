package journal

import "golang.org/x/sys/unix"

// freeSpace is how many bytes a folder's disk has left for this user.
func freeSpace(dir string) (bytes int64, known bool) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, false
	}
	return int64(s.Bavail) * int64(s.Bsize), true
}
