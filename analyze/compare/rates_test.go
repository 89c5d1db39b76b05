package compare

import (
	"math"
	"math/rand/v2"
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
	quantity           analyze.Quantity
	truth              float64
	chain, run, cycle  float64 // standard uncertainties
	scatter            func(*rand.Rand) float64
	error              float64 // of the chain, on the rig
	countsOfWholeCycle bool
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
		r := drawnRow{quantity: quantities[i%len(quantities)], truth: 1 + 10*rng.Float64(), scatter: scatters[kind]}
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

// TestRates: of units that stay as they are, any row is said to have moved in the share of
// comparisons that is stated, whatever the scatter, on one rig and on two, of runs of like and
// of unlike length.
func TestRates(t *testing.T) {
	t.Parallel()
	trials := 300
	if testing.Short() {
		trials = 100
	}
	for kind := range scatters {
		for _, n := range [][2]int{{2, 2}, {3, 3}, {4,4},{2,20},{4,20},{5, 5}, {5, 50},{10,10}} {
			for _, other := range []bool{false, true} {
				rng := rand.New(rand.NewPCG(uint64(n[0]), uint64(n[1])))
				moved, alone := 0, 0
				for range trials {
					u := drawUnchanging(rng, 20, kind)
					basis := allSame
					if other {
						basis = Basis{}
					}
					any := false
					for _, r := range Of(u.samples(n[0], other, 0), u.samples(n[1], false, 0), basis) {
						any = any || r.Outcome.Moving()
						if math.Abs(r.Change) > r.Expanded {
							alone++
						}
					}
					if any {
						moved++
					}
				}
				t.Logf("%-12s %v other rig %-5v: %.2f %% of comparisons, %.2f %% of rows alone", kind, n, other, 100*float64(moved)/float64(trials), 5*float64(alone)/float64(trials))
			}
		}
	}
}
