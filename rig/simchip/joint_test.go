package simchip_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/simchip"
)

// The real driver on the simulated chip.

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// step is one code at ±4.096 V.
const step = 125e-6

// staircase returns an input that is i steps in the i-th conversion of a chain
// that began at start, counted modulo turns. The wanted mean is exact because the
// whole conversion lies on one stair.
func staircase(start *capture.Instant, period float64, turns int) simchip.Input {
	return func(from, to capture.Instant) float64 {
		middle := float64((from+to)/2 - *start)
		return float64(int(middle/period)%turns) * step
	}
}

func TestFollow_tenMinutesByReadyPin(t *testing.T) {
	const (
		osc   = 0.031
		turns = 20_000
	)
	var start capture.Instant
	clock, bus, chip, dev := bench(t, 400_000, simchip.Opts{Oscillator: osc}, wired,
		staircase(&start, 1e9/860*(1+osc), turns))
	must(t, dev.Setup())
	must(t, dev.Follow(0))
	start = clock.at.Add(simchip.PowerUp)
	end := clock.at.Add(10 * time.Minute)
	reads := 0
	for {
		at, ok := chip.NextReady()
		if !ok {
			t.Fatal("the ready pin has stopped")
		}
		if at > end {
			break
		}
		// The reader comes up to 900 µs late, and still in time.
		clock.AdvanceTo(at.Add(time.Duration(reads%10) * 90 * time.Microsecond))
		chip.Settle(clock.at)
		code, err := dev.Read()
		must(t, err)
		if want := int16(reads % turns); code != want {
			t.Fatalf("reading %d is %d, want %d: a conversion was missed or read twice", reads, code, want)
		}
		reads++
	}
	// 600 s at 860/s less 3.1 %, and the power-up.
	if want := int(math.Floor((600 - 25e-6) * 860 / (1 + osc))); reads != want || chip.Ready() != uint64(want) {
		t.Errorf("%d readings of %d conversions, want %d", reads, chip.Ready(), want)
	}
	// Two bytes a sample on the wire but for the first: that one names the register.
	if want := uint64(reads + 4); bus.Transfers != want || bus.Bytes != uint64(3*reads+2+4*4) {
		t.Errorf("%d transfers of %d bytes, want %d of %d", bus.Transfers, bus.Bytes, want, 3*reads+2+4*4)
	}
	if dev.Counts() != 0 {
		t.Errorf("%d bus errors", dev.Counts())
	}
}

func TestSweep_polledAtAnyOscillator(t *testing.T) {
	volts := []float64{2.449, 0.0125, 3.3, -0.001}
	for _, osc := range []float64{-0.1, 0, 0.1} {
		for _, hz := range []int{100_000, 400_000, 1_000_000} {
			clock, _, chip, dev := bench(t, hz, simchip.Opts{Oscillator: osc, SupplyVolts: 5}, polled,
				steady(volts[0]), steady(volts[1]), steady(volts[2]), steady(volts[3]))
			must(t, dev.Setup())
			shortest, _, longest := dev.Period()
			for i := range 400 {
				must(t, dev.Start(i&3))
				start := clock.at
				for busy := true; busy; {
					var err error
					busy, err = dev.Busy()
					must(t, err)
				}
				// The poll that found it finished began at most two transfers late.
				late := 60 * time.Second / time.Duration(hz)
				if took := clock.at.Sub(start); took < shortest+simchip.PowerUp || took > longest+simchip.PowerUp+late {
					t.Fatalf("oscillator %+g, %d Hz: conversion %d took %v", osc, hz, i, took)
				}
				code, err := dev.Read()
				must(t, err)
				if got := dev.Volts(code); math.Abs(got-volts[i&3]) > step/2 {
					t.Fatalf("oscillator %+g, %d Hz: conversion %d gives %g V, want %g V", osc, hz, i, got, volts[i&3])
				}
			}
			if chip.Ready() != 400 {
				t.Errorf("oscillator %+g, %d Hz: %d conversions for 400 readings", osc, hz, chip.Ready())
			}
		}
	}
}

