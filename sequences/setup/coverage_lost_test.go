package setup_test

import (
	"testing"

	"makebreak/analyze"
	"makebreak/rig/sim"
	"makebreak/testdata/few"
)

// Where ready edges get lost, conversions are placed in time less well, and the uncertainty of
// what rests on them says so: its intervals hold the truth at least as often as they should.
func TestCoverage_LostReadyEdges(t *testing.T) {
	few.Skip(t)
	t.Parallel()
	benches := 300
	if testing.Short() {
		benches = 40
	}
	for _, n := range []float64{2, 7} {
		table := newTable()
		coverSlow(t, table, edges, "switching_delay", analyze.SwitchingDelay, uint64(70_000+1000*n), benches, func(float64, bool) sim.Opts {
			return sim.Opts{Faults: []sim.Fault{{Name: "lost-ready-edges", Value: n}}}
		})
		for row, c := range table.rows {
			if c.n < benches*9/10 || c.share() < 0.93 {
				t.Errorf("every %g lost, %s: %d figures, %.1f %% of the intervals hold the truth", n, row, c.n, 100*c.share())
			}
		}
	}
}
