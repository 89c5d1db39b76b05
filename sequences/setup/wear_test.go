package setup_test

import (
	"context"
	"math"
	"slices"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/trend"
	"makebreak/rig/bench"
	"makebreak/rig/sim"
	"makebreak/sequences"
	"makebreak/sequences/journal"
	"makebreak/sequences/runner"
	"makebreak/sequences/setup"
	"makebreak/testdata/few"
)

// wearCase is a fault that gets worse, planted so that it breaks a limit within the cycles
// that are run.
type wearCase struct {
	fault    string
	quantity analyze.Quantity
	signal   string
	limit    float64 // seconds
	cycles   int
	truth    func(e *sim.TruthEvent) (seconds float64, known bool)
	// late says that the warning may come after the first value out of its limit, but must come
	// before the middle of the values is.
	late bool
	// within is how far the projection may be from what came, as a share of it.
	within float64
}

// before is the cycle before which the warning must come.
func (c *wearCase) before(came, first int) int {
	if c.late {
		return came
	}
	return first
}

func operated(e *sim.TruthEvent) (float64, bool) {
	if len(e.Changes) == 1 && e.Changes[0].In {
		return e.Changes[0].Time.Seconds(), true
	}
	return 0, false
}

func released(e *sim.TruthEvent) (float64, bool) {
	if len(e.Changes) == 1 && !e.Changes[0].In {
		return e.Changes[0].Time.Seconds(), true
	}
	return 0, false
}

func bounced(e *sim.TruthEvent) (float64, bool) {
	if len(e.Changes) == 1 && e.Changes[0].In {
		return e.Changes[0].Closing.Time.Seconds(), true
	}
	return 0, false
}

// middleOf is over how many cycles the truth's middle is taken, which is what a forecast is of.
const middleOf = 41

// crossedAt is the first cycle about which the middle of the values lies above a limit; 0: none.
func crossedAt(values []float64, limit float64) int {
	for i := middleOf / 2; i+middleOf/2 < len(values); i++ {
		near := slices.Clone(values[i-middleOf/2 : i+middleOf/2+1])
		slices.Sort(near)
		if near[middleOf/2] > limit {
			return i + 1
		}
	}
	return 0
}

// wearOut runs a worn relay, calls each with a quantity's series after each cycle, and returns
// what really happened in each.
func wearOut(t *testing.T, c *wearCase, seed uint64, each func(cycle int, s *trend.Series)) (truth []float64, s *trend.Series) {
	t.Helper()
	seq, err := sequences.Load(t.Context(), "relay-only")
	if err != nil {
		t.Fatal(err)
	}
	rig := setup.BenchFor(seq)
	fault, err := sim.ParseFault(c.fault)
	if err != nil {
		t.Fatal(err)
	}
	unit := setup.Unit(rig, seq)
	unit.Seed, unit.Faults = seed, []sim.Fault{fault}
	unit.OnTruth = func(e sim.TruthEvent) {
		if x, known := c.truth(&e); known {
			truth = append(truth, x)
		}
	}
	world, err := sim.NewWorld(rig, unit)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := world.Lines(bench.Requests(rig))
	if err != nil {
		t.Fatal(err)
	}
	b, err := bench.Open(rig, world.Bus(), lines, bench.Opts{Outputs: seq.Sampled(rig), Act: world.Act})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if s, err = trend.New(); err != nil {
		t.Fatal(err)
	}
	cycle := 0
	_, err = runner.Run(context.Background(), b, seq, runner.Opts{First: 1, Last: c.cycles, Now: time.Now, OnCycle: func(cy *journal.Cycle) {
		for i := range cy.Measurements {
			m := &cy.Measurements[i]
			if m.Quantity == c.quantity && m.Signal == c.signal && m.Event != "" {
				judged := trend.Within
				if m.Verdict == analyze.Fail {
					judged = trend.Outside
				}
				if err := s.Add(m.Cycle, m.Value, judged); err != nil {
					t.Fatal(err)
				}
			}
		}
		cycle++
		each(cycle, s)
	}})
	if err != nil {
		t.Fatal(err)
	}
	return truth, s
}

// What gets worse is told of before it breaks its limit, and when: the simulator knows when it
// did. The warning must come before the first value is out of its limit. What it projects is the
// middle of the values, by a line: bounce scatters by a tenth from one closing to the next, and
// sticking goes with the square of the operations, so that no line foresees it from afar. There
// the limit itself is the warning, long before the weld.
func TestWear_Foreseen(t *testing.T) {
	few.Skip(t)
	t.Parallel()
	seeds := uint64(3)
	if testing.Short() {
		seeds = 1
	}
	for _, c := range []wearCase{
		{"creeping-operate=8 ms", analyze.OperateTime, "K1", 0.015, 1500, operated, false, 0.05},
		{"wearing-bounce=2.5 ms", analyze.BounceTime, "K1_NO", 0.005, 1600, bounced, false, 0.20},
		{"sticking=3000", analyze.ReleaseTime, "K1", 0.010, 1200, released, true, 0.15},
	} {
		for seed := uint64(1); seed <= seeds; seed++ {
			planned, warnedAt := 4*c.cycles/3, 0
			var f trend.Forecast
			truth, s := wearOut(t, &c, seed, func(cycle int, s *trend.Series) {
				if cycle%25 == 0 && warnedAt == 0 {
					if f = s.Forecast(trend.Limit{Value: c.limit, Upper: true}, planned); f.Warn {
						warnedAt = cycle
					}
				}
			})
			firstOut := s.Summary().Failures.First
			came := crossedAt(truth, c.limit)
			really := 1 + slices.IndexFunc(truth, func(x float64) bool { return x > c.limit })
			t.Logf("%s, seed %d: warned at %d of a crossing at %d (95 %%: %d to %d); it came at %d, first out of limit at %d, measured at %d", c.fault, seed, warnedAt, f.Crossing, f.Earliest, f.Latest, came, really, firstOut)
			switch {
			case came == 0 || really == 0:
				t.Errorf("%s, seed %d: it never broke its limit", c.fault, seed)
			case warnedAt == 0 || warnedAt >= c.before(came, really):
				t.Errorf("%s, seed %d: warned at %d, and out of limit first at %d", c.fault, seed, warnedAt, really)
			case math.Abs(float64(f.Crossing-came)) > c.within*float64(came):
				t.Errorf("%s, seed %d: projected for %d, it came at %d", c.fault, seed, f.Crossing, came)
			case !c.late && (float64(came) < 0.9*float64(f.Earliest) || float64(came) > 1.1*float64(f.Latest)): // 95 % of the slope's alone
				t.Errorf("%s, seed %d: projected for %d to %d, it came at %d", c.fault, seed, f.Earliest, f.Latest, came)
			}
			// A figure nearer to the limit than its uncertainty is undecided and does not fail.
			if firstOut < really || firstOut > really+came/5 {
				t.Errorf("%s, seed %d: out of limit first at cycle %d, measured at %d", c.fault, seed, really, firstOut)
			}
		}
	}
}
