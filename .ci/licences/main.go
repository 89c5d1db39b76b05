// Licences collects the licences and notices of all that is linked into makebreak, for
// makebreak licences and for packages:
//
//	go run ./.ci/licences            # write rig/licences/licences.json.gz anew
//	go run ./.ci/licences -check     # fail where it is not what is linked in now
//
// What licence a module has is found by go-licence-detector, which compares texts. A licence
// that is not in the list allowed, or that it does not know, is an error: then read it, and
// either do without the module or add to the list. Needs the Go module proxy.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"makebreak/rig/licences"
)

// detector is the tool that names licences.
const detector = "go.elastic.co/go-licence-detector@v0.11.1"

// targets are the systems that the program is built for, those that a rig can stand on first.
// Of a module that all have, the source is looked through as it is built for Linux.
var targets = []string{"linux/amd64", "linux/arm64", "linux/arm", "darwin/amd64", "darwin/arm64"}

// program is the package that is linked.
const program = "./cmd/makebreak"

// kept is where the collection is kept.
var kept = filepath.Join("rig", "licences", licences.File)

func main() {
	check := flag.Bool("check", false, "compare only")
	flag.Parse()
	if err := run(*check); err != nil {
		fmt.Fprintln(os.Stderr, "licences:", err)
		os.Exit(1)
	}
}

func run(check bool) error {
	linked, err := linkedIn()
	if err != nil {
		return err
	}
	c, err := collect(linked)
	if err != nil {
		return err
	}
	b, err := licences.Pack(c)
	if err != nil {
		return err
	}
	if !check {
		return os.WriteFile(kept, b, 0o644)
	}
	have, err := licences.Linked()
	if err != nil {
		return err
	}
	return compare(have, c)
}

// compare says where what is kept differs from what is linked in now. Another version of Go
// may have other texts of its own.
func compare(have, now *licences.Collection) error {
	var wrong []string
	texts := func(c *licences.Collection) map[string]string {
		all := map[string]string{}
		for _, p := range c.Parts {
			var b strings.Builder
			for _, t := range p.Texts {
				fmt.Fprintf(&b, "%s: %s\n", t.From, c.Texts[t.Text])
			}
			key := strings.Join([]string{p.Name, p.Version, p.Licence, p.System}, " ")
			if p.Name == licences.Library {
				key = p.Name
				if have.Go != now.Go {
					b.Reset()
				}
			}
			all[key] = b.String()
		}
		return all
	}
	old, new := texts(have), texts(now)
	for _, key := range slices.Sorted(maps.Keys(old)) {
		if text, ok := new[key]; !ok {
			wrong = append(wrong, "kept and not linked in: "+key)
		} else if text != old[key] {
			wrong = append(wrong, "its texts have changed: "+key)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(new)) {
		if _, ok := old[key]; !ok {
			wrong = append(wrong, "linked in and not kept: "+key)
		}
	}
	if len(wrong) > 0 {
		return fmt.Errorf("%s: %s\nrun go run ./.ci/licences, and read what has changed", kept, strings.Join(wrong, "\n"))
	}
	return nil
}

// A module is what is linked in of one.
type module struct {
	Path, Version, Dir string
	packages           map[string]*listed // by folder
	systems            map[string]bool
}

// listed is what go list tells of a package.
type listed struct {
	Dir                     string
	Standard                bool
	GoFiles, SFiles, HFiles []string
	Module                  *struct {
		Path, Version, Dir string
		Main               bool
	}
}

// linkedIn returns the modules that are linked in on some target, by their paths; that of the
// standard library is empty.
func linkedIn() (map[string]*module, error) {
	all := map[string]*module{}
	for _, target := range targets {
		system, processor, _ := strings.Cut(target, "/")
		c := exec.Command("go", "list", "-deps", "-json=Dir,Standard,GoFiles,SFiles,HFiles,Module", program)
		c.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+system, "GOARCH="+processor, "GOARM=6")
		c.Stderr = os.Stderr
		out, err := c.Output()
		if err != nil {
			return nil, fmt.Errorf("go list for %s: %w", target, err)
		}
		for d := json.NewDecoder(bytes.NewReader(out)); d.More(); {
			var p listed
			if err := d.Decode(&p); err != nil {
				return nil, err
			}
			add(all, &p, system)
		}
	}
	return all, nil
}

func add(all map[string]*module, p *listed, system string) {
	m := module{Dir: runtime.GOROOT()} // the standard library's
	if !p.Standard {
		if p.Module.Main {
			return
		}
		m.Path, m.Version, m.Dir = p.Module.Path, p.Module.Version, p.Module.Dir
	}
	if all[m.Path] == nil {
		m.packages, m.systems = map[string]*listed{}, map[string]bool{}
		all[m.Path] = &m
	}
	in := all[m.Path]
	in.systems[system] = true
	if system != "linux" && in.systems["linux"] {
		return
	}
	if before := in.packages[p.Dir]; before != nil { // other files on another system
		before.GoFiles = union(before.GoFiles, p.GoFiles)
		before.SFiles = union(before.SFiles, p.SFiles)
		before.HFiles = union(before.HFiles, p.HFiles)
		return
	}
	in.packages[p.Dir] = p
}

func union(a, b []string) []string {
	all := append(slices.Clone(a), b...)
	slices.Sort(all)
	return slices.Compact(all)
}

// collection is being filled.
type collection struct {
	licences.Collection
	number map[string]int // of a text
}

