package guard

import (
	"os"
	"strings"

	"makebreak/rig/guard/process"
)

// Reports are all files that reports of a path may take.
func Reports(path string) []string { return process.Paths(path) }

// An Ending is how a program ended that did not end as it should.
type Ending struct {
	Run   string // what it did, as its report says; a text from outside
	Ended string // how, likewise
	File  string // where its report is now
}

// Untold returns how the last program ended whose report goes to a path, once: the report is
// one of the older ones from then on. It is false where there is nothing to tell.
func Untold(path string) (Ending, bool) {
	const head = 4 << 10 // its first lines are in there
	f, err := os.Open(path)
	if err != nil {
		return Ending{}, false
	}
	defer f.Close()
	b := make([]byte, head)
	n, _ := f.Read(b) // of what cannot be read nothing is known
	process.Rotate(path)
	e := Ending{File: process.Older(path, 1)}
	if _, err := os.Stat(path); err == nil {
		e.File = path // the folder cannot be written
	}
	for line := range strings.Lines(string(b[:n])) {
		key, value, _ := strings.Cut(line, ":")
		switch value = strings.TrimSpace(value); key {
		case "run":
			e.Run = value
		case "ended":
			e.Ended = value
			return e, true
		}
	}
	return e, true
}
