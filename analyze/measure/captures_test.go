package measure_test

import (
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/capture"
	"makebreak/rig/capture/csvfile"
)

// Captures made with a general circuit simulator (ngspice), with the figures of
// the noiseless solution beside each; testdata/captures/README.md says how.
type truth struct {
	LowLevel  float64 `json:"low_level"`
	HighLevel float64 `json:"high_level"`
	Events    []struct {
		Event          string   `json:"event"`
		SwitchingDelay *float64 `json:"switching_delay"`
		OperateTime    *float64 `json:"operate_time"`
		ReleaseTime    *float64 `json:"release_time"`
		TransferTime   *float64 `json:"transfer_time"`
		BounceTime     *float64 `json:"bounce_time"`
		BounceCount    *float64 `json:"bounce_count"`
	} `json:"events"`
}

func readTruth(t *testing.T, name string) truth {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "captures", name+".truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var x truth
	if err := json.Unmarshal(b, &x); err != nil {
		t.Fatal(err)
	}
	return x
}

// measureFile measures a capture file event by event, as a stream.
func measureFile(t *testing.T, name string, averaged time.Duration) analyze.Result {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "captures", name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	return measureStream(t, f, name, averaged)
}

func measureStream(t *testing.T, in io.Reader, name string, averaged time.Duration) analyze.Result {
	t.Helper()
	r, err := csvfile.NewReader(in, name, averaged)
	if err != nil {
		t.Fatal(err)
	}
	m, err := diagnose.NewExaminer(nil, r.Capture())
	if err != nil {
		t.Fatal(err)
	}
	var last *capture.Event
	for {
		e, err := r.Next()
		if err != nil && !errors.Is(err, io.EOF) {
			t.Fatal(err)
		}
		if last != nil {
			to := e.At
			if err != nil {
				to = r.Capture().End + 1
			}
			m.State(r.Capture(), *last, to)
		} else if err == nil {
			m.Begin(r.Capture(), e.At)
		}
		if err != nil {
			return m.Take()
		}
		r.Capture().Discard(e.At - capture.Instant(50*time.Millisecond))
		last = &e
	}
}

func TestCaptures_Truth(t *testing.T) {
	const exact = 0.5e-9
	for _, c := range []struct {
		name            string
		averaged        time.Duration
		rising, falling float64 // tolerance of crossings in seconds
		measuresOperate bool
	}{
		{"healthy-instrument", 0, 0.06e-3, 0.06e-3, true},
		{"healthy-converter", 0, 0.7e-3, 0.8e-3, true},
		{"healthy-converter", 1198753 * time.Nanosecond, 0.1e-3, 0.1e-3, true},
		{"holding-in", 1198753 * time.Nanosecond, 0.1e-3, 0.1e-3, true},
	} {
		t.Run(c.name+"/"+c.averaged.String(), func(t *testing.T) {
			want := readTruth(t, c.name)
			got := measureFile(t, c.name, c.averaged)
			i := -1
			seen := 0
			for _, x := range got.Measurements {
				if x.Event == "" {
					continue
				}
				if x.Quantity == analyze.LowLevel || x.Quantity == analyze.HighLevel {
					i++ // the first row of an event
				}
				e := want.Events[i]
				if e.Event != x.Event {
					t.Fatalf("row of event %s, want %s", x.Event, e.Event)
				}
				var true_ *float64
				tol := 3e-6 + exact
				crossing := c.rising
				if e.Event == "disarm" {
					crossing = c.falling
				}
				switch x.Quantity {
				case analyze.LowLevel:
					true_, tol = &want.LowLevel, 25e-3
				case analyze.HighLevel:
					true_, tol = &want.HighLevel, 25e-3
				case analyze.SwitchingDelay:
					true_, tol = e.SwitchingDelay, crossing
				case analyze.OperateTime:
					true_, tol = e.OperateTime, crossing
				case analyze.ReleaseTime:
					true_, tol = e.ReleaseTime, crossing
				case analyze.TransferTime:
					true_ = e.TransferTime
				case analyze.BounceTime:
					true_ = e.BounceTime
				case analyze.BounceCount:
					true_, tol = e.BounceCount, 0
				default:
					continue
				}
				if true_ == nil {
					if !math.IsNaN(x.Value) {
						t.Errorf("%s %s: got %g, the truth has none", x.Event, x.Quantity, x.Value)
					}
					continue
				}
				seen++
				err := x.Value - *true_
				if !(math.Abs(err) <= tol) {
					t.Errorf("%s %s: got %.9g, truth %.9g, off by %.3g (tolerance %g)", x.Event, x.Quantity, x.Value, *true_, err, tol)
				}
				if x.Quantity != analyze.BounceCount && !(math.Abs(err) <= x.Expanded+exact) {
					t.Errorf("%s %s: off by %.3g, stated uncertainty %.3g does not cover it", x.Event, x.Quantity, err, x.Expanded)
				}
				t.Logf("%-9s %-20s %.9g ± %.2g, off by %.2g", x.Event, x.Quantity, x.Value, x.Expanded, err)
			}
			wantSeen := 0
			for _, e := range want.Events {
				for _, v := range []*float64{&want.LowLevel, e.SwitchingDelay, e.OperateTime, e.ReleaseTime, e.TransferTime, e.BounceTime, e.BounceCount} {
					if v != nil {
						wantSeen++
					}
				}
			}
			if seen != wantSeen {
				t.Errorf("compared %d figures, the truth has %d", seen, wantSeen)
			}
		})
	}
}
