package measure_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/measure"
	"makebreak/rig/capture"
)

// weighing is a converter's filter by its own law: the weight of what lies t of a conversion
// after its beginning, in any unit.
type weighing struct {
	name   string
	weight func(t float64) float64
}

// meansInARow are so many plain means one after the other in one conversion (textbook: the
// density of a sum of evenly drawn numbers).
func meansInARow(n int) weighing {
	return weighing{fmt.Sprintf("%d in a row", n), func(t float64) float64 {
		sum, ways := 0.0, 1.0
		for k := 0; float64(k) <= float64(n)*t; k++ {
			sum += ways * math.Pow(float64(n)*t-float64(k), float64(n-1))
			ways *= -float64(n-k) / float64(k+1)
		}
		return sum
	}}
}

func lastPart(share float64) weighing {
	return weighing{fmt.Sprintf("last %g %%", 100*share), func(t float64) float64 {
		if t < 1-share {
			return 0
		}
		return 1
	}}
}

// fading falls as an exponential from the conversion's beginning.
func fading(tau float64) weighing {
	return weighing{fmt.Sprintf("fading with %g", tau), func(t float64) float64 { return math.Exp(-t / tau) }}
}

// parts are a filter's weights in parts of equal length, their sum 1.
func (w weighing) parts(n int) []float64 {
	p, sum := make([]float64, n), 0.0
	for i := range p {
		p[i] = w.weight((float64(i) + 0.5) / float64(n))
		sum += p[i]
	}
	for i := range p {
		p[i] /= sum
	}
	return p
}

// response is what a conversion shows of a step that is older by a 240th of a conversion from
// one to the next.
func (w weighing) response() []float64 {
	p := w.parts(240)
	shares := make([]float64, len(p)+1)
	for i := range p {
		shares[i+1] = shares[i] + p[len(p)-1-i]
	}
	return shares
}

// measured is the filter as a loop-back would have found it, but for what that does not know.
func (w weighing) measured(standard float64) *capture.Filter {
	f := &capture.Filter{From: -1.0 / 24, Step: 1.0 / 48, Standard: standard, Shares: []uint16{0, 0}}
	shares := w.response()
	for i := 5; i < len(shares); i += 5 {
		f.Shares = append(f.Shares, uint16(math.Round(capture.WholeStep*shares[i])))
	}
	f.Shares = append(f.Shares, capture.WholeStep)
	f.Shares = slices.Insert(f.Shares, 0, 0)
	return f
}

// sample samples an edge as sampleSwept does, but behind the filter.
func (w weighing) sample(e edge, period, span, begin, noise float64, r *rand.Rand) *capture.Capture {
	conv := capture.Converter{StepVolts: 0.6125e-3, Span: time.Duration(span * 1e9), SpanRel: 1e-3}
	tr := capture.NewTrace("OUT3", conv)
	area := func(t float64) float64 {
		if t <= 0 {
			return 0
		}
		return e.area(t)
	}
	near, far, all := w.parts(240), w.parts(20), w.parts(1)
	for end := r.Float64() * period; end < 2; end += period {
		parts := far // what is slow there needs no more
		if end < begin+4*span {
			parts = near
		} else if end > begin+200*span {
			parts = all
		}
		mean, each := 0.0, span/float64(len(parts))
		for i, p := range parts {
			if from := end - span + float64(i)*each - begin; from > -each {
				mean += p * (area(from+each) - area(from)) / each
			}
		}
		tr.Append(capture.FromSeconds(end), 0.65+(13.2-0.65)*mean+noise*r.NormFloat64())
	}
	return &capture.Capture{End: capture.FromSeconds(2), Traces: []*capture.Trace{tr},
		Events: []capture.Event{{Name: "arm-away", At: capture.FromSeconds(0.9)}}}
}

// family are the filters that are reckoned with where none was measured.
func family() []weighing {
	return []weighing{meansInARow(1), lastPart(0.95), lastPart(0.9), lastPart(0.8), meansInARow(2), meansInARow(3), meansInARow(4)}
}

