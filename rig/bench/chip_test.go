package bench

import (
	"errors"
	"math"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/mcp4725"
	"makebreak/rig/wiring"
)

// stillLines is a line set whose clock stands still and which has the edges given.
type stillLines struct {
	line.Set
	now   instant
	edges []line.Edge
	err   error
	// active is the state of every line.
	active bool
}

func (s *stillLines) Now() instant { return s.now }

func (s *stillLines) Active(int) (bool, error) { return s.active, s.err }

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
		{name: "followed, late and no edge yet", follow: true, passed: period * 11 / 10},
		{name: "followed, so late that the next has ended without an edge", follow: true, passed: period * 3 / 2, want: true},
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
			if k.counts.MissedConversions != missed {
				t.Errorf("%d conversions counted missed, want %d", k.counts.MissedConversions, missed)
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
		missed, doubled uint64 // each missed one's edge was lost
	}{
		{spacing: 0, doubled: 1},
		{spacing: period/2 - 1, doubled: 1},
		{spacing: period / 2, measured: 1},
		{spacing: period * 3 / 4, measured: 1},
		{spacing: period, measured: 1},
		{spacing: period * 5 / 4, measured: 1},
		{spacing: period*3/2 - 1, measured: 1},
		{spacing: period * 3 / 2, measured: 1, missed: 1},
		{spacing: 2 * period, measured: 1, missed: 1},
		{spacing: 4 * period, measured: 1, missed: 3},
		{spacing: 5 * period, missed: 4}, // or six short ones
	} {
		k := &chip{follow: true, ended: true, nominal: period}
		b := &Bench{}
		if !k.pace(b, instant(c.spacing)) {
			t.Errorf("edges %v apart: the second is taken for a late one", c.spacing)
		}
		if k.span.n != c.measured || k.counts.LostReadyEdges != c.missed || k.counts.MissedConversions != c.missed || k.counts.DoubledConversions != c.doubled {
			t.Errorf("edges %v apart: measured %d, missed %d, doubled %d, want %d, %d, %d", c.spacing,
				k.span.n, k.counts.MissedConversions, k.counts.DoubledConversions, c.measured, c.missed, c.doubled)
		}
	}
	k, b := &chip{follow: true, nominal: period}, &Bench{}
	if k.pace(b, instant(period)); k.span.n != 0 || k.counts != (capture.Counts{}) {
		t.Errorf("the first edge of all has a spacing: %+v, %+v", k.span, k.counts)
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
	for i := range time.Duration(2000) {
		s.add(30 + 8*(i%2*2-1))
	}
	if math.Abs(s.dev-8) > 0.1 {
		t.Errorf("mean deviation of 22 and 38 in turn: %g", s.dev)
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

// codeBus is a bus on which every register reads as the code given.
type codeBus struct {
	i2c.Bus
	code uint16
	err  error
}

func (b *codeBus) Tx(_ uint16, _, r []byte) error {
	if len(r) == 2 {
		r[0], r[1] = byte(b.code>>8), byte(b.code)
	}
	return b.err
}

// chipOn returns a chip on a bus, whose conversions last 1 ms, and a bench with it.
func chipOn(t *testing.T, bus i2c.Bus, k chip) (*chip, *Bench) {
	t.Helper()
	opts := ads1x15.DefaultOpts
	opts.Retries = 0
	dev, err := ads1x15.New(bus, ads1x15.FirstAddress, &opts)
	if err != nil {
		t.Fatal(err)
	}
	k.dev = dev
	k.setPeriod(900*time.Microsecond, time.Millisecond, 1100*time.Microsecond)
	c := &capture.Capture{Traces: []*capture.Trace{capture.NewTrace("OUT1", capture.Converter{})}}
	return &k, &Bench{rig: &wiring.Rig{}, lines: &stillLines{now: instant(time.Second)}, chips: []*chip{&k}, listening: []*chip{&k}, c: c}
}

// A sample lies as much before its ready edge as the terminal's voltage comes later to the
// pin, and is the pin's voltage times the divider, with the offset of the terminal added.
func TestChip_Sample(t *testing.T) {
	end := instant(time.Second - 100*time.Microsecond)
	k, b := chipOn(t, &codeBus{code: 16000}, chip{follow: true, finished: 1, end: end, ended: true,
		channels: []channel{{perPin: 4, offset: 0.5, late: 30 * time.Microsecond, jumps: jumps{known: true, last: 16000}}}})
	if err := k.fetch(b); err != nil {
		t.Fatal(err)
	}
	at, volts, ok := b.c.Traces[0].Last()
	if !ok || at != end.Add(-30*time.Microsecond) || volts != 8.5 { // 16,000 codes of 125 µV are 2 V
		t.Errorf("sample at %v of %g V (%v), want %v and 8.5 V", at, volts, ok, end.Add(-30*time.Microsecond))
	}
}

// A ready edge from before a conversion was started is not that conversion's.
func TestChip_ReadyBeforeStart(t *testing.T) {
	for _, c := range []struct {
		at   instant
		want int
	}{{99, 0}, {100, 1}} {
		k := &chip{started: 100}
		if k.readyAt(&Bench{}, c.at); k.finished != c.want {
			t.Errorf("edge at %d, started at 100: %d finished, want %d", c.at, k.finished, c.want)
		}
	}
	for _, k := range []*chip{{broken: true}, {settling: true}} {
		if k.readyAt(&Bench{}, 100); k.finished != 0 {
			t.Errorf("%+v takes an edge for a conversion's", k)
		}
	}
}

// Of a chip that is asked, nobody knows when its conversion ended after a pause that was
// longer than it may take; that is no missed conversion.
func TestChip_PassOver(t *testing.T) {
	for _, c := range []struct {
		chip  chip
		since time.Duration
		stale bool
	}{
		{chip{line: -1}, 1100*time.Microsecond + readyTimeout, false},
		{chip{line: -1}, 1100*time.Microsecond + readyTimeout + 1, true},
		{chip{line: 0}, time.Hour, false},
		{chip{line: -1, broken: true}, time.Hour, false},
		{chip{line: -1, settling: true}, time.Hour, false},
	} {
		k, _ := chipOn(t, &codeBus{}, c.chip)
		if k.passOver(instant(c.since)); k.stale != c.stale {
			t.Errorf("%+v, %v after its start: stale %v, want %v", c.chip, c.since, k.stale, c.stale)
		}
	}
	k, _ := chipOn(t, &codeBus{}, chip{follow: true, finished: 2})
	if k.passOver(100); k.finished != 0 || k.wake != instant(100).Add(2*k.longest+readyTimeout) {
		t.Errorf("a followed chip after a pause: %+v, want it to begin with its next conversion", k)
	}
}

// The conversion of a chip that is asked ended between the last time it said no and now:
// half of that is how well its end is known.
func TestChip_PollHalfWidth(t *testing.T) {
	const idle = 1 << 15 // the bit that says that no conversion runs
	now := instant(time.Second)
	for _, c := range []struct {
		name   string
		asked  time.Duration // how long ago it last said no; 0: it never did
		start  time.Duration // how long ago it was started
		half   time.Duration
		missed uint64
	}{
		{name: "asked before", asked: 200 * time.Microsecond, start: 1200 * time.Microsecond, half: 100 * time.Microsecond},
		{name: "asked for the first time", start: 1025 * time.Microsecond, half: 50 * time.Microsecond},
		{name: "asked too late", start: 60 * time.Millisecond, missed: 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			k, b := chipOn(t, &codeBus{code: idle | 0x0583&^idle}, chip{line: -1, started: now.Add(-c.start), channels: []channel{{perPin: 1}}})
			if c.asked > 0 {
				k.end = now.Add(-c.asked)
			}
			if err := k.poll(b, now); err != nil {
				t.Fatal(err)
			}
			if got := time.Duration(k.polled.mean); got != c.half || k.counts.MissedConversions != c.missed {
				t.Errorf("known within ± %v with %d missed, want %v and %d", got, k.counts.MissedConversions, c.half, c.missed)
			}
			if c.missed == 0 && k.end != now.Add(-c.half) {
				t.Errorf("ended at %v, want the middle, %v", k.end, now.Add(-c.half))
			}
		})
	}
}

// A chip that fails is set up again a few times in a row, then the rig is lost; on a bus
// where every transfer takes its time-out, it is lost after a second.
func TestChip_Revive(t *testing.T) {
	silent := errors.New("no acknowledge")
	for _, c := range []struct {
		name    string
		between time.Duration
		want    int // attempts until the rig is lost
	}{{"quick failures", time.Millisecond, revivals + 1}, {"slow failures", 600 * time.Millisecond, 3}} {
		t.Run(c.name, func(t *testing.T) {
			k, b := chipOn(t, &codeBus{err: silent}, chip{name: "A", channels: []channel{{perPin: 1}}})
			lines := b.lines.(*stillLines)
			attempts := 0
			var err error
			for err == nil && attempts < 10 {
				attempts++
				began := lines.now
				err = k.revive(b, began, silent)
				lines.now = lines.now.Add(c.between)
			}
			if attempts != c.want || !errors.Is(err, ErrLost) || !errors.Is(err, silent) || k.counts.ChipResets != 0 {
				t.Errorf("%d attempts, %d resets, %v, want %d attempts and a lost rig", attempts, k.counts.ChipResets, err, c.want)
			}
		})
	}
	k, b := chipOn(t, &codeBus{err: silent}, chip{channels: []channel{{perPin: 1}}})
	if err := k.revive(b, 0, ads1x15.ErrReset); err != nil || k.counts.ChipResets != 1 || !k.broken {
		t.Errorf("a reset: %v, %d resets, broken %v", err, k.counts.ChipResets, k.broken)
	}
}

// What is known of samples: the mean conversion time with the spread of a uniform tenth over
// the root of the count, and the end's half-width where the chip is asked.
func TestChip_Describe(t *testing.T) {
	for _, c := range []struct {
		name    string
		chip    chip
		late    time.Duration // standard uncertainty of the sample's delay
		spanRel float64
		stamp   time.Duration
	}{
		{"followed", chip{follow: true, span: spans{n: 100, mean: 1e6}}, 0, 0.1 / math.Sqrt(300), EdgeLatency},
		{"single", chip{span: spans{n: 100, mean: 1e6}}, 0, math.Hypot(0.1/math.Sqrt(300), 0.02), EdgeLatency},
		{"many", chip{follow: true, span: spans{n: 1e6, mean: 1e6}}, 0, 0.1 / math.Sqrt(3000), EdgeLatency},
		{"asked", chip{follow: true, line: -1, span: spans{n: 100, mean: 1e6}, polled: spans{n: 1, mean: 30e3}}, 0, 0.1 / math.Sqrt(300), 17320 * time.Nanosecond},
		{"without an edge", chip{follow: true, span: spans{n: 100, mean: 1e6}, silence: silence{unsure: 4e4 / 3}}, 0, 0.1 / math.Sqrt(300), EdgeLatency * 5 / 3},
		{"delayed", chip{follow: true, span: spans{n: 100, mean: 1e6}}, EdgeLatency * 4 / 3, 0.1 / math.Sqrt(300), EdgeLatency * 5 / 3},
	} {
		k, _ := chipOn(t, &codeBus{}, c.chip)
		var conv capture.Converter
		k.describe(&conv, &channel{lateStandard: c.late})
		if conv.Span != time.Millisecond || math.Abs(conv.SpanRel-c.spanRel) > 1e-9 || conv.Stamp/10 != c.stamp/10 {
			t.Errorf("%s: %v ± %.5f, stamps ± %v, want 1 ms ± %.5f, ± %v", c.name, conv.Span, conv.SpanRel, conv.Stamp, c.spanRel, c.stamp)
		}
	}
}

// scriptBus is a bus on which readings of the conversion register give the codes in order.
type scriptBus struct {
	i2c.Bus
	codes []uint16
}

func (b *scriptBus) Tx(_ uint16, _, r []byte) error {
	if len(r) == 2 && len(b.codes) > 0 {
		r[0], r[1] = byte(b.codes[0]>>8), byte(b.codes[0])
		b.codes = b.codes[1:]
	}
	return nil
}

// A reading that jumps is what two of up to three readings say. Where the next conversion
// may have ended meanwhile, the first one stands.
func TestChip_Settled(t *testing.T) {
	for _, c := range []struct {
		name      string
		follow    bool
		passed    time.Duration // since the conversion ended, or since the next was started
		edge      time.Duration // when the next one's ready edge is, since the end; 0: none waits
		codes     []uint16      // of the second and third reading; the first is 1,000
		want      int16
		sure      bool
		busErrors uint64
		missed    uint64
	}{
		{name: "the same again", codes: []uint16{1000}, want: 1000, sure: true},
		{name: "the second was wrong", codes: []uint16{7, 1000}, want: 1000, sure: true, busErrors: 1},
		{name: "the first was wrong", codes: []uint16{7, 7}, want: 7, sure: true, busErrors: 1},
		{name: "nothing decides", codes: []uint16{7, 8}, busErrors: 2, missed: 1},
		{name: "single, the next may have ended", passed: 900 * time.Microsecond, codes: []uint16{7}, want: 1000, sure: true},
		{name: "single, the next runs", passed: 899 * time.Microsecond, codes: []uint16{7, 7}, want: 7, sure: true, busErrors: 1},
		{name: "followed, in time", follow: true, passed: 899 * time.Microsecond, codes: []uint16{7, 7}, want: 7, sure: true, busErrors: 1},
		{name: "followed, the next has ended", follow: true, passed: 890 * time.Microsecond, edge: 880 * time.Microsecond, codes: []uint16{7}, want: 1000, sure: true},
		{name: "followed, the next ended after it was read", follow: true, passed: 890 * time.Microsecond, edge: 895 * time.Microsecond, codes: []uint16{7, 7}, want: 7, sure: true, busErrors: 1},
		{name: "followed, the next may have ended", follow: true, passed: 900 * time.Microsecond, codes: []uint16{7}, want: 1000, sure: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			end := instant(time.Second).Add(-c.passed)
			k, b := chipOn(t, &scriptBus{codes: c.codes}, chip{follow: c.follow, started: end, end: end, channels: []channel{{}}})
			if c.edge > 0 {
				b.lines.(*stillLines).edges = []line.Edge{{Line: 0, At: end.Add(c.edge), Active: true, Seq: 1}}
			}
			code, sure, err := k.settled(b, end, false, 1000)
			if err != nil || sure != c.sure || sure && code != c.want || k.counts.BusErrors != c.busErrors || k.counts.MissedConversions != c.missed {
				t.Errorf("%d, sure %v, %v, %d bus errors, %d missed, want %d, %v, %d, %d", code, sure, err,
					k.counts.BusErrors, k.counts.MissedConversions, c.want, c.sure, c.busErrors, c.missed)
			}
		})
	}
}

