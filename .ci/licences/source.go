package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"makebreak/rig/licences"
)

// source adds the notices that stand in the source of what is linked in: code that was taken
// over from elsewhere, with what its authors ask for.
func (c *collection) source(p *licences.Part, m *module) error {
	for _, dir := range sortedKeys(m.packages) {
		listed := m.packages[dir]
		for _, name := range slices.Concat(listed.GoFiles, listed.SFiles, listed.HFiles) {
			path := filepath.Join(dir, name)
			all, err := notices(path)
			if err != nil {
				return fmt.Errorf("%s: %w", p.Name, err)
			}
			from, err := filepath.Rel(m.Dir, path)
			if err != nil {
				return err
			}
			for _, text := range all {
				c.text(p, filepath.ToSlash(from), text)
			}
		}
	}
	return nil
}

func sortedKeys(all map[string]*listed) (keys []string) {
	for k := range all {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// notices are the comments of a file that a licence asks to hand on.
func notices(path string) (all []string, err error) {
	if filepath.Ext(path) != ".go" {
		b, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		all := slices.DeleteFunc(blocks(string(b)), func(s string) bool { return !isNotice(s) })
		if i := slices.IndexFunc(all, func(s string) bool { return strings.Contains(s, "General Public") }); i >= 0 {
			return nil, fmt.Errorf("%s: code under a General Public License: %s", path, all[i])
		}
		return all, nil
	}
	f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	for _, group := range f.Comments {
		text := plain(group)
		switch {
		case !isNotice(text):
		case !strings.Contains(text, "General Public"):
			all = append(all, text)
		case !declaresOnly(f):
			return nil, fmt.Errorf("%s: code under a General Public License: %s", path, text)
		}
	}
	return all, nil
}

// declaresOnly reports whether a file has types and constants and no code. Such files of
// modernc.org/libc are made from headers of the GNU C library and keep their comments. Numbers
// and layouts of data out of headers may be used without restriction: section 5 of LGPL 2.1,
// from memory.
func declaresOnly(f *ast.File) bool {
	return !slices.ContainsFunc(f.Decls, func(d ast.Decl) bool {
		_, ok := d.(*ast.FuncDecl)
		return ok
	})
}

// plain is a comment's text without its marks.
func plain(group *ast.CommentGroup) string {
	var b strings.Builder
	for _, c := range group.List {
		text := strings.TrimSuffix(strings.TrimPrefix(c.Text, "/*"), "*/")
		b.WriteString(strings.TrimPrefix(strings.TrimPrefix(text, "//"), " ") + "\n")
	}
	return b.String()
}

// blocks are the comments of lines in a file of the assembler.
func blocks(text string) (all []string) {
	var b strings.Builder
	for line := range strings.Lines(text + "\n") {
		if rest, ok := strings.CutPrefix(strings.TrimSpace(line), "//"); ok {
			b.WriteString(strings.TrimPrefix(rest, " ") + "\n")
			continue
		}
		if b.Len() > 0 {
			all = append(all, b.String())
			b.Reset()
		}
	}
	return all
}

// isNotice reports whether a comment says more than that its file is under the module's licence.
func isNotice(text string) bool {
	low := strings.ToLower(strings.Join(strings.Fields(text), " "))
	has := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(low, w) })
	}
	if has("disclaims copyright") || !has("copyright", "public domain", "©") {
		return false
	}
	if has("governed by a bsd", "governed by the bsd", "licensed under the apache license, version 2.0", "governed by the apache", "licensed to the apache software foundation", "governed by an mit", "governed by the mit") && !has("permission", "portions copyright") {
		return false
	}
	return has("permission", "redistribut", "freely", "as is", "public domain", "licensed under", "mit license", "bsd license", "portions copyright", "may be used", "is licensed")
}
