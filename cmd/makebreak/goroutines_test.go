package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"testing"
)

// starters are the functions and methods by which others start a goroutine for a function
// that they are given.
var starters = []string{"AfterFunc", "Go", "TryGo"}

// Every goroutine of the product is started by rig/task, so that a panic in it is the
// program's own fault and no crash.
func TestGoroutines_ByTask(t *testing.T) {
	begun := 0
	for _, p := range packages(t) {
		if p.ImportPath == "makebreak/rig/task" || p.ImportPath == "makebreak/rig/guard/process" || within(p.ImportPath, "rig/kernelbench") {
			// The guard's own process is watched by the program; the kernel bench is for tests alone.
			continue
		}
		productFiles(t, p, func(files *token.FileSet, f *ast.File) {
			found, by := goroutines(f)
			begun += by
			for _, n := range found {
				t.Errorf("%s starts a goroutine that rig/task does not know of", files.Position(n.Pos()))
			}
		})
	}
	if begun == 0 {
		t.Error("no package starts a goroutine by rig/task: they are not recognised")
	}
}

// goroutines returns where a file starts a goroutine by itself, and how often by rig/task.
func goroutines(f *ast.File) (bare []ast.Node, by int) {
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			bare = append(bare, n)
		case *ast.CallExpr:
			s, ok := n.Fun.(*ast.SelectorExpr)
			switch {
			case !ok || !slices.Contains(starters, s.Sel.Name):
			case ofTask(n, "Go") || slices.ContainsFunc(n.Args, func(a ast.Expr) bool { return ofTask(a, "Covered") }):
				by++
			default:
				bare = append(bare, n)
			}
		}
		return true
	})
	return bare, by
}

// ofTask reports whether an expression is a call of one of rig/task's functions.
func ofTask(e ast.Expr, name string) bool {
	call, ok := e.(*ast.CallExpr)
	if !ok {
		return false
	}
	s, ok := call.Fun.(*ast.SelectorExpr)
	if !ok || s.Sel.Name != name {
		return false
	}
	pkg, ok := s.X.(*ast.Ident)
	return ok && pkg.Name == "task"
}

// The rule itself: what it must find, and what it must let pass.
func TestGoroutines_Found(t *testing.T) {
	for code, bare := range map[string]int{
		"go f()":                    1,
		"go func() {}()":            1,
		"group.Go(f)":               1,
		"wait.Go(f)":                1,
		"group.TryGo(f)":            1,
		"time.AfterFunc(d, f)":      1,
		"context.AfterFunc(ctx, f)": 1,
		"task.Go(f)":                0,
		"wait.Go(task.Covered(f))":  0,
		"stop := time.AfterFunc(d, task.Covered(f))": 0,
		"task.Go(func() { go f() })":                 1,
	} {
		f, err := parser.ParseFile(token.NewFileSet(), "", fmt.Sprintf("package p\nfunc _() {\n%s\n}", code), 0)
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := goroutines(f); len(got) != bare {
			t.Errorf("%s: %d found, want %d", code, len(got), bare)
		}
	}
}
