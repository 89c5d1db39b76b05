package yamlfile

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Most is the highest number of errors that one reading reports.
const Most = 20

// Error is one thing wrong with a file.
type Error struct {
	File         string
	Line, Column int    // from 1, in characters; 0 where the whole file is meant
	Path         string // as in chips.A.rate; empty at the top
	Read         string // what was read, as the file has it; may be empty
	Why          string // what is wrong with it; may be empty
	May          string // what may stand there; may be empty

	key bool // the key is wrong, which says nothing of its value
}

// Error renders the error on one line:
//
//	rig.yaml:12:15: chips.A.rate: read "900 /s"; may be 8, 16 or 32 /s
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Line, e.Column)
	}
	b.WriteString(": ")
	if e.Path != "" {
		b.WriteString(e.Path + ": ")
	}
	parts := make([]string, 0, 3)
	if e.Read != "" {
		parts = append(parts, "read "+quote(e.Read))
	}
	if e.Why != "" {
		parts = append(parts, e.Why)
	}
	b.WriteString(strings.Join(parts, ": "))
	if e.May != "" {
		if len(parts) > 0 {
			b.WriteString("; ")
		}
		b.WriteString("may be " + e.May)
	}
	return b.String()
}

// quote shows text from a file: on one line, at most 60 characters of it.
func quote(s string) string {
	const most = 60
	if utf8.RuneCountInString(s) > most {
		s = string([]rune(s)[:most]) + "…"
	}
	return strconv.Quote(s)
}

// Joined returns the errors in file order as one error, nil where there is none.
// Beyond Most of them it only says how many there are.
func Joined(list []*Error) error {
	if len(list) == 0 {
		return nil
	}
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b *Error) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	all := make([]error, 0, Most+1)
	for i, e := range list {
		if i == Most {
			all = append(all, fmt.Errorf("%s: %d more errors", e.File, len(list)-Most))
			break
		}
		all = append(all, e)
	}
	return errors.Join(all...)
}
