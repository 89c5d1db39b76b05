package setup_test

import (
	"fmt"
	"runtime"
	"slices"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/report"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/sequences"
	"makebreak/sequences/setup"
	"makebreak/testdata/few"
	"makebreak/testdata/goldenfile"
)

// loopBacks is how many loop-backs each filter is measured by: what one finds is a little off.
const loopBacks = 10

// lookedUp is what a loop-back found, as if it had been of another rig's followed output.
func lookedUp(l wiring.Latency, rig *wiring.Rig, output string) *wiring.Latency {
	o := rig.Output(output)
	if l.Output != "" {
		l.Output = output
	}
	f := *l.Filter
	f.Output, f.Chip, f.Rate = output, o.Chip, rig.Chip(o.Chip).Rate
	l.Filter = &f
	return &l
}

// filterCase is the benches of one cell: their filter, and what was measured of it; nil:
// nothing.
type filterCase struct {
	weights  sim.Weights
	measured []wiring.Latency
}

// cover counts the times of one bench, by quantity.
func (c filterCase) cover(t *testing.T, i int, table *coverages) {
	names := []string{"armed-high", "relay-only", "armed-pulse"}
	seq, err := sequences.Load(t.Context(), names[i%len(names)])
	if err != nil {
		t.Error(err)
		return
	}
	seq.Sample = wiring.Follow
	rig := setup.BenchFor(seq)
	if c.measured != nil {
		rig.Latency = lookedUp(c.measured[i%len(c.measured)], rig, seq.Plan.Outputs[0].Signal)
	}
	figure := 0
	coverOn(t, rig, seq, sim.Opts{Seed: uint64(80_000 + i), Weights: c.weights}, func(q analyze.Quantity, value, u, truth float64) {
		if row := string(q); placed(row) {
			table.count(row, value, u, truth, float64((7*i+13*figure)%100)/100)
			figure++
		}
	})
}

// TestCoverage_Filters counts how often the interval of a followed time holds the simulator's
// truth behind each of four filters, where the filter is not known, and where a loop-back on
// another bench with such a filter measured it.
func TestCoverage_Filters(t *testing.T) {
	few.Skip(t)
	t.Parallel()
	benches := 300
	if testing.Short() {
		benches = 12
	}
	tables := map[string][]map[string]*coverage{}
	for _, f := range filters {
		found := make([]wiring.Latency, loopBacks)
		for i := range found {
			found[i], _, _ = loopedBack(t, sim.Opts{Seed: uint64(70_000 + i), Weights: f.weights})
		}
		for _, how := range []string{"no", "yes"} {
			c := filterCase{weights: f.weights}
			if how == "yes" {
				c.measured = found
			}
			tables[how] = append(tables[how], coverCase(t, c, benches))
		}
	}
	text := filterTable(tables)
	t.Log("\n" + text)
	if benches < 300 {
		return
	}
	for how, all := range tables {
		for i, table := range all {
			for row, c := range table {
				if c.share() < 0.93 || c.wrongShare() >= 0.025 {
					t.Errorf("%s, %s, loop-back %s: %d of %d intervals hold the truth, %.2f %% pass though outside", filters[i].name, row, how, c.inside, c.n, 100*c.wrongShare())
				}
			}
		}
	}
	if runtime.GOARCH == "amd64" {
		goldenfile.Check(t, "coverage-filters.md", text)
	}
}

// coverCase counts a number of benches of one case.
func coverCase(t *testing.T, c filterCase, benches int) map[string]*coverage {
	t.Helper()
	table := newTable()
	beside(benches, func(i int) { c.cover(t, i, table) })
	return table.rows
}

// filterTable has a row for each quantity without and with a loop-back, and in it for each
// filter how many intervals hold the truth and their mean U.
func filterTable(tables map[string][]map[string]*coverage) string {
	var b strings.Builder
	b.WriteString("| quantity | loop-back |")
	for _, f := range filters {
		b.WriteString(" " + f.name + " |")
	}
	b.WriteString(" passed though outside the limit, at most |\n| --- | --- |" + strings.Repeat(" --- |", len(filters)) + " --- |\n")
	var rows []string
	for row := range tables["no"][0] {
		rows = append(rows, row)
	}
	slices.Sort(rows)
	for _, row := range rows {
		for _, how := range []string{"no", "yes"} {
			fmt.Fprintf(&b, "| %s, followed | %s |", row, how)
			most := 0.0
			for _, table := range tables[how] {
				c := table[row]
				u, _, _ := strings.Cut(report.Reading(analyze.Quantity(row), c.sumU/float64(c.n), c.sumU/float64(c.n)), " ±")
				fmt.Fprintf(&b, " %.1f %% of %d, ± %s |", 100*c.share(), c.n, u)
				most = max(most, c.wrongShare())
			}
			fmt.Fprintf(&b, " %.2f %% |\n", 100*most)
		}
	}
	return b.String()
}
