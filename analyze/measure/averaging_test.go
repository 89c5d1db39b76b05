package measure_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/analyze/measure"
	"makebreak/rig/capture"
	"makebreak/testdata/few"
)

// said is how samples are taken, in seconds, and over what time they are said to be means.
type said struct {
	name                 string
	period, over, stated float64
	noise                float64 // volts
	captures             int
}

// steps measures captures of some outputs that step once, each at a phase of its own, and
// returns what their steps say, how many of them, and how many intervals of the switching
// delay hold the truth.
func (s said) steps(t *testing.T, outputs int, e edge) (seen []measure.Averaging, held, all int) {
	t.Helper()
	r := rand.New(rand.NewPCG(7, 8))
	for range s.captures {
		var c *capture.Capture
		var truth []float64
		for i := range outputs {
			begin := 1 + r.Float64()*s.period
			one := sampleSwept(e, s.period, s.over, begin, s.noise, r)
			one.Traces[0].Signal, one.Traces[0].Converter.Span = string(rune('A'+i)), time.Duration(s.stated*1e9)
			if truth = append(truth, begin+e.mid-0.9); c == nil {
				c = one
			} else {
				c.Traces = append(c.Traces, one.Traces...)
			}
		}
		m, err := diagnose.NewExaminer(nil, c)
		if err != nil {
			t.Fatal(err)
		}
		m.State(c, c.Events[0], c.End+1)
		for _, x := range m.Take().Measurements {
			if x.Quantity == analyze.SwitchingDelay {
				all++
				if math.Abs(x.Value-truth[x.Signal[0]-'A']) <= x.Expanded {
					held++
				}
			}
		}
		seen = append(seen, m.Averaging())
	}
	return seen, held, all
}

// TestAveraging_Refuted: values at an instant that are said to be means are found out by eleven
// steps, since a filter that is not known may hide two in five, and their times hold the truth nonetheless. The truth is the step's own instant.
func TestAveraging_Refuted(t *testing.T) {
	few.Skip(t)
	step := edge{"step", func(t float64) float64 { return t }, 0}
	for _, s := range []said{
		{"values, said to be touching means", 1.0 / 860, 1e-9, 1.0 / 860, 1e-3, 100},
		{"values, said to be overlapping means", 0.1e-3, 1e-9, 1.2e-3, 10e-3, 15},
		{"means, said to be over a longer time", 0.3e-3, 0.3e-3, 1.2e-3, 1e-3, 50},
	} {
		seen, held, all := s.steps(t, 11, step)
		if all != 11*s.captures || float64(held) < 0.93*float64(all) {
			t.Errorf("%s: %d of %d intervals hold the step", s.name, held, all)
		}
		for _, a := range seen {
			if a.Steps != 11 || a.Probability() > 1e-4 {
				t.Fatalf("%s: %+v, probability %g; eleven steps must refute it", s.name, a, a.Probability())
			}
		}
	}
}

// TestAveraging_Means: means that are said to be means are not doubted, and steps that none
// shows are no more than the chance that is reckoned with.
func TestAveraging_Means(t *testing.T) {
	few.Skip(t)
	step := edge{"step", func(t float64) float64 { return t }, 0}
	for _, s := range []said{
		{"touching", 1.0 / 860, 1.0 / 860, 1.0 / 860, 1e-3, 100},
		{"touching, noise", 1.0 / 860, 1.0 / 860, 1.0 / 860, 40e-3, 100},
		{"swept", 2.6e-3, 1.163e-3, 1.163e-3, 1e-3, 100},
		{"overlapping", 0.1e-3, 1.2e-3, 1.2e-3, 10e-3, 15},
		{"overlapping, noise", 0.3e-3, 1.2e-3, 1.2e-3, 40e-3, 15},
	} {
		for _, e := range []edge{step, exponential(0.1e-3), sagging(0.045, 1.3e-3), sagging(0.07, 0.3e-3), sagging(0.07, 0.8e-3)} {
			seen, held, all := s.steps(t, 4, e)
			var unseen, steps int
			for _, a := range seen {
				if unseen, steps = unseen+a.Unseen, steps+a.Steps; a.Probability() <= 1e-4 {
					t.Errorf("%s, %s: %+v, probability %g", s.name, e.name, a, a.Probability())
				}
			}
			t.Logf("%s, %s: %d of %d steps not shown, %d of %d intervals hold the edge", s.name, e.name, unseen, steps, held, all)
			if s.period > 2e-3 && unseen < steps/3 {
				t.Errorf("%s, %s: %d of %d steps not shown, some 55 %% fall into the gaps", s.name, e.name, unseen, steps)
			}
			if float64(held) < 0.93*float64(all) {
				t.Errorf("%s, %s: %d of %d intervals hold the edge", s.name, e.name, held, all)
			}
		}
	}
}
