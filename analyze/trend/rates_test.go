package trend

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"sync"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The tables of the page on soaks were made with 200 draws; a test's run checks them with fewer.
var draws = flag.Int("draws", 20, "how many soaks of each kind are drawn for the tables of false alarms and of steps")

// ratesPage holds the tables.
const ratesPage = "../../sequences/soak/README.md"

// soakNoise draws a soak's values, cycle by cycle.
type soakNoise func(r *rand.Rand) func(cycle int) float64

func following(share float64) soakNoise {
	return func(r *rand.Rand) func(int) float64 {
		x, fresh := r.NormFloat64(), math.Sqrt(1-share*share)
		return func(int) float64 {
			x = share*x + fresh*r.NormFloat64()
			return x
		}
	}
}

// pink is 1/f noise: a sum of noises that forget in 1, 2, 4 to 8192 cycles.
func pink(r *rand.Rand) func(int) float64 {
	var parts [14]func(int) float64
	for i := range parts {
		parts[i] = following(math.Exp(-math.Pow(2, -float64(i))))(r)
	}
	return func(c int) float64 {
		sum := 0.0
		for _, part := range parts {
			sum += part(c)
		}
		return sum / math.Sqrt(float64(len(parts)))
	}
}

// swinging is white noise on a swing of 1.5 standard deviations either way.
func swinging(period float64) soakNoise {
	return func(r *rand.Rand) func(int) float64 {
		phase := 2 * math.Pi * r.Float64()
		return func(c int) float64 {
			return 1.5*math.Sin(2*math.Pi*float64(c)/period+phase) + r.NormFloat64()
		}
	}
}

// each runs a trial for every draw on two goroutines.
func each(trial func(r *rand.Rand)) {
	var wg sync.WaitGroup
	for w := range 2 {
		wg.Go(func() {
			for seed := w; seed < *draws; seed += 2 {
				trial(rand.New(rand.NewPCG(uint64(seed), 7)))
			}
		})
	}
	wg.Wait()
}

// check compares a count with the share that the page states, in percent.
func check(t *testing.T, what string, hits int, stated float64) {
	t.Helper()
	p := math.Min(0.999, math.Max(0.001, stated/100))
	b := distuv.Binomial{N: float64(*draws), P: p}
	if below, above := b.CDF(float64(hits)), 1-b.CDF(float64(hits)-1); math.Min(below, above) < 1e-4 {
		t.Errorf("%s: %d of %d, the page says %g %%", what, hits, *draws, stated)
	}
}

// tooMany reports whether so many hits of n are not to be expected at a probability p.
func tooMany(hits, n int, p float64) bool {
	b := distuv.Binomial{N: float64(n), P: p}
	return 1-b.CDF(float64(hits)-1) < 1e-4
}

func row(cells ...any) string {
	var b strings.Builder
	for _, c := range cells {
		fmt.Fprintf(&b, "| %v ", c)
	}
	return b.String() + "|"
}

func pageHas(t *testing.T, row string) {
	t.Helper()
	page, err := os.ReadFile(ratesPage)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(page), row+"\n") {
		t.Errorf("the page has no line %s", row)
	}
}

// Healthy soaks of 2,000 cycles, looked at every 200, with limits 6 standard deviations off
// and 20,000 cycles planned.
func TestRates_FalseAlarms(t *testing.T) {
	if testing.Short() {
		t.Skip("draws hundreds of soaks")
	}
	for _, c := range []struct {
		name             string
		noise            soakNoise
		end, any, warned float64 // percent
	}{
		{"white", following(0), 0, 0.5, 0},
		{"AR 0.5", following(0.5), 0, 0.5, 0},
		{"AR 0.8", following(0.8), 0, 0.5, 0},
		{"AR 0.9", following(0.9), 0, 0, 0},
		{"AR 0.95", following(0.95), 0, 0.5, 0},
		{"AR 0.99", following(0.99), 0, 0, 0},
		{"1/f", pink, 1, 8.5, 0},
		{"swing of 200 cycles", swinging(200), 0, 0.5, 0},
		{"swing of 800 cycles", swinging(800), 0, 84, 0},
		{"swing of 3,000 cycles", swinging(3000), 10.5, 90, 0},
		{"swing of 8,000 cycles", swinging(8000), 66.5, 88, 2},
	} {
		var mu sync.Mutex
		var end, anyLook, warned int
		each(func(r *rand.Rand) {
			value := c.noise(r)
			s := made(t, 0, nil)
			var changed, ever, warns bool
			for n := 200; n <= 2000; n += 200 {
				extend(t, s, n, func(c int) (float64, Outcome) { return value(c), Within })
				changed = s.fit().shape != Steady
				ever = ever || changed
				warns = warns || s.Forecast(Limit{6, true}, 20000).Warn || s.Forecast(Limit{-6, false}, 20000).Warn
			}
			mu.Lock()
			defer mu.Unlock()
			end, anyLook, warned = end+count(changed), anyLook+count(ever), warned+count(warns)
		})
		share := func(n int) float64 { return 100 * float64(n) / float64(*draws) }
		t.Log(row(c.name, fmt.Sprintf("%.1f %%", share(end)), fmt.Sprintf("%.1f %%", share(anyLook)), fmt.Sprintf("%.1f %%", share(warned))))
		check(t, c.name+", at the end", end, c.end)
		check(t, c.name+", at any look", anyLook, c.any)
		check(t, c.name+", warned", warned, c.warned)
		pageHas(t, row(c.name, fmt.Sprintf("%.1f %%", c.end), fmt.Sprintf("%.1f %%", c.any), fmt.Sprintf("%.1f %%", c.warned)))
	}
}

