package bench_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/ads1x15"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
)

// countingBus counts what goes over the wire: an address byte for each direction, and
// the bytes.
type countingBus struct {
	i2c.Bus
	bytes int
}

func (c *countingBus) Tx(addr uint16, w, r []byte) error {
	if len(w) > 0 {
		c.bytes += 1 + len(w)
	}
	if len(r) > 0 {
		c.bytes += 1 + len(r)
	}
	return c.Bus.Tx(addr, w, r)
}

// fullRig is a rig with chips converters of four outputs each at their fastest.
func fullRig(chips, busHz int, model ads1x15.Model, mode wiring.Mode, wired bool) *wiring.Rig {
	rig := &wiring.Rig{Name: "limit", Simulated: true, BusHz: busHz}
	rate := 860
	if model == ads1x15.ADS1015 {
		rate = 3300
	}
	for i := range chips {
		name := string(rune('A' + i))
		c := wiring.Chip{Name: name, Model: model, Address: 0x48 + uint16(i), Range: 4.096, Rate: rate, Supply: 3.3, Mode: mode}
		if wired {
			c.Ready = &line.Line{Name: name + " ready", Chip: "gpiochip0", Number: i, ActiveLow: true, Pull: line.PullUp}
		}
		rig.Chips = append(rig.Chips, c)
		for n := range 4 {
			rig.Outputs = append(rig.Outputs, wiring.Output{Name: fmt.Sprintf("OUT%d", 4*i+n+1), Chip: name, Channel: n,
				Divider: wiring.Divider{Upper: 39e3, Lower: 10e3, Tolerance: 0.01}, Highest: 15, Nominal: 12})
		}
	}
	return rig
}

// acquisition is what came of recording for some time.
type acquisition struct {
	samples, bytes    int
	took              time.Duration
	counts            capture.Counts
	shortest, longest time.Duration // between two samples of one output
	periods           []float64     // conversion times of the chips, µs
}

