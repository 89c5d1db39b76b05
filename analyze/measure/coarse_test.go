package measure_test

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture/csvfile"
	"makebreak/testdata/few"
)

// coarse is an instrument whose readings come in steps.
type coarse struct {
	step, offset float64 // volts
	noise        float64 // standard deviation before it is rounded, volts
	rate         float64 // samples per second
	format       string  // in which a reading is written
}

// file is what the instrument writes of a switching output.
func (c coarse) file(low, high float64, r *rand.Rand) string {
	var b strings.Builder
	b.WriteString("time_s,OUT1_V,event\n")
	at := 0.31 + 0.1*r.Float64()
	event := "arm-away"
	for i := 0; float64(i)/c.rate < 0.9; i++ {
		t, v, name := float64(i)/c.rate, low, ""
		if t >= at {
			v = high
		}
		if t >= 0.3 {
			name, event = event, ""
		}
		v += c.noise * r.NormFloat64()
		fmt.Fprintf(&b, "%.6f,"+c.format+",%s\n", t, c.offset+c.step*math.Round((v-c.offset)/c.step), name)
	}
	return b.String()
}

func examineFile(t *testing.T, text string) analyze.Result {
	t.Helper()
	r, err := csvfile.NewReader(strings.NewReader(text), "drawn.csv", 0)
	if err != nil {
		t.Fatal(err)
	}
	for err == nil {
		_, err = r.Next()
	}
	if err != io.EOF {
		t.Fatal(err)
	}
	got, err := diagnose.Examine(nil, r.Capture())
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// An instrument's steps may be coarse and its decimals fine, and its noise less than a step
// or more: the stated uncertainty of a level holds the level. Where the noise is more than a
// step, the mean of many readings is known better than to a step, and is said to be. The truth is
// what was drawn.
func TestCoarse_Levels(t *testing.T) {
	few.Skip(t)
	for _, tc := range []struct {
		name              string
		leastNoise, noise float64 // shares of a step
		meanU             float64 // most, in steps
		formats           []string
		step              float64 // volts; 0: drawn
	}{
		{"no noise", 0, 0, 3, []string{"%.4f", "%.5E"}, 0},
		{"noise far below a step", 0.01, 0.1, 2, []string{"%.4f", "%.5E"}, 0},
		{"noise below a step", 0.1, 0.5, 0.6, []string{"%.4f", "%.5E"}, 0},
		{"noise of steps", 0.8, 3, 0.25, []string{"%.4f", "%.5E"}, 0},
		{"decimals as coarse as the steps", 0.05, 0.5, 2.5, []string{"%.2f"}, 0},
		{"noise of steps, decimals as coarse", 0.8, 3, 0.7, []string{"%.2f"}, 0.01},
	} {
		r := rand.New(rand.NewPCG(31, 7))
		held, all, sumU := 0, 0, 0.0
		for range 80 {
			c := coarse{step: 0.02 + 0.08*r.Float64(), rate: []float64{475, 860, 5000}[r.IntN(3)], format: tc.formats[r.IntN(len(tc.formats))]}
			if tc.step > 0 {
				c.step = tc.step
			}
			c.offset, c.noise = c.step*r.Float64(), c.step*(tc.leastNoise+(tc.noise-tc.leastNoise)*r.Float64())
			low, high := 0.1+0.8*r.Float64(), 11+3*r.Float64()
			for _, m := range examineFile(t, c.file(low, high, r)).Measurements {
				truth := map[analyze.Quantity]float64{analyze.LowLevel: low, analyze.HighLevel: high}[m.Quantity]
				if truth == 0 {
					continue
				}
				all++
				sumU += m.Expanded / c.step
				if math.Abs(m.Value-truth) <= m.Expanded {
					held++
				}
			}
		}
		t.Logf("%s: %d of %d levels held, mean U %.2f steps", tc.name, held, all, sumU/float64(all))
		if all != 160 || float64(held) < 0.93*float64(all) {
			t.Errorf("%s: %d of %d intervals hold the level", tc.name, held, all)
		}
		if sumU > tc.meanU*float64(all) {
			t.Errorf("%s: a mean uncertainty of %.2f steps, want at most %g", tc.name, sumU/float64(all), tc.meanU)
		}
	}
}
