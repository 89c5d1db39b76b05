package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// detect names the licence of each module, by its path, and fails on one that is not allowed.
// A folder of a module that has a licence of its own is asked for as well.
func detect(linked map[string]*module) (map[string]string, error) {
	var in bytes.Buffer
	e := json.NewEncoder(&in)
	ask := func(path, version, dir string) error {
		return e.Encode(map[string]any{"Path": path, "Version": version, "Dir": dir})
	}
	for _, path := range slices.Sorted(maps.Keys(linked)) {
		m := linked[path]
		for _, dir := range m.folders() {
			names, err := textFiles(filepath.Join(m.Dir, dir))
			if err != nil {
				return nil, err
			}
			name := filepath.ToSlash(filepath.Join(nameOf(path), dir))
			if dir == "." || slices.ContainsFunc(names, isLicence) {
				if err := ask(name, "v0.0.0", filepath.Join(m.Dir, dir)); err != nil {
					return nil, err
				}
			}
		}
	}
	out, err := asked(&in)
	if err != nil {
		return nil, err
	}
	all := map[string]string{}
	for _, path := range slices.Sorted(maps.Keys(linked)) {
		names := []string{}
		for name, licence := range out {
			if name == nameOf(path) || strings.HasPrefix(name, nameOf(path)+"/") && !isModule(linked, name) {
				names = append(names, licence)
			}
		}
		slices.Sort(names)
		all[path] = strings.Join(slices.Compact(names), " and ")
		if own, ok := more[path]; ok && all[path] != "" {
			all[path] += " and " + own
		}
		if all[path] == "" {
			return nil, fmt.Errorf("%s: no licence was found", path)
		}
	}
	return all, nil
}

// more are licences of code that modules hold copies of, as they say in the texts that are
// kept. A detector of one licence a module does not see them.
var more = map[string]string{
	"modernc.org/sqlite": "public domain (SQLite)",
	"modernc.org/libc":   "MIT (musl)",
}

// nameOf is what a module is called where the detector is asked: the standard library has no path.
func nameOf(path string) string {
	if path == "" {
		return "std"
	}
	return path
}

func isModule(linked map[string]*module, name string) bool { return linked[name] != nil }

func isLicence(name string) bool {
	name = strings.ToLower(name)
	return strings.HasPrefix(name, "licen") || strings.HasPrefix(name, "copying")
}

// asked runs the detector.
func asked(in *bytes.Buffer) (map[string]string, error) {
	dir, err := os.MkdirTemp("", "licences")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	form, result := filepath.Join(dir, "form"), filepath.Join(dir, "result")
	const list = `{{range .}}{{.Name}}` + "\t" + `{{.LicenceType}}` + "\n" + `{{end}}`
	if err := os.WriteFile(form, []byte(`{{template "all" .Direct}}{{template "all" .Indirect}}{{define "all"}}`+list+`{{end}}`), 0o600); err != nil {
		return nil, err
	}
	here := filepath.Join(".ci", "licences")
	c := exec.Command("go", "run", detector, "-includeIndirect", "-rules", filepath.Join(here, "allowed.json"),
		"-overrides", filepath.Join(here, "overrides.json"), "-noticeTemplate", form, "-noticeOut", result)
	c.Stdin, c.Stderr = in, os.Stderr
	if err := c.Run(); err != nil {
		return nil, fmt.Errorf("%w: %w", errLicence, err)
	}
	text, err := os.ReadFile(result)
	if err != nil {
		return nil, err
	}
	all := map[string]string{}
	for line := range strings.Lines(string(text)) {
		if name, licence, ok := strings.Cut(strings.TrimSpace(line), "\t"); ok {
			all[name] = licence
		}
	}
	return all, nil
}
