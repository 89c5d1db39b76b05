package main

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"makebreak/analyze"
	"makebreak/rig/sim"
	"makebreak/sequences"
	"makebreak/sequences/setup"
)

// TestQuantities_Complete asks each quantity's definition for what belongs to it: a unit, a
// symptom on either side, words and a source, a budget where the simulated bench measures it,
// and a truth in the table of coverage.
func TestQuantities_Complete(t *testing.T) {
	table, err := os.ReadFile(filepath.Join("..", "..", "testdata", "golden", "coverage.md"))
	if err != nil {
		t.Fatal(err)
	}
	measured, budgeted := measuredQuantities(t)
	for _, d := range analyze.Definitions() {
		if d.Unit == "" || d.Above == "" || d.Below == "" || d.Means == "" || d.Source == "" {
			t.Errorf("%s: its definition has a gap: %+v", d.Quantity, d)
		}
		if !measured[d.Quantity] {
			t.Errorf("%s: no built-in sequence measures it", d.Quantity)
		}
		if d.Unit == "1" {
			continue // a count is exact
		}
		if !budgeted[d.Quantity] {
			t.Errorf("%s: it has no budget", d.Quantity)
		}
		if row := regexp.MustCompile(`(?m)^\| ` + string(d.Quantity) + `[ ,]`); !row.Match(table) {
			t.Errorf("%s: the table of coverage has no truth of it", d.Quantity)
		}
	}
}

// measuredQuantities are those that the built-in sequences measure on the simulated bench,
// and those that have a budget there: with hum, so that an output leaves its state.
func measuredQuantities(t *testing.T) (measured, budgeted map[analyze.Quantity]bool) {
	t.Helper()
	measured, budgeted = map[analyze.Quantity]bool{}, map[analyze.Quantity]bool{}
	take := func(seq *sequences.Sequence, faults ...string) {
		opts := sim.Opts{Seed: 1}
		for _, f := range faults {
			fault, err := sim.ParseFault(f)
			if err != nil {
				t.Fatal(err)
			}
			opts.Faults = append(opts.Faults, fault)
		}
		got, _ := measuredOn(t, setup.BenchFor(seq), seq, opts)
		for _, m := range got {
			measured[m.Quantity] = true
			budgeted[m.Quantity] = budgeted[m.Quantity] || len(m.Budget) > 0
		}
	}
	for _, seq := range sequences.Builtin() {
		take(seq)
	}
	seq, err := sequences.Load("armed-high")
	if err != nil {
		t.Fatal(err)
	}
	take(seq, "loose-wire") // an excursion has a budget, none has none
	return measured, budgeted
}
