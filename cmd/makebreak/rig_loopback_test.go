package main

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/commission"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
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
// filter says, and returns what would be stored.
func loopedBack(t *testing.T, filter time.Duration, seed uint64) (wiring.Latency, commission.Step) {
	t.Helper()
	rig := loopedRig(t)
	world, err := sim.NewWorld(rig, sim.Opts{Seed: seed, Filter: filter, Unit: sim.UnitParams{Edge: time.Nanosecond}})
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
	steps, err := l.Run(context.Background(), b, switchingDelay, path)
	if err != nil || len(steps) != 3 || steps[0].Outcome != commission.OK || !strings.Contains(steps[0].Detail, fmt.Sprintf("of %d)", commission.LoopPulses)) || steps[2].Outcome != commission.OK {
		t.Fatalf("%+v, %v", steps, err)
	}
	latency, err := rigfile.LoadLatency(path)
	if err != nil {
		t.Fatal(err)
	}
	return *latency, steps[1]
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
// corrected.
func TestLoopBack_SamplesLate(t *testing.T) {
	const filter = 150 * time.Microsecond
	var latency wiring.Latency
	for seed := range uint64(20) {
		l, got := loopedBack(t, filter, seed)
		if off := (l.Samples - filter).Abs(); l.Output != "COIL" || off > 2*l.SamplesStandard || got.Outcome != commission.OK {
			t.Errorf("seed %d: %v stored, ± %v for samples that come %v late: %v", seed, l.Samples, l.SamplesStandard, filter, got)
		}
		if latency = l; seed < 10 {
			if none, got := loopedBack(t, 0, seed); none.Output != "" {
				t.Errorf("seed %d: %v ± %v stored for samples that come with the edges: %v", seed, none.Samples, none.SamplesStandard, got)
			}
		}
	}
	if l, got := loopedBack(t, 400*time.Microsecond, 1); l.Output != "" || got.Outcome != commission.Wrong {
		t.Errorf("%v stored for samples that come too late to be of one clock: %v", l.Samples, got)
	}
	held := func(latency *wiring.Latency) (n, all int) {
		for seed := range uint64(100) {
			seq, err := sequences.Parse("edges.yaml", []byte(edgesOnly))
			if err != nil {
				t.Fatal(err)
			}
			rig := loopedRig(t)
			rig.Latency = latency
			coverOn(t, rig, seq, sim.Opts{Seed: 100 + seed, Filter: filter}, func(q analyze.Quantity, value, u, truth float64) {
				if q == analyze.SwitchingDelay {
					if all++; math.Abs(value-truth) <= u {
						n++
					}
				}
			})
		}
		return n, all
	}
	with, all := held(&latency)
	without, _ := held(nil)
	t.Logf("of %d delays %d hold the truth with the correction, %d without", all, with, without)
	if all != 200 || with < 186 || without > 100 {
		t.Errorf("of %d delays %d hold the truth with the correction, %d without", all, with, without)
	}
	rig := loopedRig(t)
	rig.Latency = &latency
	if late, _ := rig.SamplesLate("OTHER"); late != 0 {
		t.Errorf("an output behind other resistors is corrected by %v", late)
	}
}
