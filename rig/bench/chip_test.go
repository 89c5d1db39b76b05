package bench

import (
	"errors"
	"testing"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/line"
)

// stillLines is a line set whose clock stands still and which has the edges given.
type stillLines struct {
	line.Set
	now   instant
	edges []line.Edge
	err   error
}

func (s *stillLines) Now() instant { return s.now }

func (s *stillLines) Edges(buf []line.Edge) ([]line.Edge, error) {
	buf = append(buf, s.edges...)
	s.edges = nil
	return buf, s.err
}

// A conversion that the next one may have overtaken before it was read is left out and
// counted missed; one that was read in time is not. A continuous chip's next conversion
// ends a period after the one before, so what matters is the ready edge that says so; near
// its time the edge is looked for.
func TestChip_Overtaken(t *testing.T) {
	const period = time.Millisecond
	broken := errors.New("device gone")
	start := instant(time.Second)
	for _, c := range []struct {
		name   string
		follow bool
		passed time.Duration // since the conversion ended, or since the next was started
		edge   time.Duration // when the next ready edge is, since the conversion's end; 0: none waits
		err    error         // of the lines
		want   bool
	}{
		{name: "followed, read at once", follow: true, passed: period / 10},
		{name: "followed, read in time", follow: true, passed: period * 89 / 100, edge: period * 88 / 100},
		{name: "followed, the next has ended", follow: true, passed: period * 101 / 100, edge: period, want: true},
		{name: "followed, the next has ended early", follow: true, passed: period * 95 / 100, edge: period * 94 / 100, want: true},
		{name: "followed, the next ended while it was read", follow: true, passed: period * 95 / 100, edge: period * 95 / 100, want: true},
		{name: "followed, the next ended after it was read", follow: true, passed: period * 95 / 100, edge: period * 96 / 100},
		{name: "followed, late and no edge", follow: true, passed: period * 3 / 2},
		{name: "followed, the lines fail", follow: true, passed: period, err: broken},
		{name: "single, the next runs", passed: period*9/10 - 1},
		{name: "single, the next may have ended", passed: period * 9 / 10, want: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := &chip{follow: c.follow, line: 0, ended: true, end: start, started: start, shortest: period * 9 / 10, nominal: period, longest: period * 11 / 10}
			now := start.Add(c.passed)
			lines := &stillLines{now: now, err: c.err}
			if c.edge > 0 {
				lines.edges = []line.Edge{{Line: 0, At: start.Add(c.edge), Active: true, Seq: 2}}
			}
			b := &Bench{lines: lines, chips: []*chip{k}, listening: []*chip{k}, c: &capture.Capture{}}
			got, err := k.overtaken(b, now, start)
			if got != c.want || !errors.Is(err, c.err) || (err != nil) != (c.err != nil) {
				t.Errorf("overtaken: %v, %v, want %v, %v", got, err, c.want, c.err)
			}
			missed := uint64(0)
			if c.want {
				missed = 1
			}
			if b.counts.MissedConversions != missed {
				t.Errorf("%d conversions counted missed, want %d", b.counts.MissedConversions, missed)
			}
		})
	}
}

// After a few readings in a row that came too late, a chip is read before its next
// conversion is started; one in time begins the count anew.
func TestChip_ReadFirst(t *testing.T) {
	k := &chip{shortest: time.Millisecond}
	b := &Bench{lines: &stillLines{}}
	late, inTime := instant(2*time.Millisecond), instant(time.Microsecond)
	for i, now := range []instant{late, late, inTime, late, late, late} {
		if _, err := k.overtaken(b, now, 0); err != nil {
			t.Fatal(err)
		}
		if want := i == 5; k.readFirst != want {
			t.Fatalf("reading %d: read first %v, want %v", i, k.readFirst, want)
		}
	}
}

// What a single conversion took counts towards the chip's period unless it cannot have
// taken that long.
func TestChip_Lasted(t *testing.T) {
	const period = time.Millisecond
	for _, c := range []struct {
		took time.Duration
		want int
	}{{period * 81 / 100, 0}, {period*81/100 + 1, 1}, {period, 1}, {period*121/100 - 1, 1}, {period * 121 / 100, 0}, {-period, 0}} {
		k := &chip{}
		k.setPeriod(period*9/10, period, period*11/10)
		k.lasted(instant(ads1x15.PowerUp + c.took))
		if k.span.n != c.want {
			t.Errorf("a conversion of %v counts %d times, want %d", c.took, k.span.n, c.want)
		}
	}
}

// The spacing of a continuous chip's ready edges tells conversions that were missed and
// edges that came too soon.
func TestChip_Pace(t *testing.T) {
	const period = 1000 * time.Microsecond
	for _, c := range []struct {
		spacing         time.Duration
		measured        int
		missed, doubled uint64
	}{
		{spacing: 0, doubled: 1},
		{spacing: period/2 - 1, doubled: 1},
		{spacing: period / 2, measured: 1},
		{spacing: period * 3 / 4, measured: 1},
		{spacing: period, measured: 1},
		{spacing: period * 5 / 4, measured: 1},
		{spacing: period*3/2 - 1, measured: 1},
		{spacing: period * 3 / 2, missed: 1},
		{spacing: 2 * period, missed: 1},
		{spacing: 5 * period, missed: 4},
	} {
		k := &chip{follow: true, ended: true, nominal: period}
		b := &Bench{}
		k.pace(b, instant(c.spacing))
		if k.span.n != c.measured || b.counts.MissedConversions != c.missed || b.counts.DoubledConversions != c.doubled {
			t.Errorf("edges %v apart: measured %d, missed %d, doubled %d, want %d, %d, %d", c.spacing,
				k.span.n, b.counts.MissedConversions, b.counts.DoubledConversions, c.measured, c.missed, c.doubled)
		}
	}
	k, b := &chip{follow: true, nominal: period}, &Bench{}
	if k.pace(b, instant(period)); k.span.n != 0 || b.counts != (capture.Counts{}) {
		t.Errorf("the first edge of all has a spacing: %+v, %+v", k.span, b.counts)
	}
}

// A running mean weighs each figure alike up to 1,000 and goes on with a thousandth.
func TestSpans(t *testing.T) {
	var s spans
	for _, d := range []time.Duration{10, 20, 60} {
		s.add(d)
	}
	if s.mean != 30 {
		t.Errorf("mean of 10, 20 and 60: %g", s.mean)
	}
	s = spans{n: 5000, mean: 100}
	if s.add(1100); s.mean != 101 || s.n != 5001 {
		t.Errorf("after 5,000 of 100 one of 1,100: %+v, want 101", s)
	}
}

// The period is the nominal one until twenty conversions have been measured.
func TestChip_Period(t *testing.T) {
	k := &chip{nominal: 1000, shortest: 900, pollGap: 50, span: spans{n: 19, mean: 1040}}
	if k.period() != 1000 || k.firstPoll() != 850 {
		t.Errorf("19 measured: period %g, first poll %v", k.period(), k.firstPoll())
	}
	if k.span.n = 20; k.period() != 1040 || k.firstPoll() != 1008 {
		t.Errorf("20 measured: period %g, first poll %v", k.period(), k.firstPoll())
	}
}
