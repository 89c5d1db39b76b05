package journal

import (
	"errors"
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// freeSpace is how many bytes a folder's disk has left for this user.
func freeSpace(dir string) (bytes int64, known bool) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, false
	}
	return int64(s.Bavail) * int64(s.Bsize), true
}

// diskSize is how many bytes a folder's disk has in all.
func diskSize(dir string) int64 {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0
	}
	return int64(s.Blocks) * int64(s.Bsize)
}

// readOnlyDisk reports whether nothing can write to the disk of a file.
func readOnlyDisk(path string) bool {
	var s unix.Statfs_t
	return unix.Statfs(path, &s) == nil && s.Flags&unix.ST_RDONLY != 0
}

// allocated is how many bytes of a file really lie on the disk: a copy may have holes.
func allocated(name string) int64 {
	var s unix.Stat_t
	if err := unix.Stat(name, &s); err != nil {
		return 0
	}
	return min(s.Size, s.Blocks*512)
}

// allocate makes a file so many bytes long, all of them on the disk.
func allocate(f *os.File, bytes int64) error {
	err := unix.Fallocate(int(f.Fd()), 0, 0, bytes)
	if errors.Is(err, unix.EOPNOTSUPP) {
		_, err = io.CopyN(f, zeros{}, bytes)
	}
	return err
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}
