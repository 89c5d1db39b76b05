package rigfile

import (
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/wiring"
)

func TestLatency_RoundTrip(t *testing.T) {
	path := LatencyPath(filepath.Join(t.TempDir(), "rig.yaml"))
	if l, err := LoadLatency(t.Context(), path); l != nil || err != nil {
		t.Fatalf("no file: %v, %v", l, err)
	}
	want := &wiring.Latency{Mean: 18512 * time.Nanosecond, Standard: 9100 * time.Nanosecond, Drive: "KEY_AWAY", Line: "REF", Pulses: 20, Date: "2026-03-31"}
	if err := SaveLatency(path, want); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		got, err := LoadLatency(t.Context(), path)
		if err != nil || *got != *want {
			t.Errorf("read back %+v, %v; want %+v", got, err, want)
		}
		want.Output, want.Samples, want.SamplesStandard = "OUT3", -82500*time.Nanosecond, 15250*time.Nanosecond
		if err := SaveLatency(path, want); err != nil {
			t.Fatal(err)
		}
	}
}

// What a loop-back found of a filter is read back as it was written.
func TestLatency_Filter(t *testing.T) {
	path := LatencyPath(filepath.Join(t.TempDir(), "rig.yaml"))
	want := &wiring.Latency{Drive: "KEY_AWAY", Line: "REF", Pulses: 120, Date: "2026-03-31",
		Filter: &wiring.Filter{Filter: capture.Filter{From: -0.03125, Step: 0.03125, Standard: 0.0075, Shares: []uint16{0, 0, 12, 4000, 10000, 10000}},
			Output: "OUT3", Chip: "A", Rate: 860, Steps: 118}}
	if err := SaveLatency(path, want); err != nil {
		t.Fatal(err)
	}
	got, err := LoadLatency(t.Context(), path)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("read back %+v, %v; want %+v", got, err, want)
	}
	good := string(FormatLatency(want))
	for _, c := range []struct{ old, new, want string }{
		{"chip: A", "chop: A", "chip"},
		{"steps: 118", "steps: 1", "must be a whole number"},
		{"[0, 0, 12", "[0, 0, 5000", "no filter"},
		{"10000]", "9999]", "no filter"},
		{"10000]", "10001]", "must be a whole number from 0 to 10000"},
		{"  step: 3.125 %", "  step: 0 %", "no filter"},
		{"  from: -3.125 %", "  from: -200 %", "no filter"},
		{"rate: 860 /s", "rate: 860", "no unit"},
	} {
		_, err := ParseLatency("rig.latency.yaml", []byte(strings.Replace(good, c.old, c.new, 1)))
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "rig.latency.yaml:") {
			t.Errorf("%s: %v; want its place and %q", c.new, err, c.want)
		}
	}
}

func TestLatency_Refused(t *testing.T) {
	good := string(FormatLatency(&wiring.Latency{Drive: "D", Line: "L", Pulses: 2, Date: "2026-03-31", Output: "O"}))
	for _, c := range []struct{ old, new, want string }{
		{"mean: 0.000 us", "mean: 18", `"18" has no unit: write 18 s`},
		{"mean: 0.000 us", "mean: 2 s", "from 0 s to 100 ms"},
		{"pulses: 2", "pulses: 1", "pulses"},
		{"drive: D", "driver: D", "drive"},
		{"samples: 0.000 us", "samples: -2 ms", "from -1 ms to 1 ms"},
		{"samples_standard: 0.000 us", "samples_standard: -1 us", "from 0 s to 1 ms"},
		{"samples: 0.000 us\n", "", "samples"},
		{"output: O\n", "", "output"},
	} {
		_, err := ParseLatency("rig.latency.yaml", []byte(strings.Replace(good, c.old, c.new, 1)))
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "rig.latency.yaml:") {
			t.Errorf("%s: %v; want its place and %q", c.new, err, c.want)
		}
	}
}

func FuzzParseLatency(f *testing.F) {
	f.Add(FormatLatency(&wiring.Latency{Drive: "D", Line: "L", Pulses: 2, Date: "2026-03-31"}))
	f.Add([]byte("mean: 1 us\nstandard: -1 us"))
	f.Add(FormatLatency(&wiring.Latency{Drive: "D", Line: "L", Pulses: 2, Date: "2026-03-31", Output: "O", Samples: -1, SamplesStandard: 1}))
	f.Fuzz(func(t *testing.T, src []byte) {
		l, err := ParseLatency("f", src)
		if err == nil && (l.Mean < 0 || l.Standard < 0 || l.SamplesStandard < 0 || l.Pulses < 2) {
			t.Errorf("accepted %+v", l)
		}
	})
}
