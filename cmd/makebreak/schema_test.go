package main

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"fmt"
	"maps"
	"path/filepath"
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
	for _, name := range slices.Sorted(maps.Keys(of.Properties)) {
		if !slices.Contains(of.Required, name) {
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

// TestJSON_Conforms: whatever a run, a soak or a capture comes to, its JSON is as the published
// schema says.
func TestJSON_Conforms(t *testing.T) {
	t.Parallel()
	log := filepath.Join(t.TempDir(), "log.db")
	captures := filepath.Join(root, "testdata", "captures")
	for _, c := range []struct {
		status int
		part   string
		args   []string
	}{
		{exitPass, "record", []string{"run", "armed-high", "--cycles", "1", "--unit", "4711", "--by", "A. Fitter"}},
		{exitPass, "record", []string{"run", "relay-supply", "--cycles", "1", "--yes"}},
		{exitPass, "record", []string{"run", "armed-pulse", "--cycles", "1"}},
		{exitFail, "record", []string{"run", "relay-only", "--cycles", "2", "--fault", "welded"}},
		{exitUndecided, "record", []string{"run", "relay-only", "--cycles", "1", "--fault", "long-bounce=6ms", "--fault", "merged-edges=1.5ms"}},
		{exitRig, "record", []string{"run", "armed-high", "--fault", "adc-lost=7 s"}},
		{exitPass, "record", []string{"soak", "relay-only", "--cycles", "300", "--unit", "RB-1"}},
		{exitFail, "record", []string{"soak", "relay-only", "--cycles", "300", "--fault", "missed-cycle"}},
		{exitRig, "record", []string{"soak", "relay-only", "--cycles", "12", "--fault", "adc-lost=2 s"}},
		{exitPass, "record", []string{"soak", "--resume", "last"}},
		{exitPass, "record", []string{"analyze", filepath.Join(captures, "holding-in.csv")}},
		{exitFail, "record", []string{"analyze", filepath.Join(captures, "holding-in.csv"), "--averaged", "1.198753ms", "--sequence", "armed-high"}},
		{exitFail, "records", []string{"analyze", filepath.Join(captures, "holding-in.csv"), filepath.Join(root, "testdata", "readme", "capture.csv"), "--sequence", "armed-high"}},
		{exitPass, "runs", []string{"runs"}},
		{exitPass, "runs", []string{"runs", "--unit", "nobody's"}},
		{exitPass, "budget", []string{"report", "last", "--budget", "COIL.high_level"}},
	} {
		args := c.args
		if args[0] == "run" || args[0] == "soak" && args[1] != "--resume" {
			args = append(args, "--seed", "1")
		}
		status, text, errs := run(t, append(args, "--log", log, "--as", "json")...)
		if status != c.status {
			t.Errorf("%v: exit status %d, want %d: %s", c.args, status, c.status, errs)
		}
		for _, part := range []string{c.part, ""} {
			if err := conforms(text, part); err != nil {
				t.Errorf("%v: %v", c.args, err)
			}
		}
	}
}

// TestSimulated_EveryForm: whatever is written of a simulated run says that it was one, and
// which faults were planted, the list of runs but for these.
func TestSimulated_EveryForm(t *testing.T) {
	dir := t.TempDir()
	log, file := filepath.Join(dir, "log.db"), filepath.Join(dir, "metrics.prom")
	run(t, "run", "relay-only", "--seed", "1", "--cycles", "1", "--fault", "adc-lost=9 s", "--fault", "long-bounce=6 ms", "--log", log, "--quiet", "--metrics-file", file)
	const spelled, joined = "adc-lost=9 s, long-bounce=6 ms", "adc-lost=9s long-bounce=6ms"
	forms := map[string]struct {
		text string
		says []string
	}{
		"metrics": {documentText(t, file), []string{`simulated="true"`, `faults="` + joined + `"`}},
	}
	db, err := sql.Open("sqlite", log)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, view := range []string{"runs", "cycles", "figures"} {
		columns, rows := viewed(t, db, view)
		row := rows[0]
		text := "simulated " + row[slices.Index(columns, "simulated")] + ", faults " + row[slices.Index(columns, "faults")]
		forms["the view "+view] = struct {
			text string
			says []string
		}{text, []string{"simulated 1, faults " + joined}}
	}
	for command, says := range map[string][]string{
		"report last":                                    {"simulated bench (seed 1): nothing real was measured; faults planted on purpose: " + spelled},
		"report last --as html":                          {"Simulated bench, faults planted on purpose: " + spelled, "Nothing real was measured"},
		"report last --as csv":                           {",true," + joined + ","},
		"report last --as json":                          {`"simulated":true`, `"faults":["adc-lost=9s","long-bounce=6ms"]`, `"faults":"` + joined + `"`},
		"report last --budget COIL.high_level":           {"simulated bench (seed 1): nothing real was measured", spelled},
		"report last --budget COIL.high_level --as csv":  {",true," + joined + ","},
		"report last --budget COIL.high_level --as json": {`"simulated":true,"faults":"` + joined + `"`},
		"report last --capture 1":                        {",simulated,planted:adc-lost=9s,planted:long-bounce=6ms\n"},
		"runs":                                           {"relay-only, simulated\n"},
		"runs --as csv":                                  {",simulated,", ",true,"},
		"runs --as json":                                 {`"simulated": true`},
	} {
		_, text, _ := run(t, append(strings.Fields(command), "--log", log)...)
		forms[command] = struct {
			text string
			says []string
		}{text, says}
	}
	for form, f := range forms {
		for _, want := range f.says {
			if !strings.Contains(f.text, want) && !strings.Contains(unbroken(f.text), want) {
				t.Errorf("%s does not say %q:\n%.2000s", form, want, f.text)
			}
		}
	}
}
