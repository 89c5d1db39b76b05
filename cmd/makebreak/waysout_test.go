package main

import (
	"go/ast"
	"go/token"
	"testing"
)

// ways are the functions and streams by which text leaves the program, with the packages that
// may use them: the rooms that make it safe, and those that begin or end the program.
var ways = map[string][]string{
	"csv.NewWriter": {"rig/table"},
	"os.Stdout":     {"cmd/makebreak"},
	"os.Stderr":     {"cmd/makebreak", "rig/task"},
	"fmt.Print":     nil, "fmt.Printf": nil, "fmt.Println": nil,
	"log.Print": nil, "log.Printf": nil, "log.Println": nil, "log.Fatal": nil, "log.Fatalf": nil,
}

// Text leaves the program only where it is made safe.
func TestWaysOut(t *testing.T) {
	met := map[string]bool{}
	for _, p := range packages(t) {
		if within(p.ImportPath, "rig/kernelbench") || within(p.ImportPath, "testdata") {
			continue // for tests alone
		}
		productFiles(t, p, func(files *token.FileSet, f *ast.File) {
			for _, s := range selectors(f) {
				allowed, is := ways[s.what]
				if !is {
					continue
				}
				met[s.what] = true
				ok := false
				for _, room := range allowed {
					ok = ok || within(p.ImportPath, room)
				}
				if !ok {
					t.Errorf("%s: %s is for %v: write by rig/table, by app.deliver or by app.note", files.Position(s.at), s.what, allowed)
				}
			}
		})
	}
	for _, what := range []string{"csv.NewWriter", "os.Stdout", "os.Stderr"} {
		if !met[what] {
			t.Errorf("%s is nowhere: it is not recognised", what)
		}
	}
}

type selector struct {
	what string
	at   token.Pos
}

// selectors are a file's expressions like os.Stdout.
func selectors(f *ast.File) (all []selector) {
	ast.Inspect(f, func(n ast.Node) bool {
		if s, is := n.(*ast.SelectorExpr); is {
			if pkg, is := s.X.(*ast.Ident); is {
				all = append(all, selector{pkg.Name + "." + s.Sel.Name, s.Pos()})
			}
		}
		return true
	})
	return all
}