func count(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// Drifts over all of 2,000 cycles, and steps anywhere in their middle 60 %: what they are called,
// and how often the cycles given for a step hold it.
func TestRates_Named(t *testing.T) {
	if testing.Short() {
		t.Skip("draws hundreds of soaks")
	}
	for _, c := range []struct {
		what                string
		share, size         float64 // of the one before; standard deviations
		drift, step, either float64 // percent
		held                float64 // percent of those called step, or drift or step; 0 for a drift
	}{
		{"drift", 0, 0.2, 0, 0, 2, 0},
		{"drift", 0, 0.3, 4, 0, 17, 0},
		{"drift", 0, 0.5, 38, 0, 42, 0},
		{"drift", 0, 1, 98, 0, 2, 0},
		{"drift", 0, 2, 100, 0, 0, 0},
		{"step", 0, 0.2, 0, 0, 14, 96},
		{"step", 0, 0.3, 0, 2, 42, 98},
		{"step", 0, 0.5, 0, 33, 48, 96},
		{"step", 0, 1, 0, 96, 2, 98},
		{"step", 0, 2, 0, 99, 0, 100},
		{"drift", 0.5, 0.2, 0, 0, 2, 0},
		{"drift", 0.5, 0.3, 0, 0, 6, 0},
		{"drift", 0.5, 0.5, 6, 0, 22, 0},
		{"drift", 0.5, 1, 73, 0, 16, 0},
		{"drift", 0.5, 2, 98, 0, 0, 0},
		{"step", 0.5, 0.2, 0, 0, 5, 100},
		{"step", 0.5, 0.3, 2, 0, 12, 100},
		{"step", 0.5, 0.5, 2, 5, 36, 95},
		{"step", 0.5, 1, 0, 61, 12, 98},
		{"step", 0.5, 2, 0, 96, 0, 99},
	} {
		var mu sync.Mutex
		named := map[Shape]int{}
		held := 0
		each(func(r *rand.Rand) {
			value, at := following(c.share)(r), 400+r.IntN(1201)
			f := made(t, 2000, func(n int) (float64, Outcome) {
				x := value(n)
				if c.what == "drift" {
					x += c.size * float64(n) / 2000
				} else if n >= at {
					x += c.size
				}
				return x, Within
			}).fit()
			mu.Lock()
			defer mu.Unlock()
			named[f.shape]++
			if f.shape == Stepped || f.shape == Changed {
				held += count(f.step.From <= at && at <= f.step.To)
			}
		})
		percent := func(n, of int) float64 { return 100 * float64(n) / math.Max(1, float64(of)) }
		line := func(d, s, e, held float64) string {
			place := "-"
			if c.what == "step" {
				place = fmt.Sprintf("%.0f %%", held)
			}
			return row(fmt.Sprintf("%s of %g sd", c.what, c.size), c.share, fmt.Sprintf("%.0f %%", d), fmt.Sprintf("%.0f %%", s), fmt.Sprintf("%.0f %%", e), place)
		}
		t.Log(line(percent(named[Drifting], *draws), percent(named[Stepped], *draws), percent(named[Changed], *draws), percent(held, named[Stepped]+named[Changed])))
		check(t, c.what+" called drift", named[Drifting], c.drift)
		check(t, c.what+" called step", named[Stepped], c.step)
		check(t, c.what+" called either", named[Changed], c.either)
		if missed := named[Stepped] + named[Changed] - held; c.what == "step" && tooMany(missed, missed+held, 0.05) {
			t.Errorf("%s of %g, %g: %d of %d do not lie where they are said to", c.what, c.size, c.share, missed, missed+held)
		}
		pageHas(t, line(c.drift, c.step, c.either, c.held))
	}
}
