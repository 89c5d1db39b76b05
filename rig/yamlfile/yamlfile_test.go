package yamlfile

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"makebreak/rig/unit"
)

func open(t *testing.T, src string) (*Doc, *Fields) {
	t.Helper()
	d, err := Parse("f.yaml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	f, ok := d.Root.Fields("keys")
	if !ok {
		t.Fatal(d.Err())
	}
	return d, f
}

// Values are read from every style in which YAML writes them.
func TestNode_values(t *testing.T) {
	d, f := open(t, `
plain: two words   # a comment
single: 'it''s'
double: "a\u00b5b"
number: 42
hex: 0x48
on: on
true: true
volts: 350 mV
folded: >-
  one
  line
list: [a, {b: c}]
block:
- x
- y: 1 ms
`)
	text := func(key, want string) {
		t.Helper()
		if got, ok := f.Need(key, "").Text(); !ok || got != want {
			t.Errorf("%s: %q, want %q", key, got, want)
		}
	}
	text("plain", "two words")
	text("single", "it's")
	text("double", "aµb")
	text("number", "42")
	text("on", "on")
	text("folded", "one line")
	if v, ok := f.Need("hex", "").Whole(0, 100); !ok || v != 72 {
		t.Errorf("hex: %d", v)
	}
	if v, ok := f.Need("true", "").Bool(); !ok || !v {
		t.Error("true is not true")
	}
	if v, ok := f.Need("volts", "").Quantity(unit.Voltage); !ok || v != 0.35 {
		t.Errorf("volts: %g", v)
	}
	if items := f.Need("list", "").Items(); len(items) != 2 || items[1].Entries("")[0].Name() != "b" {
		t.Error("list is not read")
	}
	items := f.Need("block", "").Items()
	if len(items) != 2 || items[0].Plain() != "x" || items[1].Line != 16 || items[1].Column != 3 {
		t.Errorf("block: %+v", items)
	}
	if !f.Done() || d.Err() != nil {
		t.Error(d.Err())
	}
}

// A key that is not given stands for nothing and breaks nothing.
func TestNode_notGiven(t *testing.T) {
	d, f := open(t, "a: 1\n")
	n := f.May("b")
	_, isText := n.Text()
	_, isWord := n.Word("x")
	_, isQuantity := n.Quantity(unit.Time)
	_, isWhole := n.Whole(0, 1)
	_, isBool := n.Bool()
	_, isFields := n.Fields("")
	if isText || isWord || isQuantity || isWhole || isBool || isFields || n.IsText() || n.IsMap() || n.Plain() != "" || n.Items() != nil || n.Entries("") != nil {
		t.Error("a key that is not given has a value")
	}
	n.Refuse("why", "may")
	if f.Has("b") || !f.Has("a") || f.Empty() || d.Err() != nil {
		t.Errorf("errors: %v", d.Err())
	}
}

func TestError(t *testing.T) {
	for _, c := range []struct {
		e    Error
		want string
	}{
		{Error{File: "rig.yaml", Line: 12, Column: 15, Path: "chips.A.rate", Read: "900 /s", Remedy: "must be 8, 16 or 32 /s"},
			`rig.yaml:12:15: chips.A.rate: "900 /s": must be 8, 16 or 32 /s`},
		{Error{File: "rig.yaml", Why: "the file is too large", Remedy: "must be up to 256 KiB"}, `rig.yaml: the file is too large: must be up to 256 KiB`},
		{Error{File: "a", Line: 1, Column: 1, Read: "x\ny", Why: "bad"}, `a:1:1: "x\ny": bad`},
		{Error{File: "a", Line: 1, Column: 1, Path: "p", Remedy: "must be b"}, `a:1:1: p: must be b`},
		{Error{File: "a", Line: 1, Column: 1, Read: strings.Repeat("é", 100)}, `a:1:1: "` + strings.Repeat("é", 60) + `…"`},
	} {
		if got := c.e.Error(); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

// Errors come in file order, however they were found, and no more than Most of them.
func TestJoined(t *testing.T) {
	if err := Joined(nil); err != nil {
		t.Errorf("no errors make %v", err)
	}
	var list []*Error
	for i := range Most + 5 {
		list = append(list, &Error{File: "f", Line: 100 - i, Column: 1, Why: "bad"})
	}
	lines := strings.Split(Joined(list).Error(), "\n")
	if len(lines) != Most+1 || lines[0] != "f:76:1: bad" || lines[Most] != "f: 5 more errors" {
		t.Errorf("%d lines, first %q, last %q", len(lines), lines[0], lines[len(lines)-1])
	}
}

// A problem found afterwards is placed at its value, at a mapping's key, or at what stands
// nearest above it.
func TestDoc_Report(t *testing.T) {
	d, f := open(t, "chips:\n  A: {rate: 900 /s}\nlist:\n  - {x: 1}\n  - {x: 2}\n")
	f.May("chips")
	d.Report("chips.A.rate", "other", "", "use 8 /s")
	d.Report("chips.A", "", "bad", "")
	d.Report("chips.A.model", "", "missing", "")
	d.Report("list[1].x", "", "", "use 3")
	d.Report("nowhere", "", "bad", "")
	want := strings.Join([]string{
		`f.yaml:1:1: nowhere: bad`,
		`f.yaml:2:3: chips.A: bad`,
		`f.yaml:2:3: chips.A.model: missing`,
		`f.yaml:2:13: chips.A.rate: "900 /s": use 8 /s`,
		`f.yaml:5:9: list[1].x: "2": use 3`,
	}, "\n")
	if diff := cmp.Diff(want, d.Err().Error()); diff != "" {
		t.Error(diff)
	}
	for path, want := range map[string]bool{"chips.A.rate": true, "chips": true, "chips.A.rate.x": true, "chips.B": false, "list[0]": false, "list[1]": true} {
		if got := d.Refused(path); got != want {
			t.Errorf("refused at %s: %v", path, got)
		}
	}
	none := &Doc{File: "g"}
	none.Report("a.b", "x", "bad", "")
	if got := none.Err().Error(); got != `g: a.b: "x": bad` {
		t.Error(got)
	}
}

// An error about a key says nothing of what stands under it.
func TestDoc_ReportKey(t *testing.T) {
	d, _ := open(t, "chips:\n  A: {rate: 900 /s}\n")
	d.ReportKey("chips.A", "A", "bad", "")
	if d.Refused("chips.A.rate") || d.Refused("chips.A") || d.Err() == nil {
		t.Errorf("errors: %v", d.Err())
	}
}

// The bounds hold: none of these takes long, and each is refused for what it is.
func TestParse_bounds(t *testing.T) {
	for _, c := range []struct{ name, src, want string }{
		{"size", strings.Repeat("# a comment\n", MaxBytes/12+1), "too large"},
		{"lines", "a: |\n" + strings.Repeat("\n", maxLines), "too long"},
		{"line", "a: " + strings.Repeat("b", maxLine), "line is too long"},
		{"brackets", strings.Repeat("[", 100), "too deep"},
		{"dashes", strings.Repeat("- ", 500) + "a", "too deep"},
		{"indents", indents(60), "too deep"},
		{"marks", strings.Repeat(strings.Repeat("- a\n", 1), 9000) + strings.Repeat("- [a, a, a, a, a, a, a, a, a, a, a, a, a]\n", 900), "too much"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d, err := Parse("f.yaml", []byte(c.src))
			if err == nil || d != nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %.200v, want %q", err, c.want)
			}
		})
	}
}

func indents(depth int) string {
	var b strings.Builder
	for i := range depth {
		b.WriteString(strings.Repeat(" ", i) + "a:\n")
	}
	return b.String()
}

func TestReadFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "f.yaml")
	if _, err := ReadFile(t.Context(), path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	if err := os.WriteFile(path, []byte("a: 1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if src, err := ReadFile(t.Context(), path); err != nil || string(src) != "a: 1\n" {
		t.Errorf("%q, %v", src, err)
	}
	if err := os.WriteFile(path, make([]byte, MaxBytes+1), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadFile(t.Context(), path); err == nil || !strings.Contains(err.Error(), "too large") {
		t.Errorf("a large file: %v", err)
	}
}

// Whatever the text, Parse returns: a tree whose places lie in the text, or errors that
// have one.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"a: 1\n", "a: [b, {c: d}]\n", "a: |\n  x\n y\n", "? a\n", "a: \"\\x", "{", "- - a\n", "a: 'b\n\n'", "\ufeffa: é\r\n", "a:\n -\n", "!!map {a: b}", "a: >\n\n\n", "<<: 1", "---\n...\n---"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		d, err := Parse("f.yaml", src)
		lines := strings.Split(strings.TrimPrefix(string(src), "\ufeff"), "\n")
		if err != nil {
			one := new(Error)
			if !errors.As(err, &one) || one.File != "f.yaml" || one.Line > len(lines)+1 {
				t.Fatalf("an error without a place: %v", err)
			}
			return
		}
		inText(t, d.Root, lines)
	})
}

func inText(t *testing.T, n *Node, lines []string) {
	if n.Line < 1 || n.Line > len(lines) || n.Column < 1 || n.Column > utf8.RuneCountInString(lines[n.Line-1])+1 {
		t.Fatalf("%s: %d:%d is not in the text", n.path, n.Line, n.Column)
	}
	for _, e := range n.entries {
		inText(t, e.Key, lines)
		inText(t, e.Value, lines)
	}
	for _, c := range n.items {
		inText(t, c, lines)
	}
}
