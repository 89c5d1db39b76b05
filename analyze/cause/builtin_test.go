package cause_test

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/cause"
	"makebreak/rig/sim"
	"makebreak/testdata/few"
)

// TestRank_Faults plants each fault of the simulated bench as it usually is, on the built-in
// bench that can have it. Its own name must come first, or, where it breaks no limit, none.
func TestRank_Faults(t *testing.T) {
	t.Parallel()
	job := map[string]string{"wrong-pulse": "armed-pulse", "supply-reset": "relay-supply"}
	// Nothing of these shows in a few cycles, or nothing at all.
	silent := map[string]bool{"slow-oscillator": true, "fast-oscillator": true, "no-flyback": true, "creeping-operate": true, "wearing-bounce": true, "sticking": true}
	faults := sim.Faults()
	for _, f := range faults[:few.Of(8, len(faults))] {
		for seed := range uint64(few.Of(1, 3)) {
			s := &shop{job: "armed-high", cycles: 5, seed: seed + 1}
			if j := job[f.Name]; j != "" {
				s.job, s.cycles = j, 2
			}
			fault, err := sim.ParseFault(f.Name)
			if err != nil {
				t.Fatal(err)
			}
			x, possible := s.run(t, fault)
			if !possible {
				t.Fatalf("%s cannot be planted: %v", f.Name, x.err)
			}
			all := cause.Rank(cause.Builtin(), x.evidence())
			switch {
			case len(all) == 0:
				if !silent[f.Name] {
					t.Errorf("%s, seed %d: no cause; facts %v\n%s", f.Name, s.seed, cause.Facts(x.evidence()), kinds(x))
				}
			case all[0].Cause != f.Name:
				t.Errorf("%s, seed %d: %s; facts %v\n%s", f.Name, s.seed, short(all), cause.Facts(x.evidence()), kinds(x))
			case all[0].Next == "":
				t.Errorf("%s: nothing to measure next", f.Name)
			}
		}
	}
}

// A healthy bench has no causes, unless its job asks for what no unit can do.
func TestRank_Healthy(t *testing.T) {
	t.Parallel()
	n := 80
	if testing.Short() {
		n = 6
	}
	if many, err := strconv.Atoi(os.Getenv("CAUSE_BENCHES")); err == nil {
		n = many
	}
	for i := range n {
		r := rand.New(rand.NewPCG(5, uint64(i)))
		s := drawShop(r)
		if i%2 > 0 {
			s = drawWide(r)
		}
		x, _ := s.run(t)
		if x.verdict == analyze.Fail && s.all != nil {
			continue
		}
		if all := cause.Rank(cause.Builtin(), x.evidence()); len(all) > 0 {
			t.Errorf("bench %d, %s: %s\n%s\n%s\n%s", i, x.verdict, short(all), kinds(x), s.rig, s.job)
		}
	}
}
