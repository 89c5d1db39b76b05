package measure

import (
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"testing"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/capture/csvfile"
)

// libraryAnswer is what NumPy and SciPy make of a waveform; the file beside the
// waveforms says how.
type libraryAnswer struct {
	ModeLow  float64 `json:"mode_low"`
	ModeHigh float64 `json:"mode_high"`
	MeanLow  float64 `json:"mean_low"`
	SDLow    float64 `json:"sd_low"`
	MeanHigh float64 `json:"mean_high"`
	SDHigh   float64 `json:"sd_high"`
	T10      float64 `json:"t10"`
	T50      float64 `json:"t50"`
	T90      float64 `json:"t90"`
	Event    float64 `json:"event"`
}

var waveforms = filepath.Join("..", "..", "testdata", "waveforms")

func libraryAnswers(t *testing.T) map[string]libraryAnswer {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(waveforms, "expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	var raw map[string]json.RawMessage
	if err := json.Unmarshal(b, &raw); err != nil {
		t.Fatal(err)
	}
	delete(raw, "made with")
	answers := map[string]libraryAnswer{}
	for name, b := range raw {
		var a libraryAnswer
		if err := json.Unmarshal(b, &a); err != nil {
			t.Fatal(err)
		}
		answers[name] = a
	}
	if len(answers) < 8 {
		t.Fatalf("answers to %d waveforms, want 8", len(answers))
	}
	return answers
}

func readWaveform(t *testing.T, name string) *capture.Capture {
	t.Helper()
	f, err := os.Open(filepath.Join(waveforms, name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := csvfile.NewReader(f, name, 0)
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := r.Next(); err == io.EOF {
			return r.Capture()
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

// Levels and instants must be those that a general-purpose library finds: the modes
// by numpy.histogram, the means by scipy.stats.tmean, the instants by numpy.interp.
func TestLibrary_LevelsAndInstants(t *testing.T) {
	const volts = 2e-6 // single precision below 32 V
	for name, want := range libraryAnswers(t) {
		t.Run(name, func(t *testing.T) {
			tr := readWaveform(t, name).Traces[0]
			x := extremesOf(tr, 0, all)
			h := histogramOf(tr)
			low, high := h.stateLevels()
			near(t, "low mode", low, want.ModeLow, volts)
			near(t, "high mode", high, want.ModeHigh, volts)
			tol := max(leastTolerance, tolerance*(x.hi-x.lo))
			l := refine(tr, 0, all, low, tol)
			l = refine(tr, 0, all, l.volts, tol)
			near(t, "low level", l.volts, want.MeanLow, volts)
			near(t, "low level's scatter", l.sigma, want.SDLow, volts)
			u := refine(tr, 0, all, high, tol)
			u = refine(tr, 0, all, u.volts, tol)
			near(t, "high level", u.volts, want.MeanHigh, volts)
			near(t, "high level's scatter", u.sigma, want.SDHigh, volts)

			before, after := l.volts, u.volts
			if _, last, _ := tr.Last(); last < (before+after)/2 {
				before, after = after, before
			}
			at, _, _ := tr.Near(capture.FromSeconds(want.T50), 0, 1)
			got := instants(tr, capture.Instant(at[0]), before, after)
			for i, want := range []float64{want.T10, want.T50, want.T90} {
				near(t, "instant", got[i], want, 2e-6)
			}
		})
	}
}

// The meter's own figures, with levels from the settled parts only, must agree with
// the library's within what they state: each delay and duration within its expanded
// uncertainty, and delays within a fifth of a sampling interval.
func TestLibrary_Meter(t *testing.T) {
	for name, want := range libraryAnswers(t) {
		t.Run(name, func(t *testing.T) {
			c := readWaveform(t, name)
			interval := c.End.Sub(c.Start).Seconds() / float64(c.Traces[0].Len())
			rows := measuredAll(t, c)
			seen := map[analyze.Quantity]bool{}
			for _, x := range rows {
				seen[x.Quantity] = true
				switch x.Quantity {
				case analyze.SwitchingDelay:
					near(t, "delay", x.Value, want.T50-want.Event, interval/5)
				case analyze.TransitionDuration:
					if x.Bound() != analyze.NoBound {
						if x.Value < want.T90-want.T10 {
							t.Errorf("the duration is at most %g, the library says %g", x.Value, want.T90-want.T10)
						}
						continue
					}
					// The library's levels hold what of a slow edge lies near them, ours do not.
					near(t, "duration", x.Value, want.T90-want.T10, x.Expanded+0.003*x.Value)
				}
			}
			for _, q := range []analyze.Quantity{analyze.LowLevel, analyze.HighLevel, analyze.SwitchingDelay, analyze.TransitionDuration} {
				if !seen[q] {
					t.Errorf("no %s", q)
				}
			}
		})
	}
}

// measuredAll is all figures of a capture, with nothing demanded.
func measuredAll(t *testing.T, c *capture.Capture) []analyze.Measurement {
	t.Helper()
	m, err := NewMeter(nil, c)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range c.Events {
		to := c.End + 1
		if i+1 < len(c.Events) {
			to = c.Events[i+1].At
		}
		m.State(c, e, to)
	}
	return m.Take()
}
