package report

import (
	"bytes"
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"makebreak/analyze"
	"makebreak/analyze/trend"
	"makebreak/rig/capture"
)

// schemaOf compiles a part of the schema: "record", or all of it where the name is empty.
func schemaOf(t testing.TB, part string) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(schema))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("schema.json", doc); err != nil {
		t.Fatal(err)
	}
	place := "schema.json"
	if part != "" {
		place += "#/$defs/" + part
	}
	s, err := c.Compile(place)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestSchema_Members: the schema has the members that the program writes, no more and no
// fewer, and the words that these can have.
func TestSchema_Members(t *testing.T) {
	t.Parallel()
	var s struct {
		Defs map[string]struct {
			Required   []string
			Properties map[string]struct{ Enum []any }
		} `json:"$defs"`
	}
	if err := json.Unmarshal(schema, &s); err != nil {
		t.Fatal(err)
	}
	var head bytes.Buffer
	j := newJSONWriter(&head)
	j.open()
	writeHead(j, &Record{})
	j.close()
	if err := j.end(); err != nil {
		t.Fatal(err)
	}
	record := []string{"measurements", "findings", "causes"}
	for name := range readJSON(t, head.Bytes()) {
		record = append(record, name)
	}
	var compared bytes.Buffer
	if err := (&Comparison{Now: &Record{}, Before: &Record{}}).JSON(&compared); err != nil {
		t.Fatal(err)
	}
	comparison := slices.Collect(maps.Keys(readJSON(t, compared.Bytes())))
	for part, want := range map[string][]string{
		"record": record, "measurement": columnsOf[result](), "counts": columnsOf[jsonCounts](), "finding": {"signal", "verdict", "text"}, "cause": columnsOf[jsonCause](),
		"soak": columnsOf[soakObject](), "interruption": columnsOf[interruptionObject]()[:5], "ending": columnsOf[jsonEnding](), "converter": columnsOf[jsonConverter](), "trend": columnsOf[trendObject](),
		"warning": columnsOf[warningObject](), "component": columnsOf[budgetLine](), "calibration": columnsOf[jsonCalibration](),
		"machine": append(factNames(), "changes"), "fact": columnsOf[jsonFact](),
		"comparison": comparison, "compared": columnsOf[comparedResult](), "compared_run": columnsOf[comparedRun](),
		"history": {"format", "unit", "runs"}, "lived_run": append(columnsOf[comparedRun](), "cycles", "findings", "since"), "lived_since": columnsOf[livedSince](),
	} {
		got := s.Defs[part].Required
		if (part == "measurement" || part == "compared") && !slices.Equal(got, want) {
			t.Errorf("the schema has the columns in the order %q, CSV in the order %q", got, want)
		}
		slices.Sort(got)
		slices.Sort(want)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-program +schema):\n%s", part, diff)
		}
		more := map[string]int{"record": 4, "finding": 1, "interruption": 1}[part] // of a soak, soak; of a real bench, machine; where they are known, ending and converters; where causes are ranked, causes
		if n := len(s.Defs[part].Properties); n != len(want) && n != len(want)+more {
			t.Errorf("%s: the schema has %d members, %d of them required", part, n, len(want))
		}
	}
	for _, part := range []string{"measurement", "trend", "compared"} {
		for name, want := range map[string][]any{"quantity": enumOf(analyze.Quantities()), "unit_of_measure": {"V", "s", "1"}} {
			if diff := cmp.Diff(want, s.Defs[part].Properties[name].Enum); diff != "" {
				t.Errorf("%s of %s (-program +schema):\n%s", name, part, diff)
			}
		}
	}
	if diff := cmp.Diff(enumOf(capture.EndCodes()), s.Defs["ending"].Properties["code"].Enum); diff != "" {
		t.Errorf("codes of endings (-program +schema):\n%s", diff)
	}
	states := []capture.CalibrationState{capture.InDate, capture.Overdue, capture.InFuture, capture.OtherBench, capture.Rewired, capture.NotCalibrated}
	if diff := cmp.Diff(enumOf(states), s.Defs["calibration"].Properties["state"].Enum); diff != "" {
		t.Errorf("states of calibrations (-program +schema):\n%s", diff)
	}
	if diff := cmp.Diff(enumOf([]trend.Shape{trend.Unknown, trend.Steady, trend.Drifting, trend.Stepped, trend.Changed}), s.Defs["trend"].Properties["shape"].Enum); diff != "" {
		t.Errorf("shapes (-program +schema):\n%s", diff)
	}
}

