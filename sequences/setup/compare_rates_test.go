package setup_test

import (
	"os"
	"strconv"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/compare"
	"makebreak/rig/sim"
	"makebreak/sequences"
	"makebreak/sequences/setup"
	"makebreak/testdata/few"
)

// figuresOn runs a sequence for some cycles on a simulated bench and returns each cycle's
// figures.
func figuresOn(t *testing.T, name string, cycles int, opts sim.Opts) [][]analyze.Measurement {
	t.Helper()
	seq, err := sequences.Load(t.Context(), name)
	if err != nil {
		t.Fatal(err)
	}
	all, _ := cyclesOn(t, setup.BenchFor(seq), seq, cycles, opts)
	return all
}

func sampled(cycles [][]analyze.Measurement) []*compare.Sample {
	var g compare.Gatherer
	for _, figures := range cycles {
		for i := range figures {
			g.Add(&figures[i])
		}
	}
	return g.Samples()
}

// TestCompare_Benches: the first and the second half of a run on one bench are two runs of a
// unit that stays as it is, behind converters with filters that the comparison does not know.
// Then a relay that releases a millisecond later in the second half. MAKEBREAK_LONG=20 draws a
// thousand benches.
func TestCompare_Benches(t *testing.T) {
	t.Parallel()
	benches := 50
	if testing.Short() || few.Race {
		benches = 5
	}
	if n, err := strconv.Atoi(os.Getenv("MAKEBREAK_LONG")); err == nil {
		benches *= n
	}
	same := func(string) bool { return true }
	one := compare.Basis{SameRig: true, SameChain: same, SameChip: same}
	const half = 5
	moved, rows, alone, found, wrong := 0, 0, 0, 0, 0
	for i := range benches {
		opts := sim.Opts{Seed: uint64(90_000 + i), Weights: filters[i%len(filters)].weights}
		name := "relay-only"
		if i%10 == 0 {
			name = "armed-high"
		}
		healthy := figuresOn(t, name, 2*half, opts)
		any := false
		for _, r := range compare.Of(sampled(healthy[half:]), sampled(healthy[:half]), one) {
			any = any || r.Outcome.Moving()
			if r.Outcome.Judged() {
				rows++
				if r.Change != 0 && (r.Change > r.Expanded || -r.Change > r.Expanded) {
					alone++
				}
			}
			if r.Outcome.Moving() {
				t.Logf("bench %d: %s %s %s: %g ± %g", i, r.Signal, r.Quantity, r.Event, r.Change, r.Expanded)
			}
		}
		if any {
			moved++
		}
		late, err := sim.ParseFault("slow-release=1ms")
		if err != nil {
			t.Fatal(err)
		}
		opts.Faults = []sim.Fault{late}
		slow := figuresOn(t, name, 2*half, opts)
		for _, r := range compare.Of(sampled(slow[half:]), sampled(healthy[:half]), one) {
			switch {
			case r.Quantity == analyze.ReleaseTime && r.Outcome == compare.Moved && r.Change > 0:
				found++
			case r.Outcome.Moving() && r.Quantity != analyze.ReleaseTime:
				wrong++
			}
		}
	}
	t.Logf("%d of %d unchanged units: something moved; of single rows %d of %d were off by more than U", moved, benches, alone, rows)
	t.Logf("%d of %d releases that came 1 ms later were found, %d other rows were said to have moved", found, benches, wrong)
	if float64(moved) > compare.Familywise*float64(benches)+2+3*float64(benches)/100 {
		t.Errorf("%d of %d comparisons of unchanged units say that something moved", moved, benches)
	}
	if found*10 < benches*8 {
		t.Errorf("%d of %d releases that came 1 ms later were found", found, benches)
	}
}
