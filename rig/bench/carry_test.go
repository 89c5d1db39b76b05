package bench_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// suppliedRig is fullRig with the built-in bench's supply, where wanted.
func suppliedRig(t *testing.T, chips, hz int, model ads1x15.Model, supplied bool) *wiring.Rig {
	t.Helper()
	rig := fullRig(chips, hz, model, wiring.Follow, true)
	for _, r := range rigfile.Builtin() {
		if r.Supply != nil && r.Supply.Stage == nil && supplied {
			s := *r.Supply
			rig.Supply = &s
		}
	}
	if (rig.Supply != nil) != supplied {
		t.Fatal("no built-in bench has a supply that a converter sets")
	}
	return rig
}

// Whatever is followed beside a supply, or without, at any speed of the bus: what is not refused
// misses no conversion, though the oscillators are as fast as the data sheet allows (TI SBAS444,
// 10 %) and the supply is taken up a ramp. What is refused says at what speed it would do.
func TestOpen_BusCarries(t *testing.T) {
	refused := 0
	var table strings.Builder
	for _, model := range []ads1x15.Model{ads1x15.ADS1115, ads1x15.ADS1015} {
		for _, hz := range []int{50_000, 100_000, 200_000, 400_000} {
			for chips := range 4 {
				for _, supplied := range []bool{false, true} {
					name := fmt.Sprintf("%d of %s at %s, supply %t", chips+1, model, kiloHertz(hz), supplied)
					n, err := carried(t, suppliedRig(t, chips+1, hz, model, supplied))
					fmt.Fprintf(&table, "%s: %v\n", name, err)
					switch {
					case errors.Is(err, bench.ErrSetup):
						refused++
						if !strings.Contains(err.Error(), "the bus is too slow") || !strings.Contains(err.Error(), "follow fewer") {
							t.Errorf("%s: %v", name, err)
						}
					case err != nil:
						t.Errorf("%s: %v", name, err)
					case n != (capture.Counts{}):
						t.Errorf("%s: %+v, want nothing counted or a refusal", name, n)
					}
				}
			}
		}
	}
	t.Log("\n" + table.String())
	for _, c := range []struct {
		chips, hz int
		supplied  bool
		want      string
	}{
		{3, 100_000, false, ""},
		{2, 100_000, true, ""},
		{4, 400_000, true, ""},
		{4, 100_000, false, "follow 4 converters: reading each once takes 1.16 ms, and after 1.06 ms a reading may be overwritten; at 110 kHz it is fast enough"},
		{3, 100_000, true, "reading each once and looking at the supply takes 1.25 ms, and after 1.06 ms a reading may be overwritten; at 119 kHz"},
	} {
		_, err := carried(t, suppliedRig(t, c.chips, c.hz, ads1x15.ADS1115, c.supplied))
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%d at %d Hz, supply %t: %v; want %q", c.chips, c.hz, c.supplied, err, c.want)
		}
	}
	if refused == 0 {
		t.Error("nothing was refused")
	}
}

// carried follows a rig's converters for some seconds, on a ramp of the supply where it has one.
func carried(t *testing.T, rig *wiring.Rig) (capture.Counts, error) {
	t.Helper()
	w, set := worldOf(t, rig, sim.Opts{Seed: 11, Relays: []sim.Relay{}, Faults: []sim.Fault{{Name: "fast-oscillator", Value: 0.1}}})
	b, err := bench.Open(rig, w.Bus(), set, bench.Opts{})
	if err != nil {
		return capture.Counts{}, err
	}
	defer b.Close()
	c, err := b.NewCapture()
	if err != nil {
		return capture.Counts{}, err
	}
	if rig.Supply != nil {
		if _, err := b.MoveSupply(context.Background(), c, "ramp", bench.Move{From: 0, To: 6, Over: 3 * time.Second}); err != nil {
			return capture.Counts{}, err
		}
	}
	err = b.Record(context.Background(), c, b.Now().Add(4*time.Second))
	return b.Counts(), err
}

// What a bus was measured to carry decides, not what the rig file says of it: a board may run it
// slower than it was asked to, and its driver takes its time for each transfer.
func TestOpen_BusMeasured(t *testing.T) {
	const us = time.Microsecond
	for _, c := range []struct {
		chips, file int
		supplied    bool
		measured    bench.BusTiming
		want        string // empty: it carries them
	}{
		{4, 400_000, true, bench.BusTiming{Hz: 398_000, Overhead: 50 * us}, ""},
		{4, 100_000, false, bench.BusTiming{Hz: 398_000, Overhead: 60 * us}, ""},
		{3, 400_000, false, bench.BusTiming{Hz: 62_500}, "too slow at 62.5 kHz, as measured (the rig file says 400 kHz), with 0 s more for each transfer, to follow 3 converters: reading each once takes 1.39 ms"},
		{3, 100_000, false, bench.BusTiming{Hz: 100_000, Overhead: 60 * us}, ""},
		{3, 100_000, false, bench.BusTiming{Hz: 100_000, Overhead: 70 * us}, "with 70 µs more for each transfer, to follow 3 converters: reading each once takes 1.08 ms, and after 1.06 ms a reading may be overwritten; at 103 kHz it is fast enough"},
		{4, 400_000, true, bench.BusTiming{Hz: 250_000, Overhead: 120 * us}, "at 337 kHz it is fast enough"},
		{4, 400_000, false, bench.BusTiming{Overhead: 200 * us}, ""},
		{4, 400_000, false, bench.BusTiming{Overhead: 300 * us}, "too slow, with 300 µs measured for each transfer, to follow 4 converters"},
		{4, 400_000, false, bench.BusTiming{Hz: 400_000, Overhead: 300 * us}, "a reading may be overwritten; follow fewer at once"},
	} {
		rig := suppliedRig(t, c.chips, c.file, ads1x15.ADS1115, c.supplied)
		w, set := worldOf(t, rig, sim.Opts{Seed: 11, Relays: []sim.Relay{}})
		b, err := bench.Open(rig, w.Bus(), set, bench.Opts{Bus: &c.measured})
		if err == nil {
			b.Close()
		}
		if before := bench.Carries(rig, c.measured); fmt.Sprint(before) != fmt.Sprint(err) {
			t.Errorf("%d chips, %+v: asked before, it says %v", c.chips, c.measured, before)
		}
		if c.want == "" && err != nil || c.want != "" && (!errors.Is(err, bench.ErrSetup) || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%d chips, %+v: %v; want %q", c.chips, c.measured, err, c.want)
		}
	}
}
