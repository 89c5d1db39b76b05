package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// namedTest finds the tests and benchmarks that a document names, as in
// `rig/sim.TestFaults_ShowThemselves`.
var namedTest = regexp.MustCompile("`([a-z0-9/]+)\\.((?:Test|Fuzz|Benchmark|Example)[A-Za-z0-9_]*)`")

// TestDevelopers_NamesTests looks for every test and benchmark that the documents name.
func TestDevelopers_NamesTests(t *testing.T) {
	have, n := map[string][]string{}, 0
	for _, path := range documents(t, root) {
		for _, m := range namedTest.FindAllStringSubmatch(documentText(t, filepath.Join(root, path)), -1) {
			n++
			if _, ok := have[m[1]]; !ok {
				have[m[1]] = functionsIn(t, m[1], true)
			}
			if !slices.Contains(have[m[1]], m[2]) {
				t.Errorf("%s names %s of %s, which is not there", path, m[2], m[1])
			}
		}
	}
	if n < 100 {
		t.Errorf("the documents name only %d tests", n)
	}
}

// namedPath finds the files and folders that a document names, as in `rig/sim/fault.go`.
var namedPath = regexp.MustCompile("`((?:rig|analyze|sequences|cmd|testdata|\\.ci)(?:/[A-Za-z0-9_*-]+)+(?:\\.(?:go|yaml|md|csv))?)`")

// TestDevelopers_Paths looks for every file, folder and package that the documents name.
func TestDevelopers_Paths(t *testing.T) {
	n := 0
	for _, path := range documents(t, root) {
		for _, m := range namedPath.FindAllStringSubmatch(documentText(t, filepath.Join(root, path)), -1) {
			n++
			if all, err := filepath.Glob(filepath.Join(root, filepath.FromSlash(m[1]))); err != nil || len(all) == 0 {
				t.Errorf("%s names %s, which is not there", path, m[1])
			}
		}
	}
	if n < 40 {
		t.Errorf("the documents name only %d files", n)
	}
}

// outside is a source that a test names where it checks against something outside the
// project.
var outside = regexp.MustCompile(`NIST|SBAS\d|DS\d{5}|JCGM \d|GUM [\dA-Z]|\bIEC \d|ISO \d|RFC \d|MIL-R|SciPy|\bR \d\.|StRD`)

// TestDevelopers_OutsideChecks holds the table of checks complete: a test whose own
// text names a source stands in it.
func TestDevelopers_OutsideChecks(t *testing.T) {
	const page = "testdata/README.md"
	table := documentText(t, filepath.Join(root, page))
	n := 0
	for name, text := range testsWithText(t) {
		if !outside.MatchString(text) {
			continue
		}
		n++
		if !strings.Contains(table, "`"+name+"`") {
			t.Errorf("%s names %s; %s does not list it among the checks against something outside", name, outside.FindString(text), page)
		}
	}
	if n < 30 {
		t.Errorf("only %d tests name a source", n)
	}
}

// testsWithText returns every test of the module, as in analyze.TestRound, with its
// comment and body.
func testsWithText(t *testing.T) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") || path == filepath.Join(root, "cmd", "makebreak", "developers_test.go") || path == filepath.Join(root, "cmd", "makebreak", "readme_made_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		set := token.NewFileSet()
		f, err := parser.ParseFile(set, path, text, parser.ParseComments)
		if err != nil {
			return err
		}
		dir, err := filepath.Rel(root, filepath.Dir(path))
		for _, decl := range f.Decls {
			if fn, ok := decl.(*ast.FuncDecl); ok && fn.Recv == nil && strings.HasPrefix(fn.Name.Name, "Test") {
				from := fn.Pos()
				if fn.Doc != nil {
					from = fn.Doc.Pos()
				}
				all[filepath.ToSlash(dir)+"."+fn.Name.Name] = string(text[set.Position(from).Offset:set.Position(fn.End()).Offset])
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// functionsIn lists the functions and methods (Type.Method) of a directory's tests, or
// of what is no test, whatever system they are for.
func functionsIn(t *testing.T, dir string, tests bool) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(root, filepath.FromSlash(dir), "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, path := range files {
		if strings.HasSuffix(path, "_test.go") != tests {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok {
				names = append(names, receiver(fn)+fn.Name.Name)
			}
		}
	}
	return names
}

// receiver is the name of a method's type and a dot; empty: it is a function.
func receiver(fn *ast.FuncDecl) string {
	if fn.Recv == nil {
		return ""
	}
	x := fn.Recv.List[0].Type
	for {
		switch of := x.(type) {
		case *ast.StarExpr:
			x = of.X
		case *ast.IndexExpr:
			x = of.X
		case *ast.Ident:
			return of.Name + "."
		default:
			return "?."
		}
	}
}

// walked finds the functions that a document names with their package, as in
// `rig/ads1x15.Dev.Read`.
var walked = regexp.MustCompile("`([a-z0-9/]+)\\.((?:[A-Za-z0-9]+\\.)?[A-Za-z0-9]+)`")

// TestDevelopers_Walk looks for every function on a sample's way to its row.
func TestDevelopers_Walk(t *testing.T) {
	_, text, _ := strings.Cut(documentText(t, filepath.Join(root, "DEVELOPERS.md")), "\n## A sample's way to its row\n")
	text, _, _ = strings.Cut(text, "\n## ")
	all := walked.FindAllStringSubmatch(text, -1)
	if len(all) < 12 {
		t.Errorf("the way has only %d functions", len(all))
	}
	for _, m := range all {
		if !slices.Contains(functionsIn(t, m[1], false), m[2]) {
			t.Errorf("DEVELOPERS.md names %s of %s, which is not there", m[2], m[1])
		}
	}
}
