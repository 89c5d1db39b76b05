package journal

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strconv"

	"golang.org/x/sys/unix"
)

// freeSpace is how many bytes a folder's disk has left for this user.
func freeSpace(dir string) (bytes int64, known bool) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, false
	}
	if os.Geteuid() == 0 && s.Type == unix.EXT4_SUPER_MAGIC { // root may also take what is kept for root
		return int64(s.Bfree) * int64(s.Bsize), true
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

// countsInodes reports whether a folder's disk has a fixed number of inodes.
func countsInodes(dir string) bool {
	var s unix.Statfs_t
	return unix.Statfs(dir, &s) == nil && s.Files > 0
}

// noInodes reports whether a folder's disk counts its files and can take no more.
func noInodes(dir string) bool {
	var s unix.Statfs_t
	return unix.Statfs(dir, &s) == nil && s.Files > 0 && s.Ffree == 0
}

// syncDisk writes to a folder's disk all that waits to be written.
func syncDisk(dir string) {
	if f, err := os.Open(dir); err == nil {
		_ = unix.Syncfs(int(f.Fd()))
		_ = f.Close()
	}
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

// allocateShared gives the shared index of an open log all its blocks on the disk. SQLite
// gives it one in each page of memory, so that a disk of smaller blocks could be full when
// the rest of a page is written, which is a fault and no error. The descriptor is SQLite's
// own: to open the file and to close it again would release SQLite's locks. Where it is not
// found nothing is done.
func allocateShared(full string) error {
	const mine = "/proc/self/fd"
	all, err := os.ReadDir(mine)
	if err != nil {
		return nil
	}
	for _, f := range all {
		if name, err := os.Readlink(filepath.Join(mine, f.Name())); err != nil || name != full+"-shm" {
			continue
		}
		fd, err := strconv.Atoi(f.Name())
		if err != nil {
			return nil
		}
		err = unix.Fallocate(fd, unix.FALLOC_FL_KEEP_SIZE, 0, fileSize(full+"-shm"))
		if noRoomFor(err) {
			return fileError(err)
		}
		return nil
	}
	return nil
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
