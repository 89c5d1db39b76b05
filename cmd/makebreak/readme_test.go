package main

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The documents are README.md, DEVELOPERS.md and the pages beside the packages. They
// hold three kinds of text that the program knows better than a person does, and these
// tests keep each true:
//
//	<!-- made: NAME --> … <!-- end -->   is what made[NAME] returns
//	<!-- example -->                     the fenced console block after it is what its
//	                                     commands write; options narrow what is shown:
//	                                     without TEXT, from TEXT, until TEXT, first N
//	tables written by hand               are compared, row by row, with what they list
//
// MAKEBREAK_UPDATE=1 writes the first two kinds anew.
func TestReadme(t *testing.T) {
	t.Chdir(root)
	for _, path := range documents(t, ".") {
		t.Run(path, func(t *testing.T) { keepTrue(t, path) })
	}
}

// root is the top of the module, seen from this package.
var root = filepath.Join("..", "..")

// documents lists the module's documents by their paths below top, with slashes.
// Golden files are none, and folders whose names begin with a dot hold none.
func documents(t *testing.T, top string) []string {
	t.Helper()
	var all []string
	err := fs.WalkDir(os.DirFS(top), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && path != "." && (d.Name() == "golden" || strings.HasPrefix(d.Name(), ".")) {
			return fs.SkipDir
		}
		if strings.HasSuffix(path, ".md") {
			all = append(all, path)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// keepTrue compares a document with what its blocks and examples should be.
func keepTrue(t *testing.T, path string) {
	t.Helper()
	have := documentText(t, path)
	want := withExamples(t, withBlocks(t, have))
	if have == want {
		return
	}
	if os.Getenv("MAKEBREAK_UPDATE") != "" {
		if err := os.WriteFile(path, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if runtime.GOARCH != "amd64" {
		return // fused multiply-adds move the last digits; the commands have been run
	}
	h, w := strings.Split(have, "\n"), strings.Split(want, "\n")
	for i := range min(len(h), len(w)) {
		if h[i] != w[i] {
			t.Fatalf("%s:%d is no longer so (MAKEBREAK_UPDATE=1 writes it anew):\n have %s\n want %s", path, i+1, h[i], w[i])
		}
	}
	t.Fatalf("%s has %d lines, want %d (MAKEBREAK_UPDATE=1 writes it anew)", path, len(h), len(w))
}

func documentText(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

var block = regexp.MustCompile(`(?s)(<!-- made: ([a-z]+) -->\n).*?(<!-- end -->)`)

// withBlocks fills in what is made. An empty line on either side lets a table
// stand as one.
func withBlocks(t *testing.T, text string) string {
	t.Helper()
	return block.ReplaceAllStringFunc(text, func(s string) string {
		m := block.FindStringSubmatch(s)
		f := made[m[2]]
		if f == nil {
			t.Fatalf("nothing makes %q", m[2])
		}
		return m[1] + "\n" + f(t) + "\n" + m[3]
	})
}

var example = regexp.MustCompile("(?s)<!-- example(?:: ([^\n]*))? -->\n```console\n(.*?)```\n")

// withExamples runs the commands of the examples, all with one log, and fills in
// what they write.
func withExamples(t *testing.T, text string) string {
	t.Helper()
	log := filepath.Join(t.TempDir(), "log.db")
	return example.ReplaceAllStringFunc(text, func(s string) string {
		m := example.FindStringSubmatch(s)
		var out strings.Builder
		status := 0
		for line := range strings.Lines(m[2]) {
			command, ok := strings.CutPrefix(line, "$ ")
			if !ok {
				continue
			}
			out.WriteString(line)
			if strings.TrimSpace(command) == "echo $?" {
				fmt.Fprintln(&out, status)
				continue
			}
			var written string
			written, status = typed(t, strings.TrimSpace(command), log)
			out.WriteString(narrowed(t, m[1], written))
		}
		head, _, _ := strings.Cut(s, "```console\n")
		return head + fenced("console", out.String())
	})
}

// typed runs a command as a person would type it and returns what a terminal
// shows, without what differs from run to run.
func typed(t *testing.T, command, log string) (string, int) {
	t.Helper()
	args, ok := arguments(command)
	if !ok {
		t.Fatalf("%q is not a call of the program", command)
	}
	if !slices.Contains(args, "--log") {
		args = append(args, "--log", log)
	}
	var out bytes.Buffer
	status := bounded(args, streams{strings.NewReader(""), &out, &out})
	if status >= exitUsage && status != exitInput {
		t.Fatalf("%s: exit status %d\n%s", command, status, &out)
	}
	s := strings.ReplaceAll(out.String(), "\r\n", "\n")
	s = strings.ReplaceAll(s, log, "~/.local/share/makebreak/log.db")
	for _, v := range varying {
		s = v.pattern.ReplaceAllString(s, v.instead)
	}
	return s, status
}

// varying is what differs from run to run, and what stands there instead.
var varying = []struct {
	pattern *regexp.Regexp
	instead string
}{
	{regexp.MustCompile(`\b20\d\d-\d\d-\d\d-[a-z]{6}\.(\d+)`), "2026-01-31-lumora.$1"},
	{regexp.MustCompile(`\b20\d\d-\d\d-\d\d \d\d:\d\d:\d\d`), "2026-01-31 09:30:00"},
	{regexp.MustCompile(regexp.QuoteMeta(version())), "v1.2.3"},
	{regexp.MustCompile(`\b[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}\b`), "019c126b-5a40-7cc1-9d6f-2b8e4a7f1c03"},
}

// arguments splits a command into the program's arguments; false: it calls
// something else.
func arguments(command string) ([]string, bool) {
	rest, ok := strings.CutPrefix(command, "go run ./cmd/makebreak ")
	if !ok {
		if rest, ok = strings.CutPrefix(command, "makebreak "); !ok {
			return nil, false
		}
	}
	var args []string
	for _, m := range regexp.MustCompile(`"([^"]*)"|(\S+)`).FindAllStringSubmatch(rest, -1) {
		args = append(args, m[1]+m[2])
	}
	return args, true
}

// narrowed keeps the lines that an example shows.
func narrowed(t *testing.T, options, text string) string {
	t.Helper()
	lines := slices.Collect(strings.Lines(text))
	for option := range strings.SplitSeq(options, "; ") {
		word, arg, _ := strings.Cut(option, " ")
		switch word {
		case "":
		case "without":
			lines = slices.DeleteFunc(lines, func(l string) bool { return strings.Contains(l, arg) })
		case "from":
			i := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, arg) })
			if i < 0 {
				t.Fatalf("no line starts with %q:\n%s", arg, text)
			}
			lines = append([]string{"…\n"}, lines[i:]...)
		case "until":
			i := slices.IndexFunc(lines, func(l string) bool { return strings.HasPrefix(l, arg) })
			if i < 0 {
				t.Fatalf("no line starts with %q:\n%s", arg, text)
			}
			lines = append(lines[:i], "…\n")
		case "first":
			n, err := strconv.Atoi(arg)
			if err != nil || n > len(lines) {
				t.Fatalf("example: first %s of %d lines", arg, len(lines))
			}
			lines = append(lines[:n], "…\n")
		default:
			t.Fatalf("an example has no option %q", word)
		}
	}
	return strings.Join(lines, "")
}

var shellBlock = regexp.MustCompile("(?s)```(?:sh|console)\n(.*?)```")

// TestReadme_Commands parses every call of the program in the fenced blocks, those
// too that are not run, since they need hardware, a person or more time.
func TestReadme_Commands(t *testing.T) {
	n := 0
	for _, path := range documents(t, root) {
		for _, m := range shellBlock.FindAllStringSubmatch(documentText(t, filepath.Join(root, path)), -1) {
			for line := range strings.Lines(m[1]) {
				line, _, _ = strings.Cut(strings.TrimPrefix(strings.TrimSpace(line), "$ "), "  #")
				args, ok := arguments(prefixes.ReplaceAllString(line, ""))
				if !ok {
					continue
				}
				n++
				if err := parses(args); err != nil {
					t.Errorf("%s: %s: %v", path, line, err)
				}
			}
		}
	}
	if n < 30 {
		t.Errorf("the documents call the program only %d times", n)
	}
}

// prefixes stand before a call: another user's rights, the folder of the program.
var prefixes = regexp.MustCompile(`^(sudo (-u \w+ )?)?(\./)?`)

// parses says whether the program would take these arguments.
func parses(args []string) error {
	c, rest, err := (&app{}).root().Find(args)
	if err != nil {
		return err
	}
	if err := c.ParseFlags(rest); err != nil {
		return err
	}
	return c.ValidateArgs(c.Flags().Args())
}

var (
	link    = regexp.MustCompile(`\[[^\]\n]*\]\(([^)\s]+)\)`)
	heading = regexp.MustCompile(`(?m)^#+ (.*)$`)
	fence   = regexp.MustCompile("(?ms)^ *```.*?^ *```$")
)

// prose is a document without its fenced blocks.
func prose(t *testing.T, path string) string {
	t.Helper()
	return fence.ReplaceAllString(documentText(t, filepath.Join(root, path)), "")
}

// links returns where a text links to: paths from the top of the module, with what
// stands after #. Addresses on the web are left out.
func links(from, text string) [][2]string {
	var all [][2]string
	for _, m := range link.FindAllStringSubmatch(text, -1) {
		if strings.Contains(m[1], "://") {
			continue
		}
		file, place, _ := strings.Cut(m[1], "#")
		if file == "" {
			file = from
		} else {
			file = path.Join(path.Dir(from), file)
		}
		all = append(all, [2]string{file, place})
	}
	return all
}

// TestReadme_Links follows every link within the documents, to its heading, too, and
// looks whether each document can be reached from the README.
func TestReadme_Links(t *testing.T) {
	reached := map[string]bool{"README.md": true}
	for todo := []string{"README.md"}; len(todo) > 0; todo = todo[1:] {
		for _, l := range links(todo[0], prose(t, todo[0])) {
			if _, err := os.Stat(filepath.Join(root, l[0])); err != nil {
				t.Errorf("%s links to %s, which is not there", todo[0], l[0])
				continue
			}
			if !strings.HasSuffix(l[0], ".md") {
				continue
			}
			if l[1] != "" && !slices.Contains(anchors(prose(t, l[0])), l[1]) {
				t.Errorf("%s links to %s#%s; there is no such heading", todo[0], l[0], l[1])
			}
			if !reached[l[0]] {
				reached[l[0]] = true
				todo = append(todo, l[0])
			}
		}
	}
	for _, path := range documents(t, root) {
		if !reached[path] {
			t.Errorf("no link leads from the README to %s", path)
		}
	}
}

var notInAnchors = regexp.MustCompile(`[^\p{L}\p{N}_ -]`)

// anchors are the names under which a document's headings are linked to.
func anchors(text string) []string {
	var all []string
	for _, m := range heading.FindAllStringSubmatch(text, -1) {
		all = append(all, strings.ReplaceAll(notInAnchors.ReplaceAllString(strings.ToLower(m[1]), ""), " ", "-"))
	}
	return all
}

// TestReadme_Contents: the README's contents list every page and every heading of
// its own.
func TestReadme_Contents(t *testing.T) {
	_, contents, found := strings.Cut(prose(t, "README.md"), "\n## Contents\n")
	if !found {
		t.Fatal("README.md has no contents")
	}
	contents, rest, _ := strings.Cut(contents, "\n## ")
	listed := links("README.md", contents)
	for _, path := range documents(t, root) {
		tests := strings.Contains("/"+path, "/testdata/") // DEVELOPERS.md leads there
		if path != "README.md" && !tests && !slices.Contains(listed, [2]string{path, ""}) {
			t.Errorf("the README's contents do not list %s", path)
		}
	}
	for _, name := range anchors("## " + rest) {
		if name != "licence" && !slices.Contains(listed, [2]string{"README.md", name}) {
			t.Errorf("the README's contents do not list its heading %s", name)
		}
	}
}