// The conversions of a chip at the edge of its tolerance last what Period says:
// SBAS444, data rate variation ±10 %, taken of the rate.
func TestPeriod_boundsTheOscillator(t *testing.T) {
	for _, model := range []ads1x15.Model{ads1x15.ADS1115, ads1x15.ADS1015} {
		for _, rate := range model.Rates() {
			opts := wired
			opts.Model, opts.Rate = model, rate
			for _, rateError := range []float64{-0.1, 0, 0.1} {
				_, _, chip, dev := bench(t, 400_000, simchip.Opts{Oscillator: 1/(1+rateError) - 1}, opts)
				must(t, dev.Setup())
				must(t, dev.Follow(0))
				first, _ := chip.NextReady()
				chip.Settle(first)
				second, _ := chip.NextReady()
				shortest, nominal, longest := dev.Period()
				want := map[float64]time.Duration{-0.1: longest, 0: nominal, 0.1: shortest}[rateError]
				if got := second.Sub(first); (got - want).Abs() > 2 {
					t.Errorf("%s %d/s %+g: period %v, want %v", model, rate, rateError, got, want)
				}
			}
		}
	}
}

// No sample and hold: a step inside a conversion gives the mixed value (TI support
// thread e2e.ti.com 248021).
func TestRead_stepInsideAConversion(t *testing.T) {
	var stepAt capture.Instant
	in := func(from, to capture.Instant) float64 {
		after := min(max(float64(to-stepAt)/float64(to-from), 0), 1)
		return 0.1 + 2*after
	}
	clock, _, chip, dev := bench(t, 400_000, simchip.Opts{}, wired, in)
	must(t, dev.Setup())
	for _, c := range []struct{ share, want float64 }{{0, 2.1}, {0.25, 1.6}, {0.5, 1.1}, {1, 0.1}} {
		must(t, dev.Start(0))
		end, _ := chip.NextReady()
		stepAt = end - capture.Instant(math.Round((1-c.share)*1e9/860))
		clock.AdvanceTo(end)
		code, err := dev.Read()
		must(t, err)
		if got := dev.Volts(code); math.Abs(got-c.want) > step {
			t.Errorf("a step after %g of the conversion gives %g V, want %g V", c.share, got, c.want)
		}
	}
}

func TestVerify_noticesAReset(t *testing.T) {
	for _, opts := range []ads1x15.Opts{polled, wired} {
		clock, _, chip, dev := bench(t, 400_000, simchip.Opts{}, opts, steady(1))
		must(t, dev.Setup())
		must(t, dev.Follow(0))
		must(t, dev.Verify())
		chip.ResetAt(clock.at.Add(20 * time.Millisecond))
		clock.AdvanceTo(clock.at.Add(time.Second))
		chip.Settle(clock.at)
		if at, ok := chip.NextReady(); ok {
			t.Errorf("a chip that was reset will be ready at %v", at)
		}
		if code, err := dev.Read(); code != 0 || err != nil {
			t.Errorf("the conversion register reads %d after the reset, error %v; want 0 and none", code, err)
		}
		if err := dev.Verify(); !errors.Is(err, ads1x15.ErrReset) {
			t.Fatalf("error %v, want ErrReset", err)
		}
		must(t, dev.Setup())
		must(t, dev.Follow(0))
		must(t, dev.Verify())
		clock.AdvanceTo(clock.at.Add(2 * time.Millisecond))
		if code, err := dev.Read(); code != 8000 || err != nil {
			t.Errorf("set up again, %d is read, error %v; want 8000", code, err)
		}
	}
}

// A start hides the reset of the configuration, not that of the thresholds.
func TestVerify_noticesLostThresholdsAfterAStart(t *testing.T) {
	clock, bus, _, dev := bench(t, 400_000, simchip.Opts{}, wired, steady(1))
	must(t, dev.Setup())
	must(t, bus.Tx(0, []byte{6}, nil))
	must(t, dev.Start(0))
	clock.AdvanceTo(clock.at.Add(2 * time.Millisecond))
	if err := dev.Verify(); !errors.Is(err, ads1x15.ErrReset) || !strings.Contains(err.Error(), "threshold") {
		t.Errorf("error %v, want ErrReset and the threshold named", err)
	}
}

func TestBusy_noticesAReset(t *testing.T) {
	clock, _, chip, dev := bench(t, 400_000, simchip.Opts{}, polled, steady(1))
	must(t, dev.Setup())
	must(t, dev.Start(0))
	chip.ResetAt(clock.at.Add(100 * time.Microsecond))
	clock.AdvanceTo(clock.at.Add(200 * time.Microsecond))
	// The chip has forgotten the register addressed as well: what is read is the
	// conversion register, and differs from what was written too.
	if _, err := dev.Busy(); !errors.Is(err, ads1x15.ErrReset) {
		t.Errorf("error %v, want ErrReset", err)
	}
}

