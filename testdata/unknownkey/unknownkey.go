// Package unknownkey makes files that must be refused of files that are right: an unknown
// key is put into each mapping in turn. It is for tests.
package unknownkey

import (
	"fmt"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
)

// Key is the key that no file has.
const Key = "maxx"

// Check puts Key into every mapping of a YAML file, one at a time, and parses the result,
// which must be refused with an error that names the key. The file itself must be right. It
// returns how many mappings there were.
func Check(t *testing.T, src []byte, parse func([]byte) error) int {
	t.Helper()
	var root yaml.MapSlice
	if err := yaml.UnmarshalWithOptions(src, &root, yaml.UseOrderedMap()); err != nil {
		t.Fatal(err)
	}
	if err := parse(text(t, root)); err != nil {
		t.Fatalf("the file is refused as it is: %v", err)
	}
	n := 0
	walk("", root, func(path string, m yaml.MapSlice) yaml.MapSlice {
		n++
		return m
	})
	for i := range n {
		at, where := 0, ""
		changed := walk("", root, func(path string, m yaml.MapSlice) yaml.MapSlice {
			if at++; at-1 != i {
				return m
			}
			where = path
			return append(m[:len(m):len(m)], yaml.MapItem{Key: Key, Value: "13 V"})
		})
		err := parse(text(t, changed))
		if err == nil || !strings.Contains(err.Error(), Key) {
			t.Errorf("the key %s in %q: %v", Key, where, err)
		}
	}
	return n
}

func text(t *testing.T, v any) []byte {
	t.Helper()
	b, err := yaml.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// walk returns a copy of the value with each mapping in it replaced by what change returns.
func walk(path string, v any, change func(string, yaml.MapSlice) yaml.MapSlice) any {
	switch x := v.(type) {
	case yaml.MapSlice:
		m := make(yaml.MapSlice, len(x))
		for i, item := range x {
			m[i] = yaml.MapItem{Key: item.Key, Value: walk(fmt.Sprintf("%s.%v", path, item.Key), item.Value, change)}
		}
		return change(path, m)
	case []any:
		l := make([]any, len(x))
		for i, item := range x {
			l[i] = walk(fmt.Sprintf("%s[%d]", path, i), item, change)
		}
		return l
	}
	return v
}
