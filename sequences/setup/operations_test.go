package setup

import (
	"testing"

	"makebreak/rig/bench"
	"makebreak/rig/sim"
	"makebreak/sequences"
)

// A relay that wears goes on from where it was when a run is resumed: once for each time that
// its output goes on.
func TestSimulated_Worn(t *testing.T) {
	for name, want := range map[string]int{"relay-only": 1, "armed-high": 2, "armed-pulse": 0, "all-quiet": 0} {
		seq, err := sequences.Load(t.Context(), name)
		if err != nil {
			t.Fatal(err)
		}
		if got := operations(seq); got != want {
			t.Errorf("%s: %d operations a cycle, want %d", name, got, want)
		}
	}
	seq, err := sequences.Load(t.Context(), "relay-only")
	if err != nil {
		t.Fatal(err)
	}
	took := map[int]float64{} // seconds, by the cycles done before
	for _, done := range []int{0, 1000} {
		s := Simulation{Seed: 1, Done: done, Faults: []sim.Fault{{Name: "creeping-operate", Value: 0.01}}}
		b, w, err := Simulated(BenchFor(seq), seq, s, bench.Opts{})
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Bring("energize", 100e6); err != nil {
			t.Fatal(err)
		}
		for _, e := range w.Truth().Events {
			for _, c := range e.Changes {
				took[done] = c.Time.Seconds()
			}
		}
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	}
	// Each of the two travels differs from time to time by 0.1 ms, drawn anew.
	if more := took[1000] - took[0]; more < 0.0094 || more > 0.0106 {
		t.Errorf("1,000 cycles at 10 ms in 1,000 make %.3f ms", 1e3*more)
	}
}
