package main

import (
	"encoding/csv"
	"encoding/json"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// A run's results as CSV and as JSON are the same figures to the last digit: text
// for text where a number stands, null where nothing does.
func TestResults_CSVIsJSON(t *testing.T) {
	log := filepath.Join(t.TempDir(), "log.db")
	for _, args := range [][]string{
		{"run", "armed-high", "--seed", "5", "--cycles", "2", "--unit", "4711"},
		{"run", "armed-high", "--seed", "5", "--cycles", "2", "--fault", "welded"},
		{"run", "armed-pulse", "--seed", "5", "--cycles", "1", "--fault", "stuck-low"},
		{"run", "relay-only", "--seed", "5", "--cycles", "2", "--fault", "weak-contact"},
	} {
		t.Run(strings.Join(args, " "), func(t *testing.T) {
			status, table, errs := run(t, append(args, "--log", log, "--as", "csv")...)
			if status > exitUndecided {
				t.Fatal(errs)
			}
			_, object, _ := run(t, "--log", log, "report", "last", "--as", "json")
			rows, err := csv.NewReader(strings.NewReader(table)).ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			var record struct{ Measurements []map[string]any }
			d := json.NewDecoder(strings.NewReader(object))
			d.UseNumber()
			if err := d.Decode(&record); err != nil {
				t.Fatal(err)
			}
			if len(record.Measurements) != len(rows)-1 || len(rows) < 20 {
				t.Fatalf("%d measurements as JSON, %d as CSV", len(record.Measurements), len(rows)-1)
			}
			for i, m := range record.Measurements {
				compareRow(t, m, rows[i+1])
			}
		})
	}
}

// compareRow compares a measurement as JSON with its row.
func compareRow(t *testing.T, m map[string]any, row []string) {
	t.Helper()
	if len(m) != len(row) {
		t.Errorf("%d fields, %d cells", len(m), len(row))
	}
	numbers := map[string]bool{"cycle": true, "value": true, "expanded_uncertainty": true, "lower_limit": true, "upper_limit": true}
	for i, name := range resultColumns(t) {
		cell, ok := "", true
		switch v := m[name].(type) {
		case nil:
		case json.Number:
			cell, ok = v.String(), numbers[name]
		case string:
			cell, ok = v, !numbers[name] && v != ""
		case bool:
			cell, ok = strconv.FormatBool(v), name == "simulated" || name == "complete"
		default:
			ok = false
		}
		if !ok || cell != row[i] {
			t.Errorf("%s is %v as JSON and %q as CSV", name, m[name], row[i])
		}
	}
}
