// Package problem gives an error its kind, so that the program's exit status follows
// from what happened and never from the text of a message.
//
// An error is built once, where the fault is found: what was being done, where, and the
// cause. Packages do not put their own names before it.
package problem

import (
	"context"
	"errors"
	"strings"

	"makebreak/rig/words"
)

// Kind is a kind of problem, by who can do something about it.
type Kind int

// The kinds, the gravest last: where several errors are joined, the gravest decides.
const (
	Unknown     Kind = iota // no error says; the program takes it as its own fault
	Interrupted             // somebody stopped the program
	Usage                   // the command was typed wrongly
	Input                   // a file that was read is wrong
	Rig                     // the rig is not there, not reachable or lost
	Storage                 // the log or a file of results could not be read or written
	Internal                // the program itself is at fault
)

// String names the kind in a few words.
func (k Kind) String() string {
	words := [...]string{"unknown", "interrupted", "bad usage", "bad input", "rig not available", "storage failed", "program at fault"}
	if k < 0 || int(k) >= len(words) {
		return "unknown"
	}
	return words[k]
}

// Error is a problem with its kind. Op and Place may be empty, Err may not.
type Error struct {
	Kind  Kind
	Op    string // what was being done, as in "open the I²C bus"
	Place string // where: a file with line and column, a device, a signal
	Err   error  // the cause
}

// New returns a problem of the kind with a text of its own.
func New(kind Kind, text string) *Error { return &Error{Kind: kind, Err: errors.New(text)} }

// Of gives an error a kind; nil stays nil.
func Of(kind Kind, err error) error {
	if err == nil {
		return nil
	}
	return &Error{Kind: kind, Err: err}
}

// Reading gives an error of reading a file its kind: Input, or Interrupted where the reading
// was ended by its context. Nil stays nil.
func Reading(err error) error {
	if KindOf(err) == Interrupted {
		return New(Interrupted, "interrupted")
	}
	return Of(Input, err)
}

// Instead returns an error that is its cause for errors.Is, and says the text in its place.
func Instead(cause error, text string) error { return instead{cause, text} }

type instead struct {
	cause error
	text  string
}

func (e instead) Error() string { return e.text }
func (e instead) Unwrap() error { return e.cause }

// Error returns "place: op: cause", without the parts that are empty.
func (e *Error) Error() string {
	parts := make([]string, 0, 3)
	for _, s := range []string{words.Safe(e.Place), words.Safe(e.Op), e.Err.Error()} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, ": ")
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// Problem returns the kind. Other packages' error types have this method where their kind
// is always the same.
func (e *Error) Problem() Kind { return e.Kind }

// KindOf returns the kind of an error: that of the outermost error in its chain which has
// one, the gravest of those that are joined, Interrupted for a cancelled context, and
// Unknown for nil and for errors that nobody gave a kind.
func KindOf(err error) Kind {
	switch x := err.(type) {
	case nil:
		return Unknown
	case interface{ Problem() Kind }:
		if k := x.Problem(); k != Unknown {
			return k
		}
	case interface{ Unwrap() []error }:
		worst := Unknown
		for _, e := range x.Unwrap() {
			worst = max(worst, KindOf(e))
		}
		return worst
	}
	if inner := errors.Unwrap(err); inner != nil {
		return KindOf(inner)
	}
	if errors.Is(err, context.Canceled) {
		return Interrupted
	}
	return Unknown
}

// Innermost is what lies at the bottom of an error: the operating system's word,
// without the names of calls and addresses around it.
func Innermost(err error) error {
	for {
		inner := errors.Unwrap(err)
		if inner == nil {
			return err
		}
		err = inner
	}
}
