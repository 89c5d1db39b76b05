package csvfile

import (
	"strconv"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// A SyntaxError is something wrong with a capture file: where, what was read and what to
// do about it.
type SyntaxError struct {
	File string
	Line int // from 1; 0: the file as a whole
	// Column counts from 1; 0: the row as a whole. Name is the column's name, where
	// it has one.
	Column int
	Name   string
	Read   string // what was read, quoted where it is the file's own text
	Remedy string // what to do, as in "must be 0 or 1"
}

// Error returns one line of text.
func (e *SyntaxError) Error() string {
	where := words.Safe(e.File)
	if e.Line > 0 {
		where += ":" + strconv.Itoa(e.Line)
	}
	if e.Column > 0 {
		if where != "" {
			where += ": "
		}
		where += "column " + strconv.Itoa(e.Column)
		if e.Name != "" {
			where += " (" + words.Safe(e.Name) + ")"
		}
	}
	if where != "" {
		where += ": "
	}
	return where + e.Read + ": " + e.Remedy
}

// Problem returns problem.Input: the file must be changed.
func (e *SyntaxError) Problem() problem.Kind { return problem.Input }

// excerptLen is how many bytes of the file's text an error repeats.
const excerptLen = 40

// excerpt quotes the file's own text, cut where it is long.
func excerpt(text []byte) string {
	if len(text) == 0 {
		return "an empty cell"
	}
	if len(text) > excerptLen {
		return strconv.Quote(string(text[:excerptLen])) + " and so on"
	}
	return strconv.Quote(string(text))
}
