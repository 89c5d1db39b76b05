package main

import (
	"encoding/csv"
	"encoding/json"
	"os"
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

// A reader that ends first, as head does, is no fault: the status is that of what was found.
func TestResults_ReaderEnds(t *testing.T) {
	log := filepath.Join(t.TempDir(), "log.db")
	for _, c := range []struct {
		status int
		args   []string
	}{
		{exitFail, []string{"run", "relay-only", "--seed", "1", "--cycles", "1", "--fault", "welded", "--log", log}},
		{exitPass, []string{"report", "last", "--as", "csv", "--log", log}},
		{exitPass, []string{"runs", "--as", "json", "--log", log}},
		{exitPass, []string{"run", "--list"}},
		{exitPass, []string{"--help"}},
		{exitPass, []string{"--version"}},
	} {
		reader, writer, err := os.Pipe()
		if err != nil {
			t.Fatal(err)
		}
		reader.Close()
		var errs strings.Builder
		status := bounded(c.args, streams{strings.NewReader(""), writer, &errs})
		writer.Close()
		if status != c.status || errs.Len() > 0 {
			t.Errorf("%q: exit status %d, want %d: %s", c.args, status, c.status, errs.String())
		}
	}
}