func TestIdentify_changesNothing(t *testing.T) {
	clock, _, _, dev := bench(t, 400_000, simchip.Opts{}, polled, steady(1))
	id, err := dev.Identify()
	must(t, err)
	if !id.AtReset() || id.Conversion != 0 {
		t.Errorf("a chip just powered up holds %v", id)
	}
	must(t, dev.Setup())
	must(t, dev.Follow(0))
	clock.AdvanceTo(clock.at.Add(time.Second))
	for range 2 {
		id, err := dev.Identify()
		must(t, err)
		want := ads1x15.Identity{Conversion: 8000, Config: 0x42E3, Low: ads1x15.ResetLow, High: ads1x15.ResetHigh}
		if id != want || id.AtReset() {
			t.Errorf("a chip at work holds %v, want %v", id, want)
		}
	}
	must(t, dev.Verify())
}

func TestRetry_everySeventhTransferFails(t *testing.T) {
	var start capture.Instant
	clock, bus, chip, dev := bench(t, 400_000, simchip.Opts{}, wired, staircase(&start, 1e9/860.0, 20_000))
	must(t, dev.Setup())
	must(t, dev.Follow(0))
	start = clock.at.Add(simchip.PowerUp)
	before := bus.Transfers
	bus.NAKEvery(7)
	for i := range 7000 {
		at, _ := chip.NextReady()
		clock.AdvanceTo(at)
		chip.Settle(at)
		code, err := dev.Read()
		must(t, err)
		if code != int16(i) {
			t.Fatalf("reading %d is %d", i, code)
		}
	}
	if failed := (bus.Transfers - before) / 7; dev.Counts() != failed || failed < 1000 {
		t.Errorf("%d bus errors counted, %d planted", dev.Counts(), failed)
	}
}

func TestRetry_limits(t *testing.T) {
	_, bus, chip, dev := bench(t, 400_000, simchip.Opts{}, polled, steady(1))
	bus.NAKNext(3)
	must(t, dev.Setup())
	bus.NAKNext(4)
	err := dev.Start(1)
	if !errors.Is(err, simchip.ErrNAK) || !strings.Contains(err.Error(), "ADS1115 at 0x48") || !strings.Contains(err.Error(), "channel 1") {
		t.Errorf("error %v, want no acknowledge, the chip and the channel", err)
	}
	if dev.Counts() != 7 {
		t.Errorf("%d bus errors, want 7", dev.Counts())
	}
	must(t, dev.Start(1))
	must(t, dev.Verify())
	if chip.Ready() != 0 {
		t.Errorf("%d conversions before any could end", chip.Ready())
	}
}

// A start that reached the chip though its transfer failed is written again, which
// starts nothing more.
func TestStart_cutTransferStartsOneConversion(t *testing.T) {
	clock, bus, chip, dev := bench(t, 400_000, simchip.Opts{}, polled, steady(1), steady(2))
	must(t, dev.Setup())
	for i := range 10 {
		bus.CutNext(2)
		must(t, dev.Start(i&1))
		clock.AdvanceTo(clock.at.Add(2 * time.Millisecond))
		if busy, err := dev.Busy(); busy || err != nil {
			t.Fatalf("busy %v, error %v", busy, err)
		}
		code, err := dev.Read()
		must(t, err)
		if want := int16(8000 * (1 + i&1)); code != want {
			t.Errorf("code %d, want %d", code, want)
		}
	}
	if chip.Ready() != 10 || dev.Counts() != 20 {
		t.Errorf("%d conversions and %d bus errors, want 10 and 20", chip.Ready(), dev.Counts())
	}
}

func TestStart_rightAfterFollowIsIgnored(t *testing.T) {
	clock, _, chip, dev := bench(t, 400_000, simchip.Opts{}, polled, steady(1), steady(2))
	must(t, dev.Setup())
	must(t, dev.Follow(0))
	must(t, dev.Start(1))
	clock.AdvanceTo(clock.at.Add(5 * time.Millisecond))
	if code, err := dev.Read(); code != 8000 || err != nil || chip.Ready() != 1 {
		t.Errorf("code %d after %d conversions, error %v; want the one running, of the old channel", code, chip.Ready(), err)
	}
	// The way that the driver's documentation names.
	must(t, dev.Follow(0))
	must(t, dev.Halt())
	_, _, longest := dev.Period()
	clock.AdvanceTo(clock.at.Add(longest + simchip.PowerUp))
	must(t, dev.Start(1))
	clock.AdvanceTo(clock.at.Add(longest + simchip.PowerUp))
	if code, err := dev.Read(); code != 16000 || err != nil {
		t.Errorf("code %d, error %v; want 16000", code, err)
	}
}

