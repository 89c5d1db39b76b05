package setup_test

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

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
// and those that have a budget there. One bench has a loose wire and slow edges: no time out of
// the state has no budget, nor has the bound of an edge too fast to time.
func measuredQuantities(t *testing.T) (measured, budgeted map[analyze.Quantity]bool) {
	t.Helper()
	measured, budgeted = map[analyze.Quantity]bool{}, map[analyze.Quantity]bool{}
	take := func(seq *sequences.Sequence, opts sim.Opts) {
		got, _ := measuredOn(t, setup.BenchFor(seq), seq, opts)
		for _, m := range got {
			measured[m.Quantity] = true
			budgeted[m.Quantity] = budgeted[m.Quantity] || len(m.Budget) > 0
		}
	}
	for _, seq := range sequences.Builtin() {
		take(seq, sim.Opts{Seed: 1})
	}
	seq, err := sequences.Load(t.Context(), "armed-high")
	if err != nil {
		t.Fatal(err)
	}
	take(seq, sim.Opts{Seed: 1, Faults: []sim.Fault{{Name: "loose-wire"}}, Unit: sim.UnitParams{Edge: 20 * time.Millisecond}})
	return measured, budgeted
}
