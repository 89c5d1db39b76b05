package yamlfile

import (
	"slices"

	"makebreak/rig/words"
)

// Fields reads a mapping whose keys are known. Ask for every key that there can be,
// then call Done, which refuses the others.
type Fields struct {
	node  *Node
	known []string
}

// Fields opens the node as a mapping. Where it is none, the error is recorded
// and false returned; rule says what the value must be, as in "must be a drive".
func (n *Node) Fields(rule string) (*Fields, bool) {
	if n == nil {
		return nil, false
	}
	if n.kind != mapKind {
		n.Refuse("", rule)
		return nil, false
	}
	return &Fields{node: n}, true
}

// May returns the key's value, nil where it is not given.
func (f *Fields) May(key string) *Node {
	f.known = append(f.known, key)
	for _, e := range f.node.entries {
		if e.Key.text == key {
			return e.Value
		}
	}
	return nil
}

// Need returns the key's value. Where it is not given, that is recorded, with an example
// of a value.
func (f *Fields) Need(key, example string) *Node {
	n := f.May(key)
	if n == nil {
		missing := &Node{doc: f.node.doc, path: join(f.node.path, key), Line: f.node.Line, Column: f.node.Column}
		missing.fail("", "this key is missing", "add it, for example "+key+": "+example)
		return nil
	}
	n.example = example
	return n
}

// Has reports whether the key is given.
func (f *Fields) Has(key string) bool { return f.node.Has(key) }

// Done refuses every key that was not asked for and reports whether there was
// none.
func (f *Fields) Done() bool {
	all := true
	for _, e := range f.node.entries {
		if !slices.Contains(f.known, e.Key.text) {
			at := *e.Key
			at.path = f.node.path
			at.fail(e.Key.text, "there is no key of this name here", words.UseOneOf(e.Key.text, f.known))
			at.doc.errs[len(at.doc.errs)-1].key = true
			all = false
		}
	}
	return all
}

// Empty reports whether the mapping has no keys at all.
func (f *Fields) Empty() bool { return len(f.node.entries) == 0 }