// acquire records from a simulated bench for a time and looks at every sample.
func acquire(t testing.TB, rig *wiring.Rig, d time.Duration) acquisition {
	t.Helper()
	w, set := worldOf(t, rig, sim.Opts{Seed: 11, Relays: []sim.Relay{}})
	bus := &countingBus{Bus: w.Bus()}
	b, err := bench.Open(rig, bus, set, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	a := acquisition{shortest: math.MaxInt64}
	for _, chip := range w.Truth().Chips {
		a.periods = append(a.periods, 1e6/float64(rig.Chips[0].Rate)*(1+chip.Oscillator))
	}
	last := make([]int64, len(c.Traces))
	// The first samples find everything still standing.
	if err := b.Record(context.Background(), c, c.Start.Add(100*time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	before, began := bus.bytes, b.Now()
	for from, end := began, began.Add(d); from < end; {
		to := min(end, from.Add(time.Second))
		if err := b.Record(context.Background(), c, to); err != nil {
			t.Fatal(err)
		}
		for i, tr := range c.Traces {
			for times := range tr.Blocks(from, math.MaxInt64) {
				for _, at := range times {
					if capture.Instant(at) <= capture.Instant(last[i]) || capture.Instant(at) < began {
						continue
					}
					if last[i] != 0 {
						gap := time.Duration(at - last[i])
						a.shortest, a.longest = min(a.shortest, gap), max(a.longest, gap)
					}
					last[i] = at
					a.samples++
				}
			}
		}
		c.Discard(to.Add(-100 * time.Millisecond))
		from = to.Add(-100 * time.Millisecond)
		if to == end {
			break
		}
	}
	a.took, a.bytes, a.counts = b.Now().Sub(began), bus.bytes-before, b.Counts()
	return a
}

func (a *acquisition) rate() float64 { return float64(a.samples) / a.took.Seconds() }

// A chip that is followed at its full rate gives every conversion once, for ten
// minutes: consecutive samples stand one conversion apart, within what the kernel's
// stamps scatter, and their number is the time over the conversion time.
func TestLimit_Follow(t *testing.T) {
	var table strings.Builder
	table.WriteString("| bus | chips, each following one output | bus time | samples | samples/s | limit | share | missed | doubled | bytes a sample | least | bus in use |\n" + rule(12))
	for _, c := range []struct {
		chips, hz int
		lasts     time.Duration
	}{{1, 100_000, 10 * time.Minute}, {1, 400_000, 10 * time.Minute}, {4, 400_000, 2 * time.Minute}} {
		a := acquire(t, fullRig(c.chips, c.hz, ads1x15.ADS1115, wiring.Follow, true), c.lasts)
		if a.counts != (capture.Counts{}) {
			t.Errorf("%d chips at %d Hz: %+v, want nothing counted", c.chips, c.hz, a.counts)
		}
		// The stamps come late by 20 µs with a standard deviation of 10 µs, cut off at
		// three of them (package sim).
		const scatter = 100 * time.Microsecond
		if a.shortest < time.Duration(slices.Min(a.periods)*1e3)-scatter || a.longest > time.Duration(slices.Max(a.periods)*1e3)+scatter {
			t.Errorf("%d chips at %d Hz: samples %v to %v apart, the chips convert in %.1f µs", c.chips, c.hz, a.shortest, a.longest, a.periods)
		}
		limit := 0.0
		for _, us := range a.periods {
			limit += 1e6 / us
		}
		if want := a.took.Seconds() * limit; math.Abs(float64(a.samples)-want) > float64(c.chips) {
			t.Errorf("%d samples at %d Hz, the chips made %.1f conversions", a.samples, c.hz, want)
		}
		const least = 3 // address, two bytes: the register stays addressed
		perSample := float64(a.bytes) / float64(a.samples)
		if perSample > least*1.001 {
			t.Errorf("%d chips at %d Hz: %.3f bytes a sample, the least is %d", c.chips, c.hz, perSample, least)
		}
		// Each of these transfers has a start and a stop besides its bytes of 9 bits.
		use := float64(a.bytes) * (9 + 2.0/3) / float64(c.hz) / a.took.Seconds()
		fmt.Fprintf(&table, "| %s | %d | %.0f min | %d | %.2f | %.2f | %.1f %% | %d | %d | %.3f | %d | %.1f %% |\n", kiloHertz(c.hz), c.chips, c.lasts.Minutes(),
			a.samples, a.rate(), limit, 100*a.rate()/limit, a.counts.MissedConversions, a.counts.DoubledConversions, perSample, least, 100*use)
	}
	golden(t, "sampling-follow.md", table.String())
}

// rule is the line below a table's head.
func rule(columns int) string { return strings.Repeat("| --- ", columns) + "|\n" }

func kiloHertz(hz int) string { return fmt.Sprintf("%d kHz", hz/1000) }

// sweepLimit is the most samples a second that chips can give in single shots, by
// bits on the wire and by the data sheet (TI SBAS444): a conversion takes the write
// that starts it (address and three bytes, start and stop), 25 µs and one period; on
// the bus each sample takes that write and a read (address and pointer, address and
// two bytes, start, repeated start and stop). A chip whose ready pin is not wired must
// be asked for its OS bit, once at least: a read more on the bus, whose last 19 bits
// come after the bit has been taken, which is after the end of the conversion.
func sweepLimit(periods []float64, hz int, wired bool) (rate float64, by string) {
	perBit := 1e6 / float64(hz)
	start, read, ask, told := (4*9+2)*perBit, (5*9+3)*perBit, 0.0, 0.0
	if !wired {
		ask, told = read, 19*perBit
	}
	conversion := 0.0
	for _, us := range periods {
		conversion += 1e6 / (start + 25 + us + told)
	}
	bus := 1e6 / (start + read + ask)
	if bus < conversion {
		return bus, "bus"
	}
	return conversion, "conversion"
}

// A sweep over 16 outputs comes to at least 90 % of what the bus and the conversions
// allow, with as few bytes as can be.
func TestLimit_Sweep(t *testing.T) {
	var table strings.Builder
	table.WriteString("| model | bus | chips, four outputs each | ready line | samples/s | limit | set by | share | missed | doubled | bytes a sample | least |\n" + rule(12))
	for _, c := range []struct {
		model     ads1x15.Model
		chips, hz int
		wired     bool
	}{
		{ads1x15.ADS1115, 4, 400_000, true},
		{ads1x15.ADS1115, 4, 100_000, true},
		{ads1x15.ADS1015, 4, 400_000, true},
		{ads1x15.ADS1015, 4, 100_000, true},
		{ads1x15.ADS1115, 1, 400_000, true},
		{ads1x15.ADS1115, 4, 400_000, false},
		{ads1x15.ADS1115, 4, 100_000, false},
		{ads1x15.ADS1115, 1, 400_000, false},
	} {
		a := acquire(t, fullRig(c.chips, c.hz, c.model, wiring.Sweep, c.wired), 20*time.Second)
		limit, by := sweepLimit(a.periods, c.hz, c.wired)
		share, perSample := a.rate()/limit, float64(a.bytes)/float64(a.samples)
		ready, least := "wired", 9.0 // four to start, five to read: the register addressed changes each time
		if !c.wired {
			ready, least = "unwired", 14 // and five to ask
		}
		fmt.Fprintf(&table, "| %s | %s | %d | %s | %.1f | %.1f | %s | %.1f %% | %d | %d | %.2f | %.0f |\n", c.model, kiloHertz(c.hz), c.chips, ready,
			a.rate(), limit, by, 100*share, a.counts.MissedConversions, a.counts.DoubledConversions, perSample, least)
		if share < 0.9 {
			t.Errorf("%s, %d chips, %s, %s: %.1f samples a second, %.1f %% of what is possible", c.model, c.chips, kiloHertz(c.hz), ready, a.rate(), 100*share)
		}
		if a.counts != (capture.Counts{}) {
			t.Errorf("%s, %d chips, %s, %s: %+v, want nothing counted", c.model, c.chips, kiloHertz(c.hz), ready, a.counts)
		}
		if perSample > least*1.01 {
			t.Errorf("%s, %d chips, %s, %s: %.2f bytes a sample, the least is %.0f", c.model, c.chips, kiloHertz(c.hz), ready, perSample, least)
		}
	}
	golden(t, "sampling-sweep.md", table.String())
}

// The processor's time for a sample, the simulated bus and chips included, and the
// share of one processor that this is at the rate reached.
func BenchmarkLimit(b *testing.B) {
	for _, c := range []struct {
		name  string
		chips int
		mode  wiring.Mode
	}{{"follow", 1, wiring.Follow}, {"sweep16", 4, wiring.Sweep}} {
		b.Run(c.name, func(b *testing.B) {
			samples, lasted := 0, time.Duration(0)
			rig := fullRig(c.chips, 400_000, ads1x15.ADS1115, c.mode, true)
			b.ReportAllocs()
			for b.Loop() {
				a := acquire(b, rig, 10*time.Second)
				samples, lasted = samples+a.samples, lasted+a.took
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(samples), "ns/sample")
			b.ReportMetric(100*b.Elapsed().Seconds()/lasted.Seconds(), "%cpu")
		})
	}
}

// A bus that is slower than the rig file says costs a few samples a chip and not all:
// the bench finds out that it must read before it starts the next conversion.
func TestLimit_SlowerBusThanSaid(t *testing.T) {
	a := acquire(t, fullRig(1, 100_000, ads1x15.ADS1015, wiring.Sweep, true), time.Second)
	said := fullRig(1, 100_000, ads1x15.ADS1015, wiring.Sweep, true)
	w, set := worldOf(t, said, sim.Opts{Seed: 11, Relays: []sim.Relay{}})
	said.BusHz = 400_000 // the world keeps 100 kHz
	b, err := bench.Open(said, w.Bus(), set, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Record(context.Background(), c, c.Start.Add(time.Second)); err != nil {
		t.Fatal(err)
	}
	samples := 0
	for _, tr := range c.Traces {
		samples += tr.Len()
	}
	if n := b.Counts().MissedConversions; n != 3 || samples < a.samples*99/100 {
		t.Errorf("%d samples with %d missed; %d where the file is right", samples, n, a.samples)
	}
}

// What the converters did while nobody recorded, as while a run is being stored that
// begins, is neither missed nor recorded.
func TestNewCapture_PassesOver(t *testing.T) {
	for _, c := range []struct {
		name  string
		mode  wiring.Mode
		wired bool
	}{{"follow", wiring.Follow, true}, {"sweep", wiring.Sweep, true}, {"sweep, polled", wiring.Sweep, false}} {
		t.Run(c.name, func(t *testing.T) {
			rig := fullRig(2, 400_000, ads1x15.ADS1115, c.mode, c.wired)
			b, w := openOn(t, rig, sim.Opts{Seed: 11, Relays: []sim.Relay{}})
			idle(t, b, w.Bus(), 250*time.Millisecond)
			recording, err := b.NewCapture()
			if err != nil {
				t.Fatal(err)
			}
			if err := b.Record(context.Background(), recording, recording.Start.Add(100*time.Millisecond)); err != nil {
				t.Fatal(err)
			}
			if n := b.Counts(); n != (capture.Counts{}) {
				t.Errorf("counted %+v", n)
			}
			for _, tr := range recording.Traces {
				at, _, ok := tr.First()
				if least := 15; !ok || tr.Len() < least {
					t.Errorf("%s: %d samples in 100 ms, want %d at least", tr.Signal, tr.Len(), least)
				}
				if c.mode == wiring.Follow && at < recording.Start {
					t.Errorf("%s: a sample of %v before the start", tr.Signal, recording.Start.Sub(at))
				}
			}
		})
	}
}

// idle lets time pass on the bus without a look at the lines' edges.
func idle(t *testing.T, b *bench.Bench, bus i2c.Bus, d time.Duration) {
	t.Helper()
	for end := b.Now().Add(d); b.Now() < end; {
		if err := bus.Tx(0x48, nil, make([]byte, 2)); err != nil {
			t.Fatal(err)
		}
	}
}