// A supply that fails is lost after a few failures in a row, or after a second.
func TestSupply_GiveUp(t *testing.T) {
	silent := errors.New("no acknowledge")
	for _, c := range []struct {
		between time.Duration
		want    int
	}{{time.Millisecond, revivals + 1}, {600 * time.Millisecond, 3}} {
		s, now, attempts := &supply{}, instant(0), 0
		var err error
		for err == nil && attempts < 10 {
			attempts++
			err = s.giveUp(now, now, silent)
			now = now.Add(c.between)
		}
		if attempts != c.want || !errors.Is(err, ErrLost) || !errors.Is(err, silent) {
			t.Errorf("failures %v apart: %v after %d, want a lost rig after %d", c.between, err, attempts, c.want)
		}
	}
}

// A write that meets a release puts the supply back to its rest, and tells where that fails.
func TestSupply_WriteMeetsRelease(t *testing.T) {
	silent := errors.New("no acknowledge")
	for _, fails := range []error{nil, silent} {
		opts := mcp4725.DefaultOpts
		opts.Retries = 0
		dev, err := mcp4725.New(&codeBus{err: fails}, 0x60, &opts)
		if err != nil {
			t.Fatal(err)
		}
		s := &supply{dev: dev, wired: &wiring.Supply{}}
		if err := s.write(100); !errors.Is(err, fails) || errors.Is(err, ErrReleased) {
			t.Errorf("bus fails with %v, nothing released: %v", fails, err)
		}
		s.releases.Add(1)
		if err := s.write(100); !errors.Is(err, ErrReleased) || fails != nil && !errors.Is(err, fails) {
			t.Errorf("bus fails with %v, released meanwhile: %v", fails, err)
		}
	}
}

