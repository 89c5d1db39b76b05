package setup_test

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/gum"
	"makebreak/rig/bench"
	"makebreak/rig/commission"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
	"makebreak/testdata/few"
)

// looped is a rig whose drive is read back by a line and moves an output at once.
const looped = `name: looped
about: One coil, invented for this test.
bus: simulated
chips:
  A: {model: ADS1115, address: 0x48, range: 4.096 V, rate: 860 /s, supply: 3.3 V, sample: follow, ready: {chip: gpiochip0, line: 17}}
outputs:
  COIL: {chip: A, channel: 0, divider: {upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}}
  OTHER: {chip: A, channel: 1, divider: {upper: 56 kohm, lower: 10 kohm, tolerance: 1 %}}
references:
  REF: {chip: gpiochip0, line: 25}
drives:
  COIL_DRIVE: {chip: gpiochip0, line: 5, longest_on: 5 s, coil: true}
events:
  energize: {drive: COIL_DRIVE, set: on, reference: REF}
  release: {drive: COIL_DRIVE, set: off}
`

func loopedRig(t *testing.T) *wiring.Rig {
	t.Helper()
	rig, err := rigfile.Parse("looped.yaml", []byte(looped))
	if err != nil {
		t.Fatal(err)
	}
	return rig
}

// loopedBack measures the loop-back on a simulated bench whose samples come late by as much as
// filter says, behind converters with the weights, and returns what would be stored and the
// steps of the clock and of the filter.
func loopedBack(t *testing.T, opts sim.Opts) (latency wiring.Latency, clock, filter commission.Step) {
	t.Helper()
	rig := loopedRig(t)
	opts.Unit.Edge = time.Nanosecond
	world, err := sim.NewWorld(rig, opts)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := world.Lines(bench.Requests(rig))
	if err != nil {
		t.Fatal(err)
	}
	b, err := bench.Open(rig, world.Bus(), lines, bench.Opts{Outputs: []string{"COIL"}, Mode: wiring.Follow})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	l := &commission.LoopBack{Drive: "COIL_DRIVE", Line: "REF", Output: "COIL"}
	path := filepath.Join(t.TempDir(), "latency.yaml")
	steps, err := l.Run(context.Background(), rig, b, path)
	if err != nil || len(steps) < 3 || steps[0].Outcome != commission.OK || !strings.Contains(steps[0].Detail, fmt.Sprintf("of %d)", commission.StepPulses)) || steps[len(steps)-1].Outcome != commission.OK {
		t.Fatalf("%+v, %v", steps, err)
	}
	stored, err := rigfile.LoadLatency(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range steps {
		switch {
		case strings.HasPrefix(s.What, "clock of"):
			clock = s
		case strings.HasPrefix(s.What, "filter of"):
			filter = s
		}
	}
	return *stored, clock, filter
}

// edgesOnly switches the coil on and off.
const edgesOnly = `name: edges
steps:
  - {event: energize, hold: 300 ms}
  - {event: release, hold: 300 ms}
outputs: {COIL: {expect: {energize: high, release: low}}}
`

// TestLoopBack_SamplesLate: samples that a capacitor at the divider delays are found by the
// loop-back, which states how late they are well enough, and with the correction the delays
// hold the simulator's truth that they miss without it. Where nothing delays them, nothing is
// corrected. Without a loop-back the doubt about the converter's filter holds such a lateness.
func TestLoopBack_SamplesLate(t *testing.T) {
	const filter = 150 * time.Microsecond
	var latency, onTime wiring.Latency
	for seed := range uint64(20) {
		l, got, _ := loopedBack(t, sim.Opts{Seed: seed, Filter: filter})
		if off := (l.Samples - filter).Abs(); l.Output != "COIL" || off > 2*l.SamplesStandard || got.Outcome != commission.OK {
			t.Errorf("seed %d: %v stored, ± %v for samples that come %v late: %v", seed, l.Samples, l.SamplesStandard, filter, got)
		}
		if latency = l; seed < 10 {
			if onTime, got, _ = loopedBack(t, sim.Opts{Seed: seed}); onTime.Output != "" || onTime.Filter == nil {
				t.Errorf("seed %d: %v ± %v stored for samples that come with the edges: %v", seed, onTime.Samples, onTime.SamplesStandard, got)
			}
		}
	}
	if l, got, _ := loopedBack(t, sim.Opts{Seed: 1, Filter: 400 * time.Microsecond}); l.Output != "" || got.Outcome != commission.Wrong {
		t.Errorf("%v stored for samples that come too late to be of one clock: %v", l.Samples, got)
	}
	with, all, _ := delaysHeld(t, &latency, sim.Opts{Filter: filter})
	without, _, _ := delaysHeld(t, &onTime, sim.Opts{Filter: filter})
	none, _, _ := delaysHeld(t, nil, sim.Opts{Filter: filter})
	t.Logf("of %d delays %d hold the truth with the correction, %d without, %d where nothing was measured", all, with, without, none)
	if all != 200 || with < 186 || without > 100 || none < 186 {
		t.Errorf("of %d delays %d hold the truth with the correction, %d without, %d where nothing was measured", all, with, without, none)
	}
	rig := loopedRig(t)
	rig.Latency = &latency
	if late, _ := rig.SamplesLate("OTHER"); late != 0 {
		t.Errorf("an output behind other resistors is corrected by %v", late)
	}
}

// delaysHeld counts on 100 benches how many intervals of the switching delay hold the truth, and
// returns their mean U in seconds.
func delaysHeld(t *testing.T, latency *wiring.Latency, opts sim.Opts) (n, all int, meanU float64) {
	t.Helper()
	for seed := range uint64(100) {
		seq, err := sequences.Parse("edges.yaml", []byte(edgesOnly))
		if err != nil {
			t.Fatal(err)
		}
		rig := loopedRig(t)
		rig.Latency = latency
		opts.Seed = 100 + seed
		coverOn(t, rig, seq, opts, func(q analyze.Quantity, value, u, truth float64) {
			if q == analyze.SwitchingDelay {
				meanU += u
				if all++; math.Abs(value-truth) <= u {
					n++
				}
			}
		})
	}
	return n, all, meanU / float64(all)
}

// TestLoopBack_Filter: what a loop-back finds of a filter, of whatever shape, places steps on
// other benches with such a filter so that their intervals hold the truth, with less uncertainty
// than there is without it: of a plain mean less than half. A filter that is not settled within one
// conversion, or whose middle lies far from the conversion's, is refused.
func TestLoopBack_Filter(t *testing.T) {
	few.Skip(t)
	for _, c := range []struct {
		name    string
		weights sim.Weights
		family  bool // held without a loop-back
	}{
		{"plain mean", nil, true}, {"last 90 %", sim.Last(0.9), true}, {"sinc2", sim.Sinc(2), true}, {"sinc3", sim.Sinc(3), true},
		{"sinc4", sim.Sinc(4), false}, {"sinc6", sim.Sinc(6), false}, {"fading", sim.Fading(0.5), false}, {"last 80 %", sim.Last(0.8), false},
	} {
		l, clock, filter := loopedBack(t, sim.Opts{Seed: 3, Weights: c.weights})
		if l.Filter == nil || filter.Outcome != commission.OK {
			t.Errorf("%s: %v %v", c.name, clock, filter)
			continue
		}
		with, all, small := delaysHeld(t, &l, sim.Opts{Weights: c.weights})
		without, _, large := delaysHeld(t, nil, sim.Opts{Weights: c.weights})
		t.Logf("%s: %d of %d delays held with a loop-back, ± %.0f µs, %d without, ± %.0f µs: %s", c.name, with, all, 1e6*small, without, 1e6*large, filter.Detail)
		if all != 200 || with < 186 || c.family && without < 186 || small > large || c.weights == nil && small > large/2 {
			t.Errorf("%s: %d of %d delays held with a loop-back, ± %.0f µs, %d without, ± %.0f µs", c.name, with, all, 1e6*small, without, 1e6*large)
		}
	}
	for name, weights := range map[string]sim.Weights{"fading soon": sim.Fading(0.2), "last half": sim.Last(0.5)} {
		if l, clock, filter := loopedBack(t, sim.Opts{Seed: 3, Weights: weights}); l.Filter != nil || clock.Outcome != commission.Wrong || filter.Outcome == commission.OK {
			t.Errorf("%s: stored as %+v: %v %v", name, l.Filter, clock, filter)
		}
	}
}

// TestLoopBack_Followed: budgets of followed outputs have the measured filter, those of swept
// ones, whose single conversions the loop-back did not see, the doubt.
func TestLoopBack_Followed(t *testing.T) {
	l, _, _ := loopedBack(t, sim.Opts{Seed: 3})
	for mode, want := range map[wiring.Mode]gum.Source{wiring.Follow: analyze.FilterMeasured, wiring.Sweep: analyze.FilterUnknown} {
		seq, err := sequences.Parse("edges.yaml", []byte(edgesOnly))
		if err != nil {
			t.Fatal(err)
		}
		seq.Sample = mode
		found := map[gum.Source]int{}
		for seed := range uint64(10) {
			rig := loopedRig(t)
			rig.Latency = &l
			got, _ := measuredOn(t, rig, seq, sim.Opts{Seed: seed})
			for _, m := range got {
				for _, line := range m.Budget {
					found[line.Source]++
				}
			}
		}
		if found[want] == 0 || found[analyze.FilterMeasured]+found[analyze.FilterUnknown] != found[want] {
			t.Errorf("%s: %d budgets with a measured filter, %d with the doubt", mode, found[analyze.FilterMeasured], found[analyze.FilterUnknown])
		}
	}
}
