// Package smalldisk mounts small file systems of several kinds for tests, and fills them.
package smalldisk

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"makebreak/testdata/tool"
)

// A Kind is a file system that a test wants.
type Kind struct {
	Name    string
	Size    int64    // bytes
	Mkfs    []string // the command that makes it in an image; empty: in memory
	Options string   // of the mount
}

// The kinds that the tests use.
var (
	Memory  = Kind{Name: "tmpfs", Size: 6 << 20}
	Ext4    = Kind{Name: "ext4, blocks of 4 kB", Size: 16 << 20, Mkfs: []string{"mkfs.ext4", "-q", "-F", "-b", "4096", "-m", "0"}}
	Ext4x2k = Kind{Name: "ext4, blocks of 2 kB", Size: 12 << 20, Mkfs: []string{"mkfs.ext4", "-q", "-F", "-b", "2048"}}
	Ext4x1k = Kind{Name: "ext4, blocks of 1 kB", Size: 12 << 20, Mkfs: []string{"mkfs.ext4", "-q", "-F", "-b", "1024"}}
	XFS     = Kind{Name: "xfs", Size: 320 << 20, Mkfs: []string{"mkfs.xfs", "-q", "-f"}}
)

// Mount mounts a file system for the test and returns its folder. It needs a privileged
// user, outside of user namespaces for an image. Where that is not so the test is left out;
// memory must be mounted where the environment demands all tools.
func Mount(t *testing.T, k Kind) (dir string) {
	t.Helper()
	dir = t.TempDir()
	if len(k.Mkfs) == 0 {
		options := strings.TrimPrefix(k.Options+",size="+strconv.FormatInt(k.Size, 10), ",")
		if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, options); err != nil {
			if tool.Demanded() {
				t.Fatalf("cannot mount a small disk: %v", err)
			}
			t.Skipf("LEFT OUT: cannot mount a small disk: %v", err)
		}
	} else {
		mountImage(t, k, dir)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Errorf("unmount: %v", err)
			_ = syscall.Unmount(dir, syscall.MNT_DETACH)
		}
	})
	return dir
}

func mountImage(t *testing.T, k Kind, dir string) {
	t.Helper()
	image := filepath.Join(t.TempDir(), "image")
	if err := os.WriteFile(image, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(image, k.Size); err != nil {
		t.Fatal(err)
	}
	mkfs := append(append([]string{}, k.Mkfs...), image)
	options := strings.TrimPrefix(k.Options+",loop", ",")
	for _, c := range [][]string{mkfs, {"mount", "-o", options, image, dir}} {
		if out, err := exec.Command(c[0], c[1:]...).CombinedOutput(); err != nil {
			t.Skipf("LEFT OUT: %s: %q: %v: %s", k.Name, c, err, out)
		}
	}
}

// Fill writes a file that leaves so many bytes of its disk free, as far as its blocks allow.
func Fill(t *testing.T, path string, leaves int64) {
	t.Helper()
	syscall.Sync() // some give back the room of removed files only then
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if errors.Is(err, syscall.ENOSPC) {
		return // there is no room for the file itself
	}
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for size := int64(1 << 20); size > 0; {
		free := Free(t, path) - leaves
		if leaves > 0 && free < size {
			size = free
		}
		if size <= 0 {
			return
		}
		if _, err := f.Write(make([]byte, size)); err != nil {
			size /= 2
		} else {
			_ = f.Sync() // a disk may promise room before it knows what it takes
		}
	}
}

// Free is how many bytes of a file's disk the test may still write.
func Free(t *testing.T, path string) int64 {
	t.Helper()
	var s syscall.Statfs_t
	if err := syscall.Statfs(filepath.Dir(path), &s); err != nil {
		t.Fatal(err)
	}
	return int64(s.Bavail) * int64(s.Bsize)
}

// FillInodes makes empty files in a folder until its disk takes no more.
func FillInodes(t *testing.T, dir string) {
	t.Helper()
	for n := 0; n < 1<<16; n++ {
		f, err := os.Create(filepath.Join(dir, "file"+strconv.Itoa(n)))
		if err != nil {
			return
		}
		_ = f.Close()
	}
	t.Fatalf("the disk of %s takes more files than this test makes", dir)
}