// An edge that comes when its conversion has been fetched already is no conversion's; the
// conversions fetched after it are reckoned from it. Where more conversions than were fetched
// have ended since the latest edge, the others are missed.
func TestChip_Apart(t *testing.T) {
	const period = time.Millisecond
	at := func(periods float64) instant {
		return instant(time.Second).Add(time.Duration(periods * float64(period)))
	}
	for _, c := range []struct {
		name    string
		fetched int // without an edge since the latest one
		edge    float64
		is      bool
		missed  uint64
		lost    int     // in a row, afterwards
		end     float64 // of the latest conversion, afterwards
	}{
		{"late", 1, 1.1, false, 0, 0, 1.1},
		{"late, another has been fetched since", 2, 1.1, false, 0, 1, 2.1},
		{"of none", 2, 0.2, false, 0, 2, 2},
		{"of the next", 1, 2.1, true, 0, 1, 1},
		{"of the one after the next", 2, 4.1, true, 1, 2, 2},
	} {
		k := &chip{follow: true, ended: true, end: at(float64(c.fetched)), silence: silence{heard: at(0), lost: c.fetched}, span: spans{n: known, mean: float64(period)}}
		b := &Bench{}
		if is := k.apart(b, at(c.edge)); is != c.is || k.counts.MissedConversions != c.missed || k.counts.LostReadyEdges != c.missed {
			t.Errorf("%s: of a new conversion %v, %+v, want %v, %d missed", c.name, is, k.counts, c.is, c.missed)
		}
		if k.silence.lost != c.lost || k.end.Sub(at(c.end)).Abs() > 1 {
			t.Errorf("%s: %d lost in a row, the latest conversion ended at %v, want %d, %v", c.name, k.silence.lost, k.end, c.lost, at(c.end))
		}
	}
}

