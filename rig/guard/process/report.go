package process

import (
	"os"
	"strconv"
	"syscall"
	"time"
)

// A Report tells how a program ended that did not end as it should.
type Report struct {
	Path    string // the file; empty: none is written
	Program string // its version
	Run     string // what it did
}

// longestReport is how long a report's file may be, in bytes. Where a disk is nearly full it is
// a short one, which leaves the room to the log.
const (
	longestReport = 64 << 10
	shortReport   = 4 << 10
	nearlyFull    = 1 << 20
)

// older is how many reports are kept besides the newest.
const older = 3

// Killed is how a program ended of which nothing else is known.
const Killed = "killed by a signal that it could not see: by kill -9, by the kernel for want of memory, or at a limit of processor time"

// write writes the report. It takes the place of older ones only once it is whole; where that
// fails nobody is left to be told.
func (r *Report) write(crash []byte, at time.Time) {
	if r.Path == "" {
		return
	}
	text := r.text(crash, at)
	part := r.Path + "-new"
	if writePart(part, text[:min(len(text), room(r.Path))]) != nil && writePart(part, text[:min(len(text), shortReport)]) != nil {
		return
	}
	Rotate(r.Path)
	if os.Rename(part, r.Path) != nil {
		_ = os.Remove(part)
	}
}

// writePart writes a file and syncs it, or leaves none.
func writePart(part string, text []byte) error {
	_ = os.Remove(part) // of a guard that was killed
	f, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o640)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	if err == nil {
		err = f.Sync()
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		_ = os.Remove(part)
	}
	return err
}

// room is how long a report may be where it goes, in bytes.
func room(path string) int {
	dir := path
	for len(dir) > 0 && dir[len(dir)-1] != '/' {
		dir = dir[:len(dir)-1]
	}
	if free, known := freeRoom(dir); known && free < nearlyFull {
		return shortReport
	}
	return longestReport
}

// text is the report's: what a person needs first.
func (r *Report) text(crash []byte, at time.Time) []byte {
	ended := Killed
	if len(crash) > 0 {
		ended = "crashed: " + cause(crash)
	}
	text := "time:    " + at.UTC().Format("2006-01-02 15:04:05 UTC") +
		"\nprogram: " + r.Program +
		"\nrun:     " + r.Run +
		"\nended:   " + ended +
		"\n\nWhat was logged is safe. Please report this file, unless you know what ended the program.\n\n"
	return append([]byte(text), crash...)
}

// cause is what a crash was, in one line. The Go runtime says of its own errors only where they
// were: what they are it writes to standard error alone.
func cause(crash []byte) string {
	const where = "goroutine "
	line := firstLine(crash)
	if len(line) >= len(where) && line[:len(where)] == where {
		return "a fatal error of the Go runtime, in the first goroutine below"
	}
	return line
}

// firstLine is a text's first line that is not empty, cut to a length for one line.
func firstLine(text []byte) string {
	const most = 200
	for len(text) > 0 && text[0] == '\n' {
		text = text[1:]
	}
	n := 0
	for n < len(text) && n < most && text[n] != '\n' {
		n++
	}
	return string(text[:n])
}

// Rotate makes a report the first of the older ones.
func Rotate(path string) {
	for n := older; n > 0; n-- {
		_ = os.Rename(Older(path, n-1), Older(path, n)) // there may be none
	}
}

// Older is where a report stands that so many newer ones have followed.
func Older(path string, n int) string {
	if n == 0 {
		return path
	}
	return path + "-" + strconv.Itoa(n)
}

// Paths are all files that reports of a path may take.
func Paths(path string) []string {
	all := []string{path + "-new"}
	for n := range older + 1 {
		all = append(all, Older(path, n))
	}
	return all
}

// freeRoom is how much a disk can take, in bytes, where that is known.
func freeRoom(dir string) (free int64, known bool) {
	var st syscall.Statfs_t
	if syscall.Statfs(dir, &st) != nil {
		return 0, false
	}
	return int64(st.Bavail) * int64(st.Bsize), true
}
