package measure_test

import (
	"testing"

	"makebreak/analyze/diagnose"
)

// cyclesOf draws cycles of 6 s, one output at the rate with a relay behind it.
func cyclesOf(n int, rate float64) drawing {
	var changes, no, nc []float64
	d := draw(6*float64(n) + 1)
	for i := range n {
		on, off := 1+6*float64(i), 4+6*float64(i)
		d = d.event("on", on).event("off", off)
		changes = append(changes, on+0.142, 12.6, off+0.142, 0.1)
		no, nc = append(no, on+0.15, off+0.147), append(nc, on+0.147, off+0.149)
	}
	noisy := plus(levelsFast(changes), jitter(0.01, 1))
	return d.output("OUT1", rate, noisy).contact("K1_NO", false, no...).contact("K1_NC", true, nc...)
}

// levelsFast is levels for many changes, asked by rising time.
func levelsFast(changes []float64) func(float64) float64 {
	i, v := 0, 0.1
	return func(t float64) float64 {
		for i < len(changes) && t >= changes[i] {
			v = changes[i+1]
			i += 2
		}
		return v
	}
}

// BenchmarkMeasure measures and judges a million samples in 6 s states, and in a
// hundred short cycles at 860 samples a second.
func BenchmarkMeasure(b *testing.B) {
	for _, c := range []struct {
		name   string
		cycles int
		rate   float64
	}{{"million", 1, 1e6 / 7}, {"cycles", 100, 860}} {
		b.Run(c.name, func(b *testing.B) {
			d, plan := cyclesOf(c.cycles, c.rate), fullPlan()
			b.ReportAllocs()
			for b.Loop() {
				if _, err := diagnose.Examine(plan, d.Capture); err != nil {
					b.Fatal(err)
				}
			}
			samples := float64(d.Traces[0].Len()) * float64(b.N)
			b.ReportMetric(samples/b.Elapsed().Seconds(), "samples/s")
		})
	}
}

// BenchmarkMeter_State measures the states of one cycle of 6 s at 860 samples a
// second: the cost of a cycle in a soak.
func BenchmarkMeter_State(b *testing.B) {
	d, plan := cyclesOf(1, 860), fullPlan()
	m, err := diagnose.NewExaminer(plan, d.Capture)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		m.State(d.Capture, d.Events[0], d.Events[1].At)
		m.State(d.Capture, d.Events[1], d.End+1)
		m.Take()
	}
}

func BenchmarkNewMeter(b *testing.B) {
	d, plan := cyclesOf(1, 10), fullPlan()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := diagnose.NewExaminer(plan, d.Capture); err != nil {
			b.Fatal(err)
		}
	}
}
