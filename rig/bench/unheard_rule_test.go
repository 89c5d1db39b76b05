package bench

import (
	"testing"
	"time"

	"makebreak/rig/capture"
)

// registerBus is a bus on which each register reads as given, and the configuration as it was
// written last, with the OS bit given.
type registerBus struct {
	codeBus
	config  uint16
	idle    bool
	pointer byte
}

func (b *registerBus) Tx(_ uint16, w, r []byte) error {
	if len(w) > 0 {
		b.pointer = w[0]
	}
	if len(w) == 3 && b.pointer == 1 {
		b.config = (uint16(w[1])<<8 | uint16(w[2])) &^ (1 << 15)
	}
	if len(r) < 2 {
		return nil
	}
	v := b.code
	if b.pointer == 1 {
		if v = b.config; b.idle {
			v |= 1 << 15
		}
	}
	r[0], r[1] = byte(v>>8), byte(v)
	return nil
}

// A continuous chip whose edges stay away has made as many conversions as surely have ended
// by its own time; the latest one is read, those before it are missed. Near the end of a
// conversion nobody can tell, and it is waited for.
func TestChip_Reckon(t *testing.T) {
	const period = time.Millisecond
	for _, c := range []struct {
		passed       float64 // periods since the latest edge
		lost, missed uint64
		end          float64 // of the conversion read, periods
		wait         float64 // until when it waits, periods; 0: it reads
	}{
		{passed: 1.09, lost: 1, end: 1},
		{passed: 1.5, lost: 1, end: 1},
		{passed: 1.91, lost: 1, end: 1},
		{passed: 1.93, wait: 2.08},
		{passed: 2.05, wait: 2.08},
		{passed: 2.09, lost: 2, missed: 1, end: 2},
		{passed: 4.5, lost: 4, missed: 3, end: 4},
	} {
		bus := &registerBus{codeBus: codeBus{code: 16000}}
		k, b := chipOn(t, bus, chip{follow: true, ended: true, span: spans{n: known, mean: float64(period)},
			channels: []channel{{perPin: 1, jumps: jumps{known: true, last: 16000}}}})
		if err := k.dev.Follow(0); err != nil {
			t.Fatal(err)
		}
		edge := b.lines.Now().Add(-time.Duration(c.passed * float64(period)))
		k.end = edge
		if err := k.unheard(b, b.lines.Now()); err != nil {
			t.Fatal(err)
		}
		if k.counts != (capture.Counts{LostReadyEdges: c.lost, MissedConversions: c.missed}) {
			t.Errorf("%g periods after the edge: %+v, want %d lost, %d missed", c.passed, k.counts, c.lost, c.missed)
		}
		at, _, read := b.c.Traces[0].Last()
		if read != (c.wait == 0) || read && at != edge.Add(time.Duration(c.end*float64(period))) {
			t.Errorf("%g periods after the edge: a sample of %v after it (%v), want %g periods", c.passed, at.Sub(edge), read, c.end)
		}
		if wait := edge.Add(time.Duration(c.wait*float64(period)) + 1); c.wait > 0 && k.wake != wait {
			t.Errorf("%g periods after the edge: it waits until %v after it, want %v", c.passed, k.wake.Sub(edge), wait.Sub(edge))
		}
	}
}

// A single conversion that should be over and is not is asked for again soon, and its chip
// fails once it has taken far too long.
func TestChip_StillRuns(t *testing.T) {
	const us = time.Microsecond
	for _, c := range []struct {
		passed time.Duration
		fails  bool
		end    time.Duration // after it was last seen running, where it is done 50 µs later
	}{
		{passed: 1090 * us, end: (1125 - 1090) * us / 2}, // by the data sheet it cannot last longer
		{passed: 21 * time.Millisecond, end: 25 * us},    // but it has
		{passed: 23 * time.Millisecond, fails: true},
	} {
		bus := &registerBus{}
		k, b := chipOn(t, bus, chip{span: spans{n: known, mean: 1e6}, pollGap: 50 * us, channels: []channel{{perPin: 1}}})
		if err := k.dev.Start(0); err != nil {
			t.Fatal(err)
		}
		now := b.lines.Now()
		k.started = now.Add(-c.passed)
		err := k.unheard(b, now)
		if (err != nil) != c.fails || !c.fails && (k.silence.no != now || k.wake != now.Add(50*us)) {
			t.Errorf("%v after its start: %v, last seen running %v ago, asked again in %v", c.passed, err, now.Sub(k.silence.no), k.wake.Sub(now))
		}
		bus.idle = true
		if !c.fails {
			b.lines.(*stillLines).now = now.Add(50 * time.Microsecond)
			if err := k.unheard(b, b.lines.Now()); err != nil {
				t.Fatal(err)
			}
			if at, _, ok := b.c.Traces[0].Last(); !ok || at != now.Add(c.end) || k.counts.LostReadyEdges != 1 {
				t.Errorf("%v after its start: a sample %v after it was last seen running (%v), %+v", c.passed, at.Sub(now), ok, k.counts)
			}
		}
	}
}

// After a pause that no conversion can be reckoned over, a followed chip begins with its next
// edge; after a short one its next conversion is due as before.
func TestChip_PassOverReckons(t *testing.T) {
	const period = time.Millisecond
	for pause, reckons := range map[time.Duration]bool{period / 2: true, 2 * period: true, 3 * period: false, time.Hour: false} {
		k, _ := chipOn(t, &codeBus{}, chip{follow: true, ended: true, end: 0, span: spans{n: known, mean: float64(period)}})
		now := instant(pause)
		k.passOver(now)
		wake := now.Add(2*k.longest + readyTimeout)
		if reckons {
			wake = instant(period + k.within())
		}
		if k.ended != reckons || k.wake != wake {
			t.Errorf("after %v: it reckons %v and looks after %v, want %v, %v", pause, k.ended, k.wake, reckons, wake)
		}
	}
}

// What is not known in one recording is not held against the next.
func TestBench_UnsureOfOneRecording(t *testing.T) {
	k, b := chipOn(t, &codeBus{}, chip{span: spans{n: known, mean: 1e6}, silence: silence{unsure: 40e3}, channels: []channel{{perPin: 1}}})
	first, second := b.c, &capture.Capture{Traces: []*capture.Trace{capture.NewTrace("OUT1", capture.Converter{})}}
	k.wake = never
	for _, c := range []struct {
		to   *capture.Capture
		want time.Duration
	}{{first, 41231}, {second, EdgeLatency}} {
		if err := b.run(t.Context(), c.to, b.lines.Now(), nil); err != nil {
			t.Fatal(err)
		}
		if got := c.to.Traces[0].Converter.Stamp; got != c.want {
			t.Errorf("samples known to %v, want %v", got, c.want)
		}
	}
}
