package calibration

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/rig/capture"
)

func traceOf(volts ...float64) *capture.Trace {
	t := capture.NewTrace("OUT3", capture.Converter{})
	for i, v := range volts {
		t.Append(capture.Instant(i)*capture.Instant(time.Millisecond), v)
	}
	return t
}

// Values 13.3 and 13.5 in turn: mean 13.4, standard deviation 0.1·√(8/7), no drift.
func TestMean(t *testing.T) {
	p, err := Mean(traceOf(13.3, 13.5, 13.3, 13.5, 13.3, 13.5, 13.3, 13.5), 15)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", p.ReadVolts, 13.4, 1.1e-6)
	near(t, "uncertainty", p.ReadStandard, 0.1/math.Sqrt(7), 1.1e-6)
	if p.N != 8 {
		t.Errorf("%d samples", p.N)
	}
	// A drift of 40 mV between the halves counts as a rectangular width.
	p, err = Mean(traceOf(13.00, 13.00, 13.04, 13.04), 15)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "drift", p.ReadStandard, math.Hypot(0.02*math.Sqrt(4.0/3)/2, 0.04/math.Sqrt(12)), 1.1e-6)
}

func TestMean_refused(t *testing.T) {
	if _, err := Mean(traceOf(1, 1, 1), 15); err == nil || !strings.Contains(err.Error(), "at least 4 samples of OUT3 are needed; 3 came") {
		t.Errorf("too few: %v", err)
	}
	for name, tr := range map[string]*capture.Trace{"scatters": traceOf(1, 2, 1, 2, 1, 2), "drifts": traceOf(1, 1, 1.1, 1.1)} {
		if _, err := Mean(tr, 15); !errors.Is(err, ErrUnsteady) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Of a highest voltage of 15 V, samples may scatter by 150 mV and drift by 45 mV, up or
// down. Eight values d above and below in turn scatter by d·√(8/7).
func TestMean_bounds(t *testing.T) {
	for name, c := range map[string]struct {
		volts []float64
		ok    bool
	}{
		"scatters a little": {[]float64{5.14, 4.86, 5.14, 4.86, 5.14, 4.86, 5.14, 4.86}, true},
		"scatters":          {[]float64{5.141, 4.859, 5.141, 4.859, 5.141, 4.859, 5.141, 4.859}, false},
		"rises a little":    {[]float64{5, 5, 5.0449, 5.0449}, true},
		"rises":             {[]float64{5, 5, 5.0451, 5.0451}, false},
		"falls a little":    {[]float64{5, 5, 4.9551, 4.9551}, true},
		"falls":             {[]float64{5, 5, 4.9549, 4.9549}, false},
		"fewest":            {[]float64{5, 5, 5, 5}, true},
	} {
		if _, err := Mean(traceOf(c.volts...), 15); (err == nil) != c.ok || err != nil && !errors.Is(err, ErrUnsteady) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
