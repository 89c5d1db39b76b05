// Mutate makes small mistakes in the code, one at a time, and asks the tests of the package
// whether they notice. The mistakes stand in a list, so that a run can be repeated:
//
//	go run ./.ci/mutate run .ci/mutate/list.txt        # every mistake of the list
//	go run ./.ci/mutate draw -n 40 -seed 2 rig/bench   # propose new ones, by chance
//
// A mistake is a line of a function and what stands in its place. Files stay as they are:
// the compiler is given the changed one by an overlay.
package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) == 0 {
		return errors.New("say run or draw")
	}
	f := flag.NewFlagSet(args[0], flag.ContinueOnError)
	n, seed := f.Int("n", 20, "mistakes to draw"), f.Uint64("seed", 1, "of the draw")
	jobs := f.Int("jobs", 2, "mistakes tried at once")
	if err := f.Parse(args[1:]); err != nil {
		return err
	}
	switch args[0] {
	case "draw":
		return draw(*n, *seed, f.Args())
	case "run":
		if f.NArg() != 1 {
			return errors.New("run needs the list's file")
		}
		return runList(f.Arg(0), *jobs)
	}
	return fmt.Errorf("no such command: %s", args[0])
}

// mistake is one change of one line.
type mistake struct {
	file, function string
	old, new       string
	tests          []string // packages whose tests must notice; none: the file's own
	survives       string   // why no test can notice
}

// read reads a list: blocks of lines "key: value", parted by empty lines.
func read(path string) ([]mistake, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var all []mistake
	var m mistake
	flush := func() {
		if m.file != "" {
			all = append(all, m)
		}
		m = mistake{}
	}
	s := bufio.NewScanner(f)
	for n := 1; s.Scan(); n++ {
		line := s.Text()
		if strings.TrimSpace(line) == "" {
			flush()
			continue
		}
		key, value, ok := strings.Cut(line, ": ")
		switch {
		case strings.HasPrefix(line, "#"):
		case !ok:
			return nil, fmt.Errorf("%s:%d: %q has no key", path, n, line)
		case key == "at":
			m.file, m.function, _ = strings.Cut(value, " ")
		case key == "old":
			m.old = value
		case key == "new":
			m.new = value
		case key == "tests":
			m.tests = strings.Fields(value)
		case key == "survives":
			m.survives = value
		default:
			return nil, fmt.Errorf("%s:%d: no such key: %s", path, n, key)
		}
	}
	flush()
	return all, s.Err()
}

// changed returns the file with the mistake made. The line must stand in the function.
func (m *mistake) changed() ([]byte, error) {
	src, err := os.ReadFile(m.file)
	if err != nil {
		return nil, err
	}
	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, m.file, src, 0)
	if err != nil {
		return nil, err
	}
	for _, d := range f.Decls {
		if nameOf(d) != m.function {
			continue
		}
		from, to := fset.Position(d.Pos()).Offset, fset.Position(d.End()).Offset
		at := from
		for _, line := range strings.SplitAfter(string(src[from:to]), "\n") {
			if strings.TrimSpace(line) == m.old {
				i := at + strings.Index(line, m.old)
				return slices.Concat(src[:i], []byte(m.new), src[i+len(m.old):]), nil
			}
			at += len(line)
		}
	}
	return nil, fmt.Errorf("%s, %s: no line %q: renew the list", m.file, m.function, m.old)
}

// nameOf is a declaration's name, as in Meter.State; "var" for all that is no function.
func nameOf(d ast.Decl) string {
	f, ok := d.(*ast.FuncDecl)
	if !ok {
		return "var"
	}
	if f.Recv == nil {
		return f.Name.Name
	}
	t := f.Recv.List[0].Type
	if p, ok := t.(*ast.StarExpr); ok {
		t = p.X
	}
	if id, ok := t.(*ast.Ident); ok {
		return id.Name + "." + f.Name.Name
	}
	return f.Name.Name
}

const (
	killed   = "noticed"
	survived = "SURVIVED"
	broken   = "does not compile"
)

// try makes the mistake and runs the tests.
func (m *mistake) try(dir string) (string, error) {
	src, err := m.changed()
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", err
	}
	whole, err := filepath.Abs(m.file)
	if err != nil {
		return "", err
	}
	file, overlay := filepath.Join(dir, "mistake.go"), filepath.Join(dir, "overlay.json")
	if err := os.WriteFile(file, src, 0o644); err != nil {
		return "", err
	}
	list, err := json.Marshal(map[string]map[string]string{"Replace": {whole: file}})
	if err != nil {
		return "", err
	}
	if err := os.WriteFile(overlay, list, 0o644); err != nil {
		return "", err
	}
	own := "./" + filepath.Dir(m.file)
	if out, err := exec.Command("go", "vet", "-overlay", overlay, own).CombinedOutput(); err != nil && strings.Contains(string(out), "vet: ") {
		return broken, nil
	}
	tests := m.tests
	if len(tests) == 0 {
		tests = []string{own}
	}
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Minute)
	defer cancel()
	args := append([]string{"test", "-short", "-failfast", "-count=1", "-timeout=5m", "-overlay", overlay}, tests...)
	c := exec.CommandContext(ctx, "go", args...)
	c.Env = append(os.Environ(), "MAKEBREAK_UPDATE=")
	if c.Run() == nil {
		return survived, nil
	}
	return killed, nil
}