func TestFollow_otherChannel(t *testing.T) {
	clock, _, chip, dev := bench(t, 400_000, simchip.Opts{}, wired, steady(1), steady(2))
	must(t, dev.Setup())
	must(t, dev.Follow(0))
	for i, want := range []int16{8000, 8000, 16000, 16000} {
		if i == 1 {
			must(t, dev.Follow(1))
		}
		at, ok := chip.NextReady()
		if !ok {
			t.Fatal("the ready pin has stopped")
		}
		clock.AdvanceTo(at)
		if code, err := dev.Read(); code != want || err != nil {
			t.Errorf("conversion %d gives %d, error %v; want %d", i, code, err, want)
		}
	}
}

func TestRead_chipLost(t *testing.T) {
	clock, bus, chip, dev := bench(t, 400_000, simchip.Opts{}, polled, steady(1))
	must(t, dev.Setup())
	must(t, dev.Follow(0))
	chip.LoseAt(clock.at.Add(time.Second))
	clock.AdvanceTo(clock.at.Add(900 * time.Millisecond))
	if code, err := dev.Read(); code != 8000 || err != nil {
		t.Errorf("code %d, error %v", code, err)
	}
	clock.AdvanceTo(clock.at.Add(200 * time.Millisecond))
	for _, what := range []func() error{
		func() error { _, err := dev.Read(); return err },
		func() error { _, err := dev.Busy(); return err },
		func() error { _, err := dev.Identify(); return err },
		func() error { return dev.Follow(0) },
		dev.Verify, dev.Setup, dev.Halt,
	} {
		if err := what(); !errors.Is(err, simchip.ErrNAK) || errors.Is(err, ads1x15.ErrReset) {
			t.Errorf("error %v, want no acknowledge", err)
		}
	}
	bus.Stick(clock.at, clock.at.Add(time.Minute))
	if _, err := dev.Read(); !errors.Is(err, simchip.ErrTimeout) {
		t.Errorf("error %v, want a time-out", err)
	}
}

// Four chips on one bus, one converting while the others are read: nothing of one
// shows in another.
func TestSweep_fourChipsOverlapped(t *testing.T) {
	clock := &stopwatch{}
	bus := simchip.NewBus(clock, 400_000)
	var chips [4]*simchip.Chip
	var devs [4]*ads1x15.Dev
	for i := range devs {
		var in [4]simchip.Input
		for ch := range in {
			in[ch] = steady(float64(1+4*i+ch) * 0.1)
		}
		chips[i] = simchip.NewChip(in, simchip.Opts{Model: ads1x15.ADS1115, Oscillator: 0.02 * float64(i)})
		addr := ads1x15.FirstAddress + uint16(i)
		must(t, bus.Attach(addr, chips[i]))
		dev, err := ads1x15.New(bus, addr, &wired)
		must(t, err)
		must(t, dev.Setup())
		must(t, dev.Start(0))
		devs[i] = dev
	}
	for n := range 400 {
		i := n & 3
		at, ok := chips[i].NextReady()
		if !ok && chips[i].Ready() != uint64(n/4+1) {
			t.Fatalf("chip %d stands still after %d conversions", i, chips[i].Ready())
		}
		clock.AdvanceTo(at)
		code, err := devs[i].Read()
		must(t, err)
		if want := int16(800 * (1 + 4*i + n/4&3)); code != want {
			t.Fatalf("chip %d channel %d: code %d, want %d", i, n/4&3, code, want)
		}
		must(t, devs[i].Start((n/4+1)&3))
	}
	for i, c := range chips {
		if c.Ready() != 100 {
			t.Errorf("chip %d: %d conversions, want 100", i, c.Ready())
		}
	}
}

func TestHotPath_doesNotAllocate(t *testing.T) {
	clock, _, chip, dev := bench(t, 400_000, simchip.Opts{NoiseVolts: 1e-4}, wired, steady(1))
	must(t, dev.Setup())
	n := testing.AllocsPerRun(1000, func() {
		_ = dev.Start(0)
		at, _ := chip.NextReady()
		clock.AdvanceTo(at)
		chip.Settle(at)
		_, _ = dev.Busy()
		_, _ = dev.Read()
	})
	if n != 0 {
		t.Errorf("%g allocations a sample", n)
	}
}
