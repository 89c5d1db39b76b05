package yamlfile

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"makebreak/rig/problem"
	"makebreak/rig/words"
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
	Remedy       string // what to do about it; may be empty

	key bool // the key is wrong, which says nothing of its value
}

// Error renders the error on one line:
//
//	rig.yaml:12:15: chips.A.rate: "900 /s": use one of: 8 /s, 16 /s, 32 /s
func (e *Error) Error() string {
	place := words.Safe(e.File)
	if e.Line > 0 {
		place = fmt.Sprintf("%s:%d:%d", place, e.Line, e.Column)
	}
	return place + ": " + words.Complaint(e.Path, e.Read, e.Why, e.Remedy)
}

// Problem returns problem.Input: the file must be changed.
func (e *Error) Problem() problem.Kind { return problem.Input }

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
			all = append(all, &problem.Error{Kind: problem.Input, Place: e.File, Err: errors.New(words.Count(len(list)-Most, "more error"))})
			break
		}
		all = append(all, e)
	}
	return errors.Join(all...)
}
