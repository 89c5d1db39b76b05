package compare

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/capture"
)

// unchanging draws runs of a unit that stays as it is: what a rig gets wrong, what a run gets
// wrong, and how the unit and the noise scatter from cycle to cycle. Nothing here is worked out
// by the package: a row's mean is never known, only its cycles.
type unchanging struct {
	rng  *rand.Rand
	rows []drawnRow
}

type drawnRow struct {
	quantity          analyze.Quantity
	truth             float64
	chain, run, cycle float64 // standard uncertainties
	scatter           func(*rand.Rand) float64
	error             float64 // of the chain, on the rig
}

// scatters are how a unit's figures go from cycle to cycle, with a mean of 0 and a standard
// deviation of about 1: also one-sided ones and such as mostly agree.
var scatters = map[string]func(*rand.Rand) float64{
	"normal":      func(r *rand.Rand) float64 { return r.NormFloat64() },
	"uniform":     func(r *rand.Rand) float64 { return (r.Float64() - 0.5) * math.Sqrt(12) },
	"exponential": func(r *rand.Rand) float64 { return r.ExpFloat64() - 1 },
	"lognormal":   func(r *rand.Rand) float64 { return (math.Exp(0.8*r.NormFloat64()) - math.Exp(0.32)) / 1.32 },
	"mostly none": func(r *rand.Rand) float64 {
		if r.IntN(4) > 0 {
			return -0.5
		}
		return 1.5
	},
	"two values": func(r *rand.Rand) float64 { return float64(2*r.IntN(2) - 1) },
	"heavy":      func(r *rand.Rand) float64 { return r.NormFloat64() / math.Sqrt(r.ExpFloat64()+0.1) / 1.3 },
}

func drawUnchanging(rng *rand.Rand, rows int, kind string) *unchanging {
	u := &unchanging{rng: rng}
	quantities := []analyze.Quantity{analyze.HighLevel, analyze.OperateTime, analyze.BounceTime, analyze.Ripple}
	for i := range rows {
		r := drawnRow{quantity: quantities[i%len(quantities)], truth: 1000 * (1 + rng.Float64()), scatter: scatters[kind]}
		unit := math.Exp(rng.NormFloat64())
		r.chain, r.run, r.cycle = unit*5*rng.Float64(), unit*rng.Float64(), unit
		r.error = rectangular(rng, r.chain)
		u.rows = append(u.rows, r)
	}
	return u
}

func rectangular(rng *rand.Rand, standard float64) float64 {
	return (rng.Float64() - 0.5) * math.Sqrt(12) * standard
}

// samples draws a run of so many cycles on the rig, or on another one.
func (u *unchanging) samples(cycles int, other bool, shift float64) []*Sample {
	var g Gatherer
	for i := range u.rows {
		r := &u.rows[i]
		chain := r.error
		if other {
			chain = rectangular(u.rng, r.chain)
		}
		ofRun := rectangular(u.rng, r.run)
		for n := range cycles {
			value := r.truth + chain + ofRun + r.cycle*r.scatter(u.rng)
			if i == 0 {
				value += shift * r.cycle
			}
			g.Add(&analyze.Measurement{Cycle: n + 1, Signal: string(rune('A' + i)), Quantity: r.quantity, Value: value, Limit: analyze.NoLimit(), Budget: []gum.Component{
				{Source: gum.Source(capture.UpperResistor), Distribution: "rectangular", Standard: r.chain, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)},
				{Source: gum.Source(capture.ADCGainDrift), Distribution: "rectangular", Standard: r.run, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)},
				{Source: analyze.Repeatability, Distribution: "normal", Standard: r.cycle / 5, Sensitivity: 1, DegreesOfFreedom: math.Inf(1)},
			}})
		}
	}
	return g.Samples()
}

var allSame = Basis{SameRig: true, SameChain: func(string) bool { return true }, SameChip: func(string) bool { return true }}