// text adds a text to a part.
func (c *collection) text(p *licences.Part, from, text string) {
	text = strings.TrimSpace(strings.ReplaceAll(text, "\r\n", "\n"))
	n, ok := c.number[text]
	if !ok {
		n = len(c.Texts)
		c.number[text] = n
		c.Texts = append(c.Texts, text)
	}
	if !slices.ContainsFunc(p.Texts, func(t licences.Text) bool { return t.Text == n }) {
		p.Texts = append(p.Texts, licences.Text{From: from, Text: n})
	}
}

// collect finds the texts of all that is linked in.
func collect(linked map[string]*module) (*licences.Collection, error) {
	names, err := detect(linked)
	if err != nil {
		return nil, err
	}
	c := &collection{Collection: licences.Collection{Go: runtime.Version()}, number: map[string]int{}}
	own := licences.Part{Name: "makebreak", Licence: "MIT"}
	if err := c.files(&own, ".", "LICENSE"); err != nil {
		return nil, err
	}
	c.Parts = append(c.Parts, own)
	for _, path := range slices.Sorted(maps.Keys(linked)) {
		m := linked[path]
		p := licences.Part{Name: path, Version: m.Version, Licence: names[path]}
		if path == "" {
			p.Name = licences.Library
		}
		if len(m.systems) == 1 {
			p.System = slices.Collect(maps.Keys(m.systems))[0]
		}
		if err := c.module(&p, m); err != nil {
			return nil, err
		}
		c.Parts = append(c.Parts, p)
	}
	data := licences.Part{Name: "Unicode data", Licence: "Unicode-DFS-2016"}
	if err := c.files(&data, filepath.Join(".ci", "licences"), "unicode.txt"); err != nil {
		return nil, err
	}
	c.Parts = append(c.Parts, data)
	for _, script := range []licences.Part{{Name: "htmx.org", Version: "2.0.11"}, {Name: "htmx-ext-sse", Version: "2.2.4"}} {
		script.Licence = "0BSD"
		name := strings.TrimSuffix(script.Name, ".org") + "-" + script.Version + ".LICENSE"
		if err := c.files(&script, filepath.Join("sequences", "site", "asset"), name); err != nil {
			return nil, err
		}
		c.Parts = append(c.Parts, script)
	}
	return &c.Collection, nil
}

// files adds files of a folder.
func (c *collection) files(p *licences.Part, dir string, names ...string) error {
	for _, name := range names {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			return err
		}
		c.text(p, name, string(b))
	}
	return nil
}

// module adds a module's texts: of its root, of the folders of packages that are linked in
// and those above them, and notices within the source.
func (c *collection) module(p *licences.Part, m *module) error {
	for _, dir := range m.folders() {
		names, err := textFiles(filepath.Join(m.Dir, dir))
		if err != nil {
			return err
		}
		for _, name := range names {
			if err := c.files(p, m.Dir, filepath.ToSlash(filepath.Join(dir, name))); err != nil {
				return err
			}
		}
	}
	for name, with := range elsewhere[m.Path] {
		if m.packages[filepath.Join(m.Dir, with)] != nil {
			if err := c.files(p, m.Dir, name); err != nil {
				return err
			}
		}
	}
	if len(p.Texts) == 0 {
		return fmt.Errorf("%s has no licence's text", m.Path)
	}
	return c.source(p, m)
}

// elsewhere are texts that stand where nobody would look for them, with the package that they
// are of.
var elsewhere = map[string]map[string]string{
	"golang.org/x/image": {"font/gofont/ttfs/README": "font/gofont/goregular"},
}

// unused are folders whose licence is of something that is linked in only with a file of the
// folder: BoringSSL, which Go takes in where it is built with GOEXPERIMENT=boringcrypto.
var unused = map[string]string{"src/crypto/internal/boring": "boring.go"}

// folders are those of a module that are linked in, and those above them, the root first.
func (m *module) folders() []string {
	all := map[string]bool{".": true}
	for dir := range m.packages {
		rel, err := filepath.Rel(m.Dir, dir)
		if err != nil {
			continue
		}
		for ; rel != "."; rel = filepath.Dir(rel) {
			if file, ok := unused[rel]; m.Path == "" && ok && !m.has(rel, file) {
				continue
			}
			all[rel] = true
		}
	}
	return slices.Sorted(maps.Keys(all))
}

// has reports whether a file of a folder is linked in.
func (m *module) has(dir, file string) bool {
	p := m.packages[filepath.Join(m.Dir, dir)]
	return p != nil && slices.Contains(p.GoFiles, file)
}

// textFiles are the files of a folder that hold licences and notices, those in a folder for
// them included.
func textFiles(dir string) (all []string, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		name := e.Name()
		if e.IsDir() && name == "THIRD_PARTY_LICENSES" {
			in, err := os.ReadDir(filepath.Join(dir, name))
			if err != nil {
				return nil, err
			}
			for _, f := range in {
				all = append(all, filepath.Join(name, f.Name()))
			}
		}
		if e.Type().IsRegular() && isText(name) {
			all = append(all, name)
		}
	}
	return all, nil
}

// isText reports whether a file is one of licences or notices, by its name.
func isText(name string) bool {
	name = strings.ToLower(name)
	if ext := filepath.Ext(name); ext == ".go" || ext == ".sh" || ext == ".yaml" || ext == ".yml" || strings.HasSuffix(name, "-logo") {
		return false
	}
	for _, begin := range []string{"licence", "license", "copying", "copyright", "notice", "patents", "unlicense", "third"} {
		if strings.HasPrefix(name, begin) {
			return true
		}
	}
	return false
}

// errLicence is of a licence that must not be linked in.
var errLicence = errors.New("the detector refuses a licence; read it, and do without the module or add to the list in .ci/licences/allowed.json")