func runList(path string, jobs int) error {
	all, err := read(path)
	if err != nil {
		return err
	}
	tmp, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tmp)
	outcomes, faults := make([]string, len(all)), make([]error, len(all))
	var group sync.WaitGroup
	work := make(chan int)
	for range jobs {
		group.Go(func() {
			for i := range work {
				outcomes[i], faults[i] = all[i].try(filepath.Join(tmp, fmt.Sprint(i)))
				fmt.Fprintf(os.Stderr, "%3d of %d %s: %s %s\n", i+1, len(all), outcomes[i], all[i].file, all[i].new)
			}
		})
	}
	for i := range all {
		work <- i
	}
	close(work)
	group.Wait()
	if err := errors.Join(faults...); err != nil {
		return err
	}
	return tell(all, outcomes)
}

// tell prints a row a package and every survivor. A survivor without a reason is an error,
// and so is a reason that is no longer true.
func tell(all []mistake, outcomes []string) error {
	type row struct{ tried, noticed int }
	rows := map[string]*row{}
	var order, wrong []string
	for i := range all {
		m := &all[i]
		dir := filepath.Dir(m.file)
		if rows[dir] == nil {
			rows[dir] = &row{}
			order = append(order, dir)
		}
		r := rows[dir]
		r.tried++
		switch {
		case outcomes[i] == killed && m.survives == "":
			r.noticed++
		case outcomes[i] == killed:
			wrong = append(wrong, fmt.Sprintf("%s %s is said to survive and does not: %s", m.file, m.function, m.new))
		case outcomes[i] == survived && m.survives != "":
			fmt.Printf("survives: %s %s: %s\n          %s\n", m.file, m.function, m.new, m.survives)
		default:
			wrong = append(wrong, fmt.Sprintf("%s: %s %s\n    old %s\n    new %s", outcomes[i], m.file, m.function, m.old, m.new))
		}
	}
	slices.Sort(order)
	sum := row{}
	fmt.Println("| package | mistakes | noticed |\n| --- | --- | --- |")
	for _, dir := range order {
		fmt.Printf("| `%s` | %d | %d |\n", dir, rows[dir].tried, rows[dir].noticed)
		sum.tried += rows[dir].tried
		sum.noticed += rows[dir].noticed
	}
	fmt.Printf("| all | %d | %d |\n", sum.tried, sum.noticed)
	if len(wrong) > 0 {
		return fmt.Errorf("%d mistakes not accounted for:\n%s", len(wrong), strings.Join(wrong, "\n"))
	}
	return nil
}

// draw prints mistakes drawn from the packages' files.
func draw(n int, seed uint64, dirs []string) error {
	random := rand.New(rand.NewPCG(seed, seed))
	var found []mistake
	for _, dir := range dirs {
		files, err := filepath.Glob(filepath.Join(dir, "*.go"))
		if err != nil {
			return err
		}
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") || strings.HasSuffix(file, "_other.go") {
				continue
			}
			in, err := possible(file)
			if err != nil {
				return err
			}
			found = append(found, in...)
		}
	}
	random.Shuffle(len(found), func(i, j int) { found[i], found[j] = found[j], found[i] })
	seen := map[string]bool{}
	for _, m := range found {
		place := m.file + m.function
		if n == 0 || seen[place] {
			continue
		}
		seen[place] = true
		n--
		fmt.Printf("at: %s %s\nold: %s\nnew: %s\n\n", m.file, m.function, m.old, m.new)
	}
	return nil
}

// swapped are operators and what a slip of the hand makes of them.
var swapped = map[token.Token]token.Token{
	token.LSS: token.LEQ, token.LEQ: token.LSS, token.GTR: token.GEQ, token.GEQ: token.GTR,
	token.EQL: token.NEQ, token.NEQ: token.EQL, token.LAND: token.LOR, token.LOR: token.LAND,
	token.ADD: token.SUB, token.SUB: token.ADD, token.MUL: token.QUO, token.QUO: token.MUL,
}

// possible lists the mistakes that can be made in a file: an operator swapped, a condition
// turned round, an error dropped.
func possible(file string) ([]mistake, error) {
	src, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, file, src, 0)
	if err != nil {
		return nil, err
	}
	lines := strings.Split(string(src), "\n")
	var all []mistake
	for _, d := range f.Decls {
		fn, ok := d.(*ast.FuncDecl)
		if !ok || fn.Body == nil {
			continue
		}
		add := func(at token.Pos, length int, text string) {
			p := fset.Position(at)
			line := lines[p.Line-1]
			if p.Column-1+length > len(line) {
				return
			}
			changed := line[:p.Column-1] + text + line[p.Column-1+length:]
			all = append(all, mistake{file: file, function: nameOf(d), old: strings.TrimSpace(line), new: strings.TrimSpace(changed)})
		}
		ast.Inspect(fn.Body, func(x ast.Node) bool {
			switch x := x.(type) {
			case *ast.BinaryExpr:
				if to, ok := swapped[x.Op]; ok && !text(x.X) && !text(x.Y) {
					add(x.OpPos, len(x.Op.String()), to.String())
				}
			case *ast.ReturnStmt:
				if k := len(x.Results); k > 0 {
					if id, ok := x.Results[k-1].(*ast.Ident); ok && id.Name == "err" {
						add(id.Pos(), len(id.Name), "nil")
					}
				}
			case *ast.UnaryExpr:
				if x.Op == token.NOT {
					add(x.OpPos, 1, "")
				}
			}
			return true
		})
	}
	return all, nil
}

// text reports whether an expression holds a string literal.
func text(x ast.Expr) bool {
	found := false
	ast.Inspect(x, func(n ast.Node) bool {
		if b, ok := n.(*ast.BasicLit); ok && b.Kind == token.STRING {
			found = true
		}
		return !found
	})
	return found
}
