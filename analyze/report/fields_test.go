package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"makebreak/analyze"
	"makebreak/rig/words"
)

// Fields come back from CSV and JSON as they went in, in their order, and no cell is a
// formula.
func TestFields_ComeBack(t *testing.T) {
	t.Parallel()
	text := rapid.StringMatching(`[A-Za-z0-9;=+"',{}\\<>&äß€ -]{0,20}[A-Za-z]`)
	rapid.Check(t, func(t *rapid.T) {
		r := &Record{Run: "7"}
		for _, name := range rapid.SliceOfNDistinct(text, 0, 4, rapid.ID[string]).Draw(t, "names") {
			r.Fields = append(r.Fields, Field{name, text.Draw(t, "value")})
		}
		r.Measurements = stream([]analyze.Measurement{{Cycle: 1, Signal: "OUT1", Quantity: analyze.Hold, Value: nan, Expanded: nan, Limit: analyze.NoLimit()}})
		var c, j bytes.Buffer
		if err := CSV(&c, r); err != nil {
			t.Fatal(err)
		}
		if err := JSON(&j, r); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&c).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		cell := rows[1][len(rows[1])-1]
		if cell != words.Cell(cell) {
			t.Fatalf("the cell %q is not safe", cell)
		}
		var record struct {
			Fields       json.RawMessage
			Measurements []struct{ Fields json.RawMessage }
		}
		if err := json.Unmarshal(j.Bytes(), &record); err != nil {
			t.Fatal(err)
		}
		for what, got := range map[string]string{"CSV": cell, "JSON": string(record.Fields), "a figure": string(record.Measurements[0].Fields)} {
			if len(r.Fields) == 0 {
				if got != "" && got != "null" {
					t.Fatalf("%s: %q", what, got)
				}
				continue
			}
			d := json.NewDecoder(strings.NewReader(got))
			for i, want := range append([]string{"{"}, namesAndValues(r.Fields)...) {
				token, err := d.Token()
				if err != nil {
					t.Fatalf("%s: %q: %v", what, got, err)
				}
				if i > 0 && token != want {
					t.Fatalf("%s: %q has %q, want %q", what, got, token, want)
				}
			}
		}
	})
}

func namesAndValues(fields []Field) (all []string) {
	for _, f := range fields {
		all = append(all, f.Name, f.Value)
	}
	return all
}
