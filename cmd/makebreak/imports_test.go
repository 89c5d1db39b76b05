package main

import (
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// listed is what go list tells of a package.
type listed struct {
	ImportPath, Dir                    string
	Imports, TestImports, XTestImports []string
	GoFiles, IgnoredGoFiles            []string
}

// TestImports holds the packages to the one way in which they may know each other.
func TestImports(t *testing.T) {
	all := packages(t)
	for _, part := range []string{"cmd", "rig", "sequences", "analyze"} {
		if !slices.ContainsFunc(all, func(p listed) bool { return within(p.ImportPath, part) }) {
			t.Fatalf("go list shows no package of %s", part)
		}
	}
	for _, p := range all {
		for _, i := range p.Imports {
			if why := forbidden(p.ImportPath, i); why != "" {
				t.Errorf("%s imports %s: %s", p.ImportPath, i, why)
			}
		}
	}
}

// What must be initialised before nearly all else imports only what nearly all else needs: one
// other package, fmt say, puts it behind most of them.
func TestImports_Early(t *testing.T) {
	early := map[string]bool{"makebreak/rig/signals": false}
	for _, p := range packages(t) {
		if _, ok := early[p.ImportPath]; !ok {
			continue
		}
		early[p.ImportPath] = true
		for _, i := range p.Imports {
			if !slices.Contains([]string{"errors", "io", "os", "os/signal", "strconv", "sync", "syscall", "time", "unsafe"}, i) {
				t.Errorf("%s imports %s, which is initialised late", p.ImportPath, i)
			}
		}
	}
	for p, listed := range early {
		if !listed {
			t.Errorf("there is no package %s", p)
		}
	}
}

// packages lists the project's.
func packages(t *testing.T) (all []listed) {
	t.Helper()
	out, err := exec.Command("go", "list", "-json=ImportPath,Dir,Imports,TestImports,XTestImports,GoFiles,IgnoredGoFiles", "makebreak/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

// productFiles parses the files of a package, its tests left out.
func productFiles(t *testing.T, p listed, each func(files *token.FileSet, f *ast.File)) {
	t.Helper()
	for _, name := range slices.Concat(p.GoFiles, p.IgnoredGoFiles) {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		files := token.NewFileSet()
		f, err := parser.ParseFile(files, filepath.Join(p.Dir, name), nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		each(files, f)
	}
}

// Drawn tests draw the same cases in every run.
func TestFixedSeeds(t *testing.T) {
	drawn := 0
	for _, p := range packages(t) {
		tests := slices.Concat(p.TestImports, p.XTestImports)
		if !slices.Contains(tests, "pgregory.net/rapid") {
			continue
		}
		if drawn++; !slices.Contains(tests, "makebreak/testdata/fixedseed") {
			t.Errorf("%s has drawn tests and does not import testdata/fixedseed", p.ImportPath)
		}
	}
	if drawn == 0 {
		t.Error("no package has drawn tests: they are not recognised")
	}
}

// within reports whether a package is one of ours at or below a path.
func within(path, below string) bool {
	return path == "makebreak/"+below || strings.HasPrefix(path, "makebreak/"+below+"/")
}

// language reports whether a package is one of those by which all others speak and start
// goroutines: words, tables, units, kinds of problems and tasks. They know nothing of the project but
// each other.
func language(pkg string) bool {
	return pkg == "makebreak/rig/words" || pkg == "makebreak/rig/table" || pkg == "makebreak/rig/unit" || pkg == "makebreak/rig/problem" || pkg == "makebreak/rig/task"
}

// forbidden says why one package must not import another; empty: it may.
func forbidden(from, to string) string {
	if strings.HasPrefix(to, "github.com/chromedp/") {
		return "a browser is for tests only"
	}
	if !strings.HasPrefix(to, "makebreak/") {
		return ""
	}
	simulator := within(to, "rig/sim") || within(to, "rig/simchip")
	ofSimulator := within(from, "rig/sim") || within(from, "rig/simchip")
	switch {
	case language(from) && !language(to):
		return "words, tables, units, kinds of problems and tasks know nothing of the project"
	case within(to, "cmd"):
		return "nothing knows the command line"
	case simulator && !ofSimulator && !within(from, "cmd") && !within(from, "sequences/setup") && !within(from, "sequences/exercise") && !within(from, "sequences/sheet"):
		return "only what sets a bench up for a sequence or an exercise, the command line and tests know the simulator"
	case language(to):
		return "" // everybody's
	case from == "makebreak/analyze/cause" && to == "makebreak/rig/yamlfile":
		return "" // the table of causes is a text that is taken apart as all are; nobody there opens a file
	case within(from, "analyze") && !within(to, "analyze") && to != "makebreak/rig/capture":
		return "analysis knows captures and nothing else of the rig"
	case within(from, "analyze/measure") && within(to, "analyze/diagnose"):
		return "measuring knows nothing of what its figures mean"
	case from == "makebreak/analyze" && within(to, "analyze") && to != "makebreak/analyze/gum":
		return "what builds on the analysis is not known to it"
	case within(from, "rig") && !within(to, "rig"):
		return "the rig knows neither sequences nor analysis"
	}
	return ""
}

// The rules themselves: one case that each must refuse, one that it must let pass.
func TestForbidden(t *testing.T) {
	for _, c := range []struct {
		from, to string
		refused  bool
	}{
		{"sequences/runner", "cmd/makebreak", true},
		{"rig/bench", "rig/sim", true},
		{"sequences", "rig/simchip", true},
		{"cmd/makebreak", "rig/sim", false},
		{"sequences/setup", "rig/sim", false},
		{"rig/sim", "rig/simchip", false},
		{"analyze", "rig/capture", false},
		{"analyze/diagnose", "rig/unit", false},
		{"analyze/measure", "analyze/diagnose", true},
		{"analyze", "rig/wiring", true},
		{"analyze", "rig/unit", false},
		{"analyze", "rig/yamlfile", true},
		{"analyze/cause", "rig/yamlfile", false},
		{"analyze/report", "rig/words", false},
		{"rig/unit", "rig/words", false},
		{"rig/words", "rig/capture", true},
		{"analyze/report", "rig/table", false},
		{"rig/table", "rig/capture", true},
		{"analyze", "sequences", true},
		{"analyze", "analyze/gum", false},
		{"analyze", "analyze/report", true},
		{"analyze/report", "analyze", false},
		{"analyze/report", "rig/bench", true},
		{"rig/bench", "analyze", true},
		{"rig/bench", "sequences", true},
		{"rig/bench", "rig/wiring", false},
		{"rig/simchips", "rig/sim", true},
	} {
		if got := forbidden("makebreak/"+c.from, "makebreak/"+c.to); (got != "") != c.refused {
			t.Errorf("%s imports %s: %q, refused should be %t", c.from, c.to, got, c.refused)
		}
	}
	if forbidden("makebreak/cmd/makebreak", "github.com/chromedp/chromedp") == "" {
		t.Error("the program may import a browser's client")
	}
}
