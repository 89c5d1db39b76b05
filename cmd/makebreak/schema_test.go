package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"makebreak/analyze/report"
)

// published is the program's own JSON Schema, as report --schema writes it. An empty part
// is all of it.
var published = sync.OnceValues(func() (*jsonschema.Compiler, error) {
	var b bytes.Buffer
	if err := report.Schema(&b); err != nil {
		return nil, err
	}
	doc, err := jsonschema.UnmarshalJSON(&b)
	if err != nil {
		return nil, err
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	return c, c.AddResource("published.json", doc)
})

var compiling sync.Mutex // a compiler is for one at a time

// conforms says how a JSON text differs from a part of the published schema, "record" or
// "runs", or from all of it where the part is empty.
func conforms(text, part string) error {
	compiling.Lock()
	defer compiling.Unlock()
	c, err := published()
	if err != nil {
		return err
	}
	place := "published.json"
	if part != "" {
		place += "#/$defs/" + part
	}
	s, err := c.Compile(place)
	if err != nil {
		return err
	}
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	if err != nil {
		return fmt.Errorf("it is no JSON: %w", err)
	}
	return s.Validate(doc)
}

// madeMembers is a table of the members of a part of the schema.
func madeMembers(t *testing.T, head, part string) string {
	t.Helper()
	var b bytes.Buffer
	if err := report.Schema(&b); err != nil {
		t.Fatal(err)
	}
	type member struct {
		Ref         string `json:"$ref"`
		Description string
	}
	var s struct {
		Defs map[string]struct {
			Description string
			Required    []string
			Properties  map[string]member
		} `json:"$defs"`
	}
	if err := json.Unmarshal(b.Bytes(), &s); err != nil {
		t.Fatal(err)
	}
	of := s.Defs[part]
	names := of.Required
	for name := range of.Properties {
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	var table strings.Builder
	fmt.Fprintf(&table, "| %s | holds |\n| --- | --- |\n", head)
	for _, name := range names {
		m := of.Properties[name]
		text := m.Description
		if text == "" {
			text = s.Defs[strings.TrimPrefix(m.Ref, "#/$defs/")].Description
		}
		if head == "column" {
			text = strings.ReplaceAll(text, "null", "empty")
		}
		fmt.Fprintf(&table, "| `%s` | %s |\n", name, escaped(text))
	}
	return table.String()
}
