package simchip_test

import (
	"testing"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/simchip"
)

// stopwatch is a clock on which nothing happens but time.
type stopwatch struct{ at capture.Instant }

func (s *stopwatch) Now() capture.Instant         { return s.at }
func (s *stopwatch) AdvanceTo(at capture.Instant) { s.at = max(s.at, at) }

// steady returns an input that stays at one voltage.
func steady(volts float64) simchip.Input {
	return func(_, _ capture.Instant) float64 { return volts }
}

// bench returns a clock, a bus with one chip and the chip's driver.
func bench(t testing.TB, hz int, chip simchip.Opts, opts ads1x15.Opts, inputs ...simchip.Input) (*stopwatch, *simchip.Bus, *simchip.Chip, *ads1x15.Dev) {
	t.Helper()
	clock := &stopwatch{at: capture.FromSeconds(1000)}
	bus := simchip.NewBus(clock, hz)
	var in [4]simchip.Input
	copy(in[:], inputs)
	chip.Model = opts.Model
	c := simchip.NewChip(in, chip)
	if err := bus.Attach(0x48, c); err != nil {
		t.Fatal(err)
	}
	d, err := ads1x15.New(bus, 0x48, &opts)
	if err != nil {
		t.Fatal(err)
	}
	return clock, bus, c, d
}

var polled = ads1x15.Opts{Model: ads1x15.ADS1115, Range: 4.096, Rate: 860, Retries: 3}

var wired = ads1x15.Opts{Model: ads1x15.ADS1115, Range: 4.096, Rate: 860, Retries: 3, Ready: true}

// BenchmarkTx_readAgain is the transfer that a follow consists of, while no new
// conversion has ended.
func BenchmarkTx_readAgain(b *testing.B) {
	_, bus, _, _ := bench(b, 400_000, simchip.Opts{}, polled, steady(2.449))
	r := make([]byte, 2)
	b.ReportAllocs()
	for b.Loop() {
		_ = bus.Tx(0x48, nil, r)
	}
}

// BenchmarkFollow is one conversion followed by the ready pin, with noise.
func BenchmarkFollow(b *testing.B) {
	for _, noise := range []float64{0, 150e-6} {
		name := "quiet"
		if noise > 0 {
			name = "noisy"
		}
		b.Run(name, func(b *testing.B) {
			clock, _, c, d := bench(b, 400_000, simchip.Opts{NoiseVolts: noise}, wired, steady(2.449))
			if d.Setup() != nil || d.Follow(0) != nil {
				b.Fatal("no start")
			}
			start := clock.at
			b.ReportAllocs()
			for b.Loop() {
				at, _ := c.NextReady()
				clock.AdvanceTo(at)
				c.Settle(at)
				_, _ = d.Read()
			}
			b.ReportMetric(clock.at.Sub(start).Seconds()/b.Elapsed().Seconds(), "sim-s/s")
		})
	}
}

// BenchmarkSweep is one single-shot conversion by the ready pin, channel after
// channel.
func BenchmarkSweep(b *testing.B) {
	clock, _, c, d := bench(b, 400_000, simchip.Opts{NoiseVolts: 150e-6}, wired, steady(1), steady(2), steady(3), steady(0))
	if d.Setup() != nil {
		b.Fatal("no start")
	}
	channel := 0
	b.ReportAllocs()
	for b.Loop() {
		_ = d.Start(channel & 3)
		at, _ := c.NextReady()
		clock.AdvanceTo(at)
		c.Settle(at)
		_, _ = d.Read()
		channel++
	}
}

// BenchmarkSkip is a read after a second in which nobody read.
func BenchmarkSkip(b *testing.B) {
	clock, _, _, d := bench(b, 400_000, simchip.Opts{}, wired, steady(1))
	if d.Setup() != nil || d.Follow(0) != nil {
		b.Fatal("no start")
	}
	b.ReportAllocs()
	for b.Loop() {
		clock.AdvanceTo(clock.at.Add(time.Second))
		_, _ = d.Read()
	}
}
