package licences

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"unicode"
)

// module is what go list tells of one.
type module struct {
	Path, Version, Dir string
	Main               bool
}

// linkedFor lists the modules that are linked into the program for a target.
func linkedFor(t *testing.T, system, processor string) (all []module) {
	t.Helper()
	c := exec.Command("go", "list", "-deps", "-json=Module", "makebreak/cmd/makebreak")
	c.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+system, "GOARCH="+processor)
	out, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	for d := json.NewDecoder(bytes.NewReader(out)); d.More(); {
		var p struct{ Module *module }
		if err := d.Decode(&p); err != nil {
			t.Fatal(err)
		}
		if p.Module != nil && !p.Module.Main && !slices.Contains(all, *p.Module) {
			all = append(all, *p.Module)
		}
	}
	if len(all) == 0 {
		t.Fatalf("go list shows no module for %s/%s", system, processor)
	}
	return all
}

func linked(t *testing.T) *Collection {
	t.Helper()
	c, err := Linked()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// What is kept is what is linked in, for each board that a rig stands on.
func TestLinked_Modules(t *testing.T) {
	t.Parallel()
	c := linked(t)
	targets := []string{"arm", "arm64", "amd64"}
	if testing.Short() {
		targets = targets[2:]
	}
	seen := map[string]bool{}
	for _, processor := range targets {
		for _, m := range linkedFor(t, "linux", processor) {
			seen[m.Path] = true
			if !slices.ContainsFunc(c.Parts, func(p Part) bool {
				return p.Name == m.Path && p.Version == m.Version && (p.System == "" || p.System == "linux")
			}) {
				t.Errorf("%s %s is linked in for %s and not kept; go run ./.ci/licences keeps it", m.Path, m.Version, processor)
			}
		}
	}
	for _, p := range c.Parts {
		if module := strings.Contains(p.Name, "/"); module && !seen[p.Name] && p.System != "darwin" {
			t.Errorf("%s is kept and not linked in", p.Name)
		}
	}
}

// Each licence and notice of a module that is linked in is kept as it stands there.
func TestLinked_Files(t *testing.T) {
	t.Parallel()
	c := linked(t)
	files := 0
	for _, m := range linkedFor(t, runtime.GOOS, runtime.GOARCH) {
		for _, pattern := range []string{"LICEN[CS]E*", "Licen[cs]e*", "COPYING*", "NOTICE*"} {
			names, err := filepath.Glob(filepath.Join(m.Dir, pattern))
			if err != nil {
				t.Fatal(err)
			}
			for _, name := range names {
				b, err := os.ReadFile(name)
				if err != nil {
					t.Fatal(err)
				}
				files++
				if text := string(b); !strings.HasSuffix(name, "-LOGO") && !c.has(m.Path, text) {
					t.Errorf("%s is not kept", name)
				}
			}
		}
	}
	if files < 40 {
		t.Errorf("only %d files were found", files)
	}
	own, err := os.ReadFile(filepath.Join("..", "..", "LICENSE"))
	if err != nil {
		t.Fatal(err)
	}
	if !c.has("makebreak", string(own)) {
		t.Error("the program's own licence is another one")
	}
}

// has reports whether a part has a text.
func (c *Collection) has(part, text string) bool {
	text = strings.TrimSpace(strings.ReplaceAll(text, "\r\n", "\n"))
	return slices.ContainsFunc(c.Parts, func(p Part) bool {
		return p.Name == part && slices.ContainsFunc(p.Texts, func(t Text) bool { return c.Texts[t.Text] == text })
	})
}

// Each part has a licence under which it can be handed on with a program under MIT, and its
// texts; each text is a part's, and plain.
func TestLinked_Whole(t *testing.T) {
	t.Parallel()
	c := linked(t)
	allowed := []string{"0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "ISC", "MIT", "MIT (musl)", "public domain (SQLite)", "Unicode-DFS-2016"}
	used := make([]bool, len(c.Texts))
	for _, p := range c.Parts {
		for l := range strings.SplitSeq(p.Licence, " and ") {
			if !slices.Contains(allowed, l) {
				t.Errorf("%s: licence %q", p.Name, p.Licence)
			}
		}
		if len(p.Texts) == 0 {
			t.Errorf("%s has no text", p.Name)
		}
		for _, x := range p.Texts {
			used[x.Text] = true
		}
	}
	for n, text := range c.Texts {
		if !used[n] || text == "" {
			t.Errorf("text %d is nobody's, or empty", n)
		}
		if i := strings.IndexFunc(text, func(r rune) bool { return r != '\n' && r != '\t' && r != '\f' && unicode.IsControl(r) }); i >= 0 {
			t.Errorf("text %d has a control character: %q", n, text[i:i+1])
		}
	}
}

// Some that are easily forgotten: code and data that modules have taken over from elsewhere.
func TestWriteTexts(t *testing.T) {
	t.Parallel()
	b, err := Texts()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"Copyright 2009 The Go Authors", "Sun Microsystems", "Stephen L. Moshier", "Lucent Technologies", // the standard library's
		"SQLite Is Public Domain", "Rich Felker", "Bigelow & Holmes", "UNICODE, INC. LICENSE AGREEMENT",
		"Apache License\n", "The Apache Software Foundation", "Prometheus", "CoreOS", "the makebreak developers",
	} {
		if !bytes.Contains(b, []byte(want)) {
			t.Errorf("%q is not in the texts", want)
		}
	}
	if n := bytes.Count(b, []byte("TERMS AND CONDITIONS FOR USE, REPRODUCTION, AND DISTRIBUTION")); n > 8 {
		t.Errorf("the Apache licence is there %d times: the same text is not kept once", n)
	}
	for _, p := range linked(t).Here() {
		if !bytes.Contains(b, []byte(rule+"\n"+p.Name)) {
			t.Errorf("%s is not in the texts", p.Name)
		}
	}
}