// A single conversion whose edge did not come ended when the chip's usual time was over. Where
// that is not known, or the chip ran on, it ended between what is known for sure.
func TestChip_EndUnheard(t *testing.T) {
	const us = time.Microsecond
	began := instant(time.Second).Add(ads1x15.PowerUp)
	usual := spans{n: known, mean: 1e6, dev: 8e3}
	for _, c := range []struct {
		name      string
		span      spans
		no, asked time.Duration // since it began
		end       time.Duration
		standard  float64 // µs
	}{
		{"usual", usual, 0, 1200 * us, 1000 * us, math.Hypot(20/math.Sqrt(3), 10)},
		{"usual, asked much later", usual, 0, 50 * time.Millisecond, 1000 * us, math.Hypot(20/math.Sqrt(3), 10)},
		{"it ran on", usual, 1040 * us, 1080 * us, 1060 * us, 20 / math.Sqrt(3)},
		{"not measured yet", spans{}, 0, 1160 * us, 1000 * us, 100 / math.Sqrt(3)},
		{"not measured yet, asked early", spans{}, 0, 1050 * us, 975 * us, 75 / math.Sqrt(3)},
		{"longer than it may take", spans{}, 1150 * us, 1200 * us, 1175 * us, 25 / math.Sqrt(3)},
	} {
		k, _ := chipOn(t, &codeBus{}, chip{started: instant(time.Second), span: c.span})
		if c.no > 0 {
			k.silence.no = began.Add(c.no)
		}
		end, standard := k.endUnheard(began.Add(c.asked))
		if end != began.Add(c.end) || math.Abs(standard/1e3-c.standard) > 0.01 {
			t.Errorf("%s: ended after %v ± %.2f µs, want %v ± %.2f µs", c.name, end.Sub(began), standard/1e3, c.end, c.standard)
		}
	}
}
