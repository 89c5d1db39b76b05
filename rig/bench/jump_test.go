package bench_test

import (
	"context"
	"math"
	"testing"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/simchip"
)

// onWire puts two chips on a bus with one signal on all their inputs, and opens a bench
// that follows an output on each.
func onWire(t *testing.T, model ads1x15.Model, rate, busHz int, in simchip.Input) (*wire, *bench.Bench) {
	t.Helper()
	w := &wire{now: wireStart}
	w.bus = simchip.NewBus(w, busHz)
	rig := samplings[0].rig()
	rig.BusHz = busHz
	for i := range rig.Chips {
		rig.Chips[i].Model, rig.Chips[i].Rate = model, rate
		c := simchip.NewChip([4]simchip.Input{in, in, in, in}, simchip.Opts{Model: model})
		w.chips = append(w.chips, c)
		if err := w.bus.Attach(rig.Chips[i].Address, c); err != nil {
			t.Fatal(err)
		}
	}
	b, err := bench.Open(rig, w.bus, w, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	return w, b
}

// An output that ripples is not read twice all the time, for which a slow bus has no
// time: on 100 kHz two chips that are followed take half of it with one reading each.
func TestJump_RippleCostsNothing(t *testing.T) {
	const hz, volts = 100, 0.1 // at the pin, amplitude
	whole := func(at capture.Instant) float64 { return -math.Cos(2*math.Pi*hz*at.Seconds()) / (2 * math.Pi * hz) }
	w, b := onWire(t, ads1x15.ADS1115, 860, 100_000, func(from, to capture.Instant) float64 {
		return 2 + volts*(whole(to)-whole(from))/to.Sub(from).Seconds()
	})
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Record(context.Background(), c, w.now.Add(time.Second)); err != nil {
		t.Fatal(err)
	}
	bytes, samples, missed := w.bus.Bytes, c.Traces[0].Len()+c.Traces[1].Len(), b.Counts().MissedConversions
	if err := b.Record(context.Background(), c, w.now.Add(10*time.Second)); err != nil {
		t.Fatal(err)
	}
	samples = c.Traces[0].Len() + c.Traces[1].Len() - samples
	perSample := float64(w.bus.Bytes-bytes) / float64(samples)
	if perSample > 3.001 { // address and two bytes
		t.Errorf("%.3f bytes a sample; one that is read once takes 3", perSample)
	}
	if n := b.Counts().MissedConversions - missed; n != 0 || samples < 2*8599 {
		t.Errorf("%d samples with %d missed; two chips make 17200 conversions in 10 s", samples, n)
	}
	if missed != 0 {
		t.Errorf("%d missed in the first second, until the ripple is known", missed)
	}
}

// How far a wrong reading can be put right depends on how often the bus can carry a
// conversion before the next one ends: three times, twice, or once.
func TestJump_TimeForReadings(t *testing.T) {
	for _, c := range []struct {
		name                  string
		model                 ads1x15.Model
		rate, hz              int
		wrong, missed, errors int
	}{
		{"three readings", ads1x15.ADS1115, 860, 400_000, 0, 0, 1},
		{"two readings", ads1x15.ADS1015, 3300, 400_000, 0, 1, 1},
		{"one reading", ads1x15.ADS1015, 3300, 215_000, 1, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			const volts = 0.25
			w, b := onWire(t, c.model, c.rate, c.hz, func(_, _ capture.Instant) float64 { return volts })
			w.at(wireFault, func() { w.chips[0].FlipNext(1 << 14) })
			got, err := b.NewCapture()
			if err != nil {
				t.Fatal(err)
			}
			if err := b.Record(context.Background(), got, wireFault.Add(-time.Millisecond)); err != nil {
				t.Fatal(err)
			}
			before := b.Counts()
			if err := b.Record(context.Background(), got, wireEnd); err != nil {
				t.Fatal(err)
			}
			wrong := 0
			for _, tr := range got.Traces {
				for _, vs := range tr.Blocks(0, math.MaxInt64) {
					for _, v := range vs {
						if math.Abs(float64(v)-volts) > 2e-3 {
							wrong++
						}
					}
				}
			}
			n := b.Counts().Sub(before)
			if wrong != c.wrong || n.MissedConversions != uint64(c.missed) || n.BusErrors != uint64(c.errors) {
				t.Errorf("%d wrong samples, %+v; want %d wrong, %d missed, %d bus errors", wrong, n, c.wrong, c.missed, c.errors)
			}
		})
	}
}