// TestFilter_Half calculates by how much of a conversion a plain mean misplaces a step behind
// each of the family and what lies between any two of it: the share that is shown is not the
// step's age. What is reckoned with is the largest of these.
func TestFilter_Half(t *testing.T) {
	largest := 0.0
	for _, a := range family() {
		for _, b := range family() {
			most, x, y := 0.0, a.response(), b.response()
			for mix := 0.0; mix <= 1; mix += 0.1 {
				for i := range x {
					most = math.Max(most, math.Abs(mix*x[i]+(1-mix)*y[i]-float64(i)/240))
				}
			}
			t.Logf("%s and %s: %.3f of a conversion", a.name, b.name, most)
			largest = math.Max(largest, most)
		}
	}
	if largest > measure.FilterHalf || largest < measure.FilterHalf-0.001 {
		t.Errorf("a step is misplaced by up to %.4f of a conversion, reckoned with is %.4f", largest, measure.FilterHalf)
	}
}

// TestPlacement_Filters: behind whatever filter of the family, the delay's interval holds the
// edge's own law while the filter is not known, and with it known, of whatever shape, it does so
// with less than half of the uncertainty.
func TestPlacement_Filters(t *testing.T) {
	if testing.Short() {
		t.Skip("thousands of captures")
	}
	const span, n = 1.0 / 860, 100
	step := edge{"step", func(t float64) float64 { return t }, 0}
	rows := []string{fmt.Sprintf("%-18s %-28s %12s %9s %9s %8s %8s", "filter", "edge", "samples", "measured", "U covers", "mean U", "most")}
	for _, w := range append(family(), fading(0.5), lastPart(0.7)) {
		known := slices.ContainsFunc(family(), func(f weighing) bool { return f.name == w.name })
		for _, e := range []edge{step, sagging(0.045, 1.3e-3), exponential(0.05e-3), exponential(0.12e-3), saggingExponential(0.12e-3, 0.045, 1.3e-3), exponential(0.3e-3), exponential(5e-3)} {
			for _, how := range []struct{ period, noise float64 }{{span, 1e-3}, {span, 0.1e-3}, {span, 20e-3}, {2.6e-3, 1e-3}} {
				for _, measured := range []bool{false, true} {
					if !measured && !known || measured && how.period != span {
						continue
					}
					r := rand.New(rand.NewPCG(11, 12))
					held, all, sum, most := 0, 0, 0.0, 0.0
					for range n {
						begin := 1 + r.Float64()*how.period
						c := w.sample(e, how.period, span, begin, how.noise, r)
						if measured {
							c.Traces[0].Converter.Filter = w.measured(0.005)
						}
						got, err := diagnose.Examine(nil, c)
						if err != nil {
							t.Fatal(err)
						}
						for _, m := range got.Measurements {
							if m.Quantity != analyze.SwitchingDelay || math.IsNaN(m.Value) {
								continue
							}
							off := math.Abs(m.Value - (begin + e.mid - 0.9))
							all, sum, most = all+1, sum+m.Expanded, math.Max(most, off)
							if off <= m.Expanded {
								held++
							}
						}
					}
					rows = append(rows, fmt.Sprintf("%-18s %-28s %4.1f ms %3.1f mV %5v %8.1f %% %5.0f us %5.0f us", w.name, e.name, 1e3*how.period, 1e3*how.noise, measured,
						100*float64(held)/float64(all), 1e6*sum/float64(all), 1e6*most))
					if all != n || float64(held) < 0.93*float64(all) {
						t.Errorf("%s, %s, every %.2f ms, %g mV, measured %v: %d of %d intervals hold the edge", w.name, e.name, 1e3*how.period, 1e3*how.noise, measured, held, all)
					}
				}
			}
		}
	}
	t.Log("\n" + strings.Join(rows, "\n"))
}