func factNames() (names []string) {
	for _, f := range capture.Facts() {
		names = append(names, string(f))
	}
	return names
}

func enumOf[T ~string](all []T) []any {
	var words []any
	for _, x := range all {
		words = append(words, string(x))
	}
	return words
}

// TestSchema_Refuses: a record passes, and one with any mistake of form does not.
func TestSchema_Refuses(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := JSON(&b, invented()); err != nil {
		t.Fatal(err)
	}
	all := schemaOf(t, "")
	parse := func(text string) any {
		doc, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		return doc
	}
	good := b.String()
	if err := all.Validate(parse(good)); err != nil {
		t.Fatalf("%v\n%s", err, good)
	}
	if err := all.Validate(parse("[" + good + "," + good + "]")); err != nil {
		t.Errorf("two records: %v", err)
	}
	for _, c := range [][2]string{
		{`"format":1`, `"format":2`},
		{`"format":1,`, ``},
		{`"simulated":true`, `"simulated":"true"`},
		{`"simulated":true,`, ``},
		{`"verdict":"fail"`, `"verdict":"pass"`},      // it is incomplete
		{`"verdict":"fail"`, `"verdict":"undecided"`}, // likewise
		{`"verdict":"fail"`, `"verdict":"failed"`},
		{`"cycles":3`, `"cycles":-1`},
		{`"cycles":3`, `"cycle":3`},
		{`"planned":5`, `"planned":0`},
		{`"faults":["`, `"faults":["adc-lost=2 s","`},
		{`"missed_conversions":2`, `"missed_conversions":2,"missed":1`},
		{`"lost_edges":1`, `"lost_edges":null`},
		{`"quantity":"low_level"`, `"quantity":"low level"`},
		{`"value":0.0123`, `"value":"0.0123"`},
		{`"value":0.0123`, `"value":null`}, // an uncertainty of nothing
		{`"unit_of_measure":"V"`, `"unit_of_measure":"mV"`},
		{`"cycle":1`, `"cycle":0`},
		{`"state":"in-date"`, `"state":"good"`},
		{`"made":"2030-04-06"`, `"made":"6.4.2030"`},
		{`"bound":null`, `"bound":""`},
		{`"cycle_started":"2031-04-05T07:30:00.012Z"`, `"cycle_started":"2031-04-05T07:30:00Z"`},
		{`"cycle_started":"2031-04-05T07:30:00.012Z"`, `"cycle_started":"2031-14-05T07:30:00.012Z"`},
		{`"started":"2031-04-05T09:30:00+02:00"`, `"started":"2031-04-05 09:30"`},
		{`"by":"Zoë Müller"`, `"by":""`},
	} {
		bad := strings.Replace(good, c[0], c[1], 1)
		if bad == good {
			t.Errorf("%s is not in the record", c[0])
		}
		if all.Validate(parse(bad)) == nil {
			t.Errorf("%s passes in place of %s", c[1], c[0])
		}
	}
}

// TestSchema_Described: each member and each part says what it is.
func TestSchema_Described(t *testing.T) {
	t.Parallel()
	var s struct {
		Defs map[string]map[string]any `json:"$defs"`
	}
	if err := json.Unmarshal(schema, &s); err != nil {
		t.Fatal(err)
	}
	n := 0
	for part, def := range s.Defs {
		members, _ := def["properties"].(map[string]any)
		for name, of := range members {
			n++
			m := of.(map[string]any)
			if to, ok := m["$ref"].(string); ok && m["description"] == nil {
				m = s.Defs[strings.TrimPrefix(to, "#/$defs/")]
			}
			if text, _ := m["description"].(string); text == "" {
				t.Errorf("%s of %s has no description", name, part)
			}
		}
	}
	if n < 60 {
		t.Errorf("%d members", n)
	}
}