// falselyMoved counts the comparisons of units that stay as they are in which any row is said to
// have moved.
func falselyMoved(rng *rand.Rand, trials int, kind string, n [2]int, other bool) (any, alone int) {
	basis := allSame
	if other {
		basis = Basis{}
	}
	for range trials {
		u := drawUnchanging(rng, 20, kind)
		moved := false
		for _, r := range Of(u.samples(n[0], other, 0), u.samples(n[1], false, 0), basis) {
			moved = moved || r.Outcome.Moving()
			if math.Abs(r.Change) > r.Expanded {
				alone++
			}
		}
		if moved {
			any++
		}
	}
	return any, alone
}

// TestRates: of units that stay as they are, any row is said to have moved in no more than the
// share of comparisons that is stated, whatever the scatter, on one rig and on two, of runs of
// like and of unlike length. The interval of a row by itself holds 0 in some 95 %.
// MAKEBREAK_LONG=4 draws a hundred comparisons of each kind.
func TestRates(t *testing.T) {
	t.Parallel()
	trials := 25
	if testing.Short() {
		trials = 10
	}
	if factor, err := strconv.Atoi(os.Getenv("MAKEBREAK_LONG")); err == nil {
		trials *= factor
	}
	var all, any int
	for kind := range scatters {
		for i, n := range [][2]int{{5, 5}, {5, 50}, {10, 10}, {30, 30}} {
			for _, other := range []bool{false, true} {
				moved, alone := falselyMoved(rand.New(rand.NewPCG(uint64(i), 9)), trials, kind, n, other)
				all, any = all+trials, any+moved
				if most := 0.05*float64(trials) + 4*math.Sqrt(0.05*0.95*float64(trials)); float64(moved) > most {
					t.Errorf("%s, %v cycles, other rig %v: %d of %d comparisons", kind, n, other, moved, trials)
				}
				if share := float64(alone) / float64(20*trials); share > 0.08 && trials >= 25 {
					t.Errorf("%s, %v cycles, other rig %v: %.1f %% of single rows", kind, n, other, 100*share)
				}
			}
		}
	}
	t.Logf("%d of %d comparisons", any, all)
	if float64(any) > Familywise*float64(all)+3*math.Sqrt(Familywise*float64(all)) {
		t.Errorf("%d of %d comparisons say that something moved", any, all)
	}
}

// TestRates_FewCycles: with two to four cycles a scatter is hardly known, and next to nothing
// is said to have moved that has not.
func TestRates_FewCycles(t *testing.T) {
	t.Parallel()
	trials := 10
	if testing.Short() {
		trials = 2
	}
	all, any := 0, 0
	for kind := range scatters {
		for _, n := range [][2]int{{2, 2}, {3, 3}, {4, 20}} {
			moved, _ := falselyMoved(rand.New(rand.NewPCG(3, uint64(n[0]))), trials, kind, n, false)
			all, any = all+trials, any+moved
		}
	}
	if float64(any) > Familywise*float64(all)+2 {
		t.Errorf("%d of %d comparisons say that something moved", any, all)
	}
}

// TestDetection: a change of five standard deviations in one of twenty rows is found in most
// comparisons of five cycles with five, and of one standard deviation in most of 100 with 100.
// The row that moved is the one that is named.
func TestDetection(t *testing.T) {
	t.Parallel()
	trials := 100
	if testing.Short() {
		trials = 30
	}
	for _, c := range []struct {
		cycles int
		shift  float64
		least  float64
	}{{5, 5, 0.85}, {10, 3, 0.9}, {100, 1, 0.9}} {
		rng := rand.New(rand.NewPCG(uint64(c.cycles), 4))
		found := 0
		for range trials {
			u := drawUnchanging(rng, 20, "normal")
			u.rows[0].run = 0.1 * u.rows[0].cycle
			rows := Of(u.samples(c.cycles, false, c.shift), u.samples(c.cycles, false, 0), allSame)
			if rows[0].Outcome == Moved && rows[0].Change > 0 {
				found++
			}
		}
		t.Logf("%d cycles, %g standard deviations: found in %d of %d", c.cycles, c.shift, found, trials)
		if float64(found) < c.least*float64(trials) {
			t.Errorf("%d cycles, %g standard deviations: found in %d of %d", c.cycles, c.shift, found, trials)
		}
	}
}
