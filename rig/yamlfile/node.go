package yamlfile

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"makebreak/rig/unit"
	"makebreak/rig/words"
)

type kind int

const (
	nullKind kind = iota // nothing written, or null
	textKind
	mapKind
	listKind
)

// Node is one value of a file, with its place. The reading methods return false
// where the value cannot be had; the error is then already recorded with the Doc.
// All of them may be called on a nil node, which stands for a key that was not
// given: they return false and record nothing.
type Node struct {
	Line, Column int

	doc     *Doc
	path    string
	kind    kind
	text    string
	example string // of a value, where whoever asked for it gave one
	entries []Entry
	items   []*Node
}

// Entry is one key of a mapping and its value.
type Entry struct{ Key, Value *Node }

// Name returns the key's text.
func (e Entry) Name() string { return e.Key.text }

// Refuse records that the value is not acceptable: why, which may be empty, and what to do
// about it, as in "must be above 0 V".
func (n *Node) Refuse(why, remedy string) {
	if n == nil {
		return
	}
	read := n.text
	switch {
	case n.kind == mapKind && len(n.entries) > 0:
		read, why = "", cmp.Or(why, "keys with values are given")
	case n.kind == listKind && len(n.items) > 0:
		read, why = "", cmp.Or(why, "a list is given")
	case strings.TrimSpace(read) == "":
		why = cmp.Or(why, "no value is given")
	}
	n.fail(read, why, remedy)
}

// Fail records an error about the value without showing it.
func (n *Node) Fail(why, remedy string) { n.fail("", why, remedy) }

func (n *Node) fail(read, why, remedy string) {
	n.doc.errs = append(n.doc.errs, &Error{File: n.doc.File, Line: n.Line, Column: n.Column, Path: n.path, Read: read, Why: why, Remedy: remedy})
}

// Text reads a value of one line that is not empty.
func (n *Node) Text() (string, bool) {
	if n == nil {
		return "", false
	}
	s := strings.TrimSpace(n.text)
	if n.kind != textKind || s == "" {
		rule := "must be text"
		if n.example != "" {
			rule += ", for example " + n.example
		}
		n.Refuse("", rule)
		return "", false
	}
	return s, true
}

// Word reads one of the words allowed.
func (n *Node) Word(allowed ...string) (string, bool) {
	if n == nil {
		return "", false
	}
	if n.kind != textKind || !slices.Contains(allowed, n.text) {
		n.Refuse("", words.UseOneOf(n.text, allowed))
		return "", false
	}
	return n.text, true
}

// Quantity reads a number with a unit of the kind, in base units.
func (n *Node) Quantity(k unit.Kind) (float64, bool) {
	if n == nil {
		return 0, false
	}
	if n.kind != textKind {
		n.Refuse("", "must be "+k.Name+", as in "+k.Example)
		return 0, false
	}
	v, err := k.Parse(n.text)
	if bad := new(unit.Error); errors.As(err, &bad) {
		n.Fail(strconv.Quote(bad.Read)+" "+bad.Why, bad.Remedy)
	}
	return v, err == nil
}

// Whole reads a bare whole number from lo to hi. Hexadecimal is read too.
func (n *Node) Whole(lo, hi int64) (int64, bool) {
	if n == nil {
		return 0, false
	}
	v, err := strconv.ParseInt(n.text, 0, 64)
	if n.kind != textKind || err != nil || v < lo || v > hi || strings.Contains(n.text, "_") {
		n.Refuse("", fmt.Sprintf("must be a whole number from %d to %d", lo, hi))
		return 0, false
	}
	return v, true
}

// Bool reads true or false.
func (n *Node) Bool() (bool, bool) {
	w, ok := n.Word("true", "false")
	return w == "true", ok
}

// IsText reports whether the value is a single one, neither keys nor a list.
func (n *Node) IsText() bool { return n != nil && n.kind == textKind }

// Plain returns a single value's text, empty where it is anything else. It records
// nothing.
func (n *Node) Plain() string {
	if n == nil || n.kind != textKind {
		return ""
	}
	return n.text
}

// IsMap reports whether the value has keys.
func (n *Node) IsMap() bool { return n != nil && n.kind == mapKind }

// IsList reports whether the value is a list.
func (n *Node) IsList() bool { return n != nil && n.kind == listKind }

// Child returns the value of a key, nil where there is none. It records nothing.
func (n *Node) Child(key string) *Node {
	if n == nil {
		return nil
	}
	for _, e := range n.entries {
		if e.Key.text == key {
			return e.Value
		}
	}
	return nil
}

// Has reports whether the value has keys and this one is among them.
func (n *Node) Has(key string) bool {
	return n != nil && slices.ContainsFunc(n.entries, func(e Entry) bool { return e.Key.text == key })
}

// Items returns the values of a list with at least one.
func (n *Node) Items() []*Node {
	if n == nil {
		return nil
	}
	if n.kind != listKind || len(n.items) == 0 {
		n.Refuse("", "must be a list with at least one item, each after a dash")
		return nil
	}
	return n.items
}

// Entries returns the keys of a mapping in file order, whatever they are called.
// rule says what the value must be, for the error where there are none.
func (n *Node) Entries(rule string) []Entry {
	if n == nil {
		return nil
	}
	if n.kind != mapKind || len(n.entries) == 0 {
		n.Refuse("", rule)
		return nil
	}
	return n.entries
}

// Report records an error at a path, wherever in the file that is. A single value
// is read from the file; read stands in for anything else.
func (d *Doc) Report(path, read, why, remedy string) {
	e := &Error{File: d.File, Path: path, Read: read, Why: why, Remedy: remedy}
	d.errs = append(d.errs, e)
	if d.Root == nil {
		return // made without a file
	}
	n := d.nearest(path)
	e.Line, e.Column = n.Line, n.Column
	if n.path == path && n.kind == textKind {
		e.Read = n.text
	}
}

// nearest returns the value at the path, or what stands nearest above it. A mapping
// or list is placed where its key is.
func (d *Doc) nearest(path string) *Node {
	n := d.Root
	for {
		next, key := n.onWay(path)
		if next == nil {
			return n
		}
		if n = next; key != nil && next.kind != textKind {
			at := *next
			at.Line, at.Column = key.Line, key.Column
			n = &at
		}
	}
}

// onWay returns the child on the way to the path and its key, nil where there is
// none.
func (n *Node) onWay(path string) (value, key *Node) {
	for _, e := range n.entries {
		if inside(path, e.Value.path) {
			return e.Value, e.Key
		}
	}
	for _, c := range n.items {
		if inside(path, c.path) {
			return c, nil
		}
	}
	return nil, nil
}

// inside reports whether path is outer or lies below it.
func inside(path, outer string) bool {
	rest, ok := strings.CutPrefix(path, outer)
	return ok && (outer == "" || rest == "" || rest[0] == '.' || rest[0] == '[')
}

// ReportKey records an error about the key at a path.
func (d *Doc) ReportKey(path, read, why, remedy string) {
	d.Report(path, read, why, remedy)
	d.errs[len(d.errs)-1].key = true
}

// Refused reports whether the value at the path, or one above or below it, has been
// refused. Errors about keys do not count.
func (d *Doc) Refused(path string) bool {
	return slices.ContainsFunc(d.errs, func(e *Error) bool {
		return !e.key && (inside(e.Path, path) || e.Path != "" && inside(path, e.Path))
	})
}

// Refused is Doc.Refused of the value's path.
func (n *Node) Refused() bool { return n.doc.Refused(n.path) }
