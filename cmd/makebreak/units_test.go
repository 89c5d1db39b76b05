package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// statesUnit finds a unit, or the word that says that there is none, in a field's name or in
// what stands beside it.
var statesUnit = regexp.MustCompile(`(?i)\bunits?\b|volt|second|ohm|amp|watt|henr|hertz|/s\b|share|probab|factor|number|place\b|years?\b|days?|hours?|cycles?|percent|ratio|steps|°C|degrees|kurtosis|quantile|-1 to 1|0 to 1`)

// TestFields_StateTheirUnit holds the rule of units: an exported field that is a bare float64
// says what its figure is in, by its name, its comment or that of its type.
func TestFields_StateTheirUnit(t *testing.T) {
	fset, fields := token.NewFileSet(), 0
	err := fs.WalkDir(os.DirFS(filepath.Join("..", "..")), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && strings.HasPrefix(d.Name(), ".") && path != "." {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		f, err := parser.ParseFile(fset, filepath.Join("..", "..", path), nil, parser.ParseComments)
		if err != nil {
			return err
		}
		ast.Inspect(f, func(n ast.Node) bool {
			decl, ok := n.(*ast.GenDecl)
			if !ok {
				return true
			}
			for _, s := range decl.Specs {
				typ, ok := s.(*ast.TypeSpec)
				if !ok {
					continue
				}
				about := decl.Doc.Text() + typ.Doc.Text() + typ.Comment.Text()
				ast.Inspect(typ, func(n ast.Node) bool {
					field, ok := n.(*ast.Field)
					if !ok {
						return true
					}
					if id, ok := field.Type.(*ast.Ident); !ok || id.Name != "float64" {
						return true
					}
					for _, name := range field.Names {
						if !name.IsExported() {
							continue
						}
						fields++
						if !statesUnit.MatchString(name.Name + " " + about + field.Doc.Text() + field.Comment.Text()) {
							t.Errorf("%s: %s.%s states no unit", strings.TrimPrefix(fset.Position(name.Pos()).String(), "../../"), typ.Name, name.Name)
						}
					}
					return true
				})
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if fields < 50 {
		t.Errorf("only %d fields were found", fields)
	}
}
