package csvfile

import (
	"bytes"
	"fmt"
	"strings"

	"makebreak/rig/capture"
	"makebreak/rig/words"
)

// kind is what a column holds.
type kind uint8

const (
	timeColumn kind = iota
	eventColumn
	voltsColumn
	stateColumn
	keptColumn
	originColumn
	lostColumn
)

// Names of the columns that have a fixed name or ending.
const (
	timeName  = "time_s"
	eventName = "event"
	voltsEnd  = "_V"
	keptName  = "samples_kept"
)

// Bounds of names and of the header.
const (
	maxColumns = capture.MaxSignals
	maxName    = 64
)

// column is one column of a file and what it fills.
type column struct {
	name  string
	kind  kind
	trace *capture.Trace
	track *capture.Track
	// at is when the column was last written, for rows that repeat a time.
	at      int64
	written bool
	places  int // of volts: the most decimal places seen
	steps   steps
	// of is the column of the line that a column of lost edges is about, losing what it
	// said last.
	of     int
	losing bool
}

// kindOf tells what the column's name says it holds, and its signal.
func kindOf(name string) (k kind, signal string) {
	if name == eventName {
		return eventColumn, ""
	}
	if s, ok := strings.CutSuffix(name, voltsEnd); ok {
		return voltsColumn, s
	}
	if name == keptName {
		return keptColumn, ""
	}
	if originName(name) {
		return originColumn, ""
	}
	return stateColumn, name
}

// header checks the names of a file's columns and returns the columns. On an
// error, line and file are left to the caller.
func header(names []string) ([]column, error) {
	if len(names) > maxColumns {
		return nil, &SyntaxError{Read: fmt.Sprintf("%d columns", len(names)), Remedy: fmt.Sprintf("must be at most %d", maxColumns)}
	}
	if names[0] != timeName {
		return nil, &SyntaxError{Column: 1, Read: excerpt([]byte(names[0])), Remedy: firstColumnRule(names)}
	}
	columns := make([]column, len(names))
	seen := make(map[string]int, len(names))
	signals := 0
	for i, name := range names {
		if err := checkName(i, name, seen); err != nil {
			return nil, err
		}
		seen[name] = i + 1
		columns[i].name = name
		if i == 0 {
			continue
		}
		columns[i].kind, _ = kindOf(name)
		if k := columns[i].kind; k == voltsColumn || k == stateColumn {
			signals++
		}
	}
	markLost(columns)
	if signals == 0 {
		return nil, &SyntaxError{Read: "there is no column of volts and none of a line",
			Remedy: "add one of volts with a name that ends in " + voltsEnd + ", or one of a contact, reference or drive, holding 0 and 1"}
	}
	return columns, nil
}

// firstColumnRule says what the header must begin with, and guesses at what
// separates the cells where it is not a comma.
func firstColumnRule(names []string) string {
	must := "must be the header row, whose first column is " + timeName
	if len(names) == 1 {
		for _, c := range []string{";", "\t"} {
			if strings.Contains(names[0], c) {
				return must + fmt.Sprintf("; cells are separated by commas, not by %q", c)
			}
		}
	}
	return must
}

func checkName(i int, name string, seen map[string]int) error {
	bad := func(remedy string) error {
		return &SyntaxError{Column: i + 1, Read: excerpt([]byte(name)), Remedy: remedy}
	}
	k, signal := kindOf(name)
	switch {
	case name == "":
		return bad("must be the column's name")
	case seen[name] > 0:
		return bad(fmt.Sprintf("use another name: column %d has this one", seen[name]))
	case i > 0 && strings.EqualFold(name, timeName), k != eventColumn && strings.EqualFold(name, eventName):
		return bad("use " + timeName + " for the first column and " + eventName + " for the events, in small letters")
	case k == voltsColumn && signal == "":
		return bad("write an output's name before " + voltsEnd + ", such as OUT3" + voltsEnd)
	case len(name) > maxName+len(voltsEnd):
		return bad(fmt.Sprintf("must be a name of at most %d bytes", maxName))
	case words.Formula(name):
		return bad("start it with a letter or a digit: a spreadsheet takes this name for a formula")
	case words.NameFault(name) != "":
		return bad("must be a name of letters, digits and other signs that print, in UTF-8")
	}
	return nil
}

// eventOK reports whether the cell can be an event's name.
func eventOK(cell []byte) bool {
	if len(cell) > maxName {
		return false
	}
	for i, c := range cell {
		letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
		if !letter && (i == 0 || c-'0' > 9 && c != '-' && c != '_' && c != '.') {
			return false
		}
	}
	return len(cell) > 0
}

// splitCells appends the cells of a row, quotes taken off (RFC 4180) and space
// around each cell dropped. ok is false where a quote does not end on the row
// or text follows it; n is then the cell's number.
func splitCells(cells [][]byte, row []byte) (_ [][]byte, n int, ok bool) {
	for {
		row = bytes.TrimLeft(row, " \t")
		var cell []byte
		if len(row) > 0 && row[0] == '"' {
			if cell, row, ok = unquote(row[1:]); !ok {
				return cells, len(cells) + 1, false
			}
			row = bytes.TrimLeft(row, " \t")
			if len(row) > 0 && row[0] != ',' {
				return cells, len(cells) + 1, false
			}
		} else {
			end := bytes.IndexByte(row, ',')
			if end < 0 {
				end = len(row)
			}
			cell, row = row[:end], row[end:]
		}
		cells = append(cells, bytes.TrimSpace(cell))
		if len(row) == 0 {
			return cells, 0, true
		}
		row = row[1:]
	}
}

// unquote returns the text up to the closing quote and what follows it. Two
// quotes stand for one.
func unquote(b []byte) (text, rest []byte, ok bool) {
	end := bytes.IndexByte(b, '"')
	if end < 0 {
		return nil, nil, false
	}
	if end+1 >= len(b) || b[end+1] != '"' {
		return b[:end], b[end+1:], true
	}
	for i := 0; i < len(b); i++ {
		if b[i] == '"' {
			if i+1 >= len(b) || b[i+1] != '"' {
				return text, b[i+1:], true
			}
			i++
		}
		text = append(text, b[i])
	}
	return nil, nil, false
}
