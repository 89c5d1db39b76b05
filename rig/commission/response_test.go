package commission

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// drawn are steps at phases of all kinds as conversions show them whose response is given by the
// step's age, with time stamps that scatter, in conversions.
func drawn(n int, response func(age float64) float64, scatter float64, r *rand.Rand) [][]shown {
	steps := make([][]shown, n)
	for i := range steps {
		phase := math.Mod(float64(i)/math.Phi, 1)
		off := scatter * r.NormFloat64()
		for k := -1.0; k < 3; k++ {
			steps[i] = append(steps[i], shown{k + phase + off, response(k+phase) + 3e-4*r.NormFloat64()})
		}
	}
	return steps
}

func plain(age float64) float64 { return math.Max(0, math.Min(1, age)) }

// thirdOrder are three means in a row (textbook: the integral of a quadratic B-spline), a
// conversion of which takes so much of the time of one.
func thirdOrder(length float64) func(age float64) float64 {
	return func(age float64) float64 {
		switch u := 3 * plain(age/length); {
		case u < 1:
			return u * u * u / 6
		case u < 2:
			return (-2*u*u*u + 9*u*u - 9*u + 3) / 6
		default:
			return 1 - (3-u)*(3-u)*(3-u)/6
		}
	}
}

// A response is found to the uncertainty that is stated with it, which is the larger the more
// the stamps scatter, also where a kernel stamped an edge late now and then.
func TestFitResponse(t *testing.T) {
	for name, response := range map[string]func(float64) float64{
		"mean": plain, "third order": thirdOrder(1), "shorter": thirdOrder(0.8),
		"late": func(age float64) float64 { return plain(age - 0.1) },
		"last": func(age float64) float64 { return plain(age / 0.9) },
	} {
		for _, scatter := range []float64{0.002, 0.012, 0.025} {
			for _, outliers := range []int{0, 5} {
				r := rand.New(rand.NewPCG(1, uint64(outliers)))
				steps := drawn(120, response, scatter, r)
				for i := range outliers {
					for k := range steps[7+20*i] {
						steps[7+20*i][k].age -= 0.4
					}
				}
				f, err := fitResponse(steps, 0.012)
				if err != nil {
					t.Errorf("%s, %g: %v", name, scatter, err)
					continue
				}
				off := 0.0
				for age := -0.2; age < 1.3; age += 0.01 {
					if share := response(age); share > 0.01 && share < 0.99 {
						off = math.Max(off, math.Abs(f.Age(share)-age))
					}
				}
				t.Logf("%s, stamps to %g, %d late: off by up to %.4f, standard %.4f", name, scatter, outliers, off, f.Standard)
				if off > 3*f.Standard || f.Standard > scatter+0.01 {
					t.Errorf("%s, stamps to %g, %d late: off by up to %.4f, standard %.4f", name, scatter, outliers, off, f.Standard)
				}
			}
		}
	}
}

// What is not one response is refused, with the reason.
func TestFitResponse_refused(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	some := func(n int, spoil func(i int, s []shown)) [][]shown {
		steps := drawn(n, plain, 0.01, r)
		for i := range steps {
			spoil(i, steps[i])
		}
		return steps
	}
	whole := func(int, []shown) {}
	for _, c := range []struct {
		want  string
		steps [][]shown
	}{
		{"99 steps; must be 100 or more", some(99, whole)},
		{"no step fell into", bare(some(200, whole))},
		{"do not fit the others", some(120, func(i int, s []shown) { later(s, float64(i%6/5)*0.4) })},
		{"goes back", drawn(120, func(age float64) float64 { return plain(age) + 0.3*math.Exp(-math.Abs(age-0.5)*20) }, 0.001, r)},
		{"steps scatter by", drawn(240, plain, 0.05, r)},
		{"is not shown within one conversion", drawn(120, thirdOrder(2), 0.01, r)},
	} {
		if f, err := fitResponse(c.steps, 0.012); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v, %v; want %q", f, err, c.want)
		}
	}
}

// later makes a step come later.
func later(s []shown, by float64) {
	for i := range s {
		s[i].age -= by
	}
}

// bare leaves out the steps of some phases.
func bare(steps [][]shown) (rest [][]shown) {
	for _, s := range steps {
		if _, phase := math.Modf(s[0].age + 2); phase < 0.4 || phase > 0.6 {
			rest = append(rest, s)
		}
	}
	return rest
}
