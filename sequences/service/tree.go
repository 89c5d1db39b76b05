package service

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"strings"
	"syscall"

	"makebreak/rig/words"
)

// A tree is a system's files below a folder: this system's, or those of a card that is
// mounted there. Links in it lead where they would in that system, and never out of it.
// Names in it are relative to the folder.
type tree struct{ *os.Root }

// mostLinks in a path are followed, as the kernel does.
const mostLinks = 40

// follow returns where a folder is, with links followed. What is not there yet counts as
// folders to be made.
func (t tree) follow(dir string) (string, error) {
	links := mostLinks
	return t.from(".", dir, &links)
}

func (t tree) from(at, rest string, links *int) (string, error) {
	if path.IsAbs(rest) {
		at = "."
	}
	for name := range strings.SplitSeq(rest, "/") {
		switch name {
		case "", ".":
			continue
		case "..":
			at = path.Dir(at) // above the root there is the root
			continue
		}
		next := path.Join(at, name)
		info, err := t.Lstat(next)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			at = next
		case err != nil:
			return "", err
		case info.Mode()&fs.ModeSymlink == 0:
			at = next
		default:
			if at, err = t.linked(at, next, links); err != nil {
				return "", err
			}
		}
	}
	return at, nil
}

// linked returns where a link in a folder leads, which must be there.
func (t tree) linked(at, link string, links *int) (string, error) {
	if *links--; *links < 0 {
		return "", syscall.ELOOP
	}
	to, err := t.Readlink(link)
	if err != nil {
		return "", err
	}
	target, err := t.from(at, to, links)
	if err != nil {
		return "", err
	}
	if _, err := t.Lstat(target); err != nil {
		return "", fmt.Errorf("/%s is a link to %s, which is not there below the root", words.Safe(link), words.Safe(to))
	}
	return target, nil
}

// makeFolders makes a folder and those above it. The mode of those that it makes is 0755,
// whatever the mask of who calls: others must be able to read what is in them.
func (t tree) makeFolders(dir string) error {
	at := "."
	for name := range strings.SplitSeq(dir, "/") {
		at = path.Join(at, name)
		if err := t.Mkdir(at, 0o755); errors.Is(err, fs.ErrExist) {
			continue
		} else if err != nil {
			return err
		}
		if err := t.Chmod(at, 0o755); err != nil {
			return err
		}
	}
	return nil
}

// replace writes a file whole or not at all, in the place of what is there: of a link, not
// of what it leads to.
func (t tree) replace(name string, content []byte, mode fs.FileMode) (err error) {
	dir, err := t.follow(path.Dir(name))
	if err != nil {
		return err
	}
	if err := t.makeFolders(dir); err != nil {
		return err
	}
	beside := path.Join(dir, "."+path.Base(name)+"."+rand.Text())
	defer func() {
		if err != nil {
			_ = t.Remove(beside) // it may not be there
		}
	}()
	if err := t.writeNew(beside, content, mode); err != nil {
		return err
	}
	if err := t.Rename(beside, path.Join(dir, path.Base(name))); err != nil {
		return err
	}
	return t.sync(dir)
}

// writeNew writes a file that is not there yet onto the disk.
func (t tree) writeNew(name string, content []byte, mode fs.FileMode) (err error) {
	f, err := t.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if _, err := f.Write(content); err != nil {
		return err
	}
	if err := f.Chmod(mode); err != nil {
		return err
	}
	return f.Sync()
}

// sync writes a folder's names onto the disk.
func (t tree) sync(dir string) (err error) {
	f, err := t.Open(dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return f.Sync()
}

// find returns where a name is, with the links of its folders followed; empty: it is not
// there. A link that leads to nothing is there.
func (t tree) find(name string) string {
	dir, err := t.follow(path.Dir(name))
	if err != nil {
		return ""
	}
	at := path.Join(dir, path.Base(name))
	if _, err := t.Lstat(at); err != nil {
		return ""
	}
	return at
}
