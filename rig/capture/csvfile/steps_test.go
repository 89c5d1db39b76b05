package csvfile

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// quantised is a column of a step from 0.5 V to 12.3 V with noise, in steps of q with an
// offset, written with a format.
func quantised(n int, q, offset, noise float64, format string, seed uint64) string {
	r := rand.New(rand.NewPCG(seed, 1))
	var b strings.Builder
	b.WriteString("time_s,OUT1_V\n")
	for i := range n {
		v := 0.5
		if i >= n/2 {
			v = 12.3
		}
		v += noise * r.NormFloat64()
		fmt.Fprintf(&b, "%.6f,"+format+"\n", float64(i)*1e-3, offset+q*math.Round((v-offset)/q))
	}
	return b.String()
}

// A column's step is that in which its values come, however many places they are written to;
// where they show none, that of an instrument of few bits; and its decimals where these are
// coarser, or where there are too few samples to tell.
func TestReader_StepsOfSamples(t *testing.T) {
	for _, tc := range []struct {
		name               string
		n                  int
		q, offset, noise   float64
		format             string
		least, most        float64
		beforeTheStepAlone bool
	}{
		{name: "8 bits over 10 V", n: 2000, q: 10.0 / 255, noise: 0.03, format: "%.5f", least: 0.0392, most: 0.0393},
		{name: "with an offset", n: 2000, q: 0.05, offset: 0.0137, noise: 0.04, format: "%.4f", least: 0.05, most: 0.0501},
		{name: "noise far above the step", n: 2000, q: 0.004, noise: 0.1, format: "%.4f", least: 0.0039, most: 0.0041},
		{name: "rounded while written", n: 2000, q: 0.0077, noise: 0.02, format: "%.3f", least: 0.006, most: 0.0095},
		{name: "scientific", n: 2000, q: 0.03, noise: 0.05, format: "%.6E", least: 0.0299, most: 0.0301},
		{name: "no noise at all", n: 2000, q: 0.09, noise: 0, format: "%.4f", least: 0.09, most: 0.3},
		{name: "no noise at all, before it switches", n: 200, q: 0.09, noise: 0, format: "%.4f", least: 0.09, most: 0.3, beforeTheStepAlone: true},
		{name: "decimals are coarser", n: 2000, q: 0.001, noise: 0.1, format: "%.1f", least: 0.1, most: 0.1},
		{name: "decimals are coarser, no noise", n: 2000, q: 0.01, noise: 0, format: "%.0f", least: 1, most: 1},
		{name: "typed by hand", n: 12, q: 0.01, noise: 0, format: "%.2f", least: 0.01, most: 0.01},
		{name: "fine", n: 2000, q: 1e-5, noise: 0.002, format: "%.4f", least: 1e-4, most: 1e-4},
	} {
		text := quantised(tc.n, tc.q, tc.offset, tc.noise, tc.format, 7)
		if tc.beforeTheStepAlone {
			text = strings.Join(strings.Split(text, "\n")[:tc.n/2], "\n") + "\n"
		}
		c, err := readAll(strings.NewReader(text), 0)
		if err != nil {
			t.Fatal(err)
		}
		if step := c.Traces[0].Converter.StepVolts; step < tc.least || step > tc.most {
			t.Errorf("%s: a step of %g V, want %g to %g V", tc.name, step, tc.least, tc.most)
		}
	}
}
