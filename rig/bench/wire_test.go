package bench_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/ads1x15"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/simchip"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
)

var update = flag.Bool("update", false, "write the golden files anew")

// wire is two converters on a bus with nothing else: the registers of package simchip,
// a clock, and the ready pins as lines. Faults can be planted on each of them.
type wire struct {
	now   capture.Instant
	bus   *simchip.Bus
	chips []*simchip.Chip
	dac   *simchip.DAC // sets the supply, where the rig has one
	cut   bool         // the ready pins do not reach their lines
	lose  func() bool  // whether a ready edge of chip A gets lost on the way; nil: none does
	plans []plan
	edges []line.Edge
	seq   [2]uint32
}

type plan struct {
	at capture.Instant
	do func()
}

var _ line.Set = (*wire)(nil)

// The moments of a recording: the event, the step of OUT1 after it, the fault, the end.
const (
	wireStart = capture.Instant(time.Second)
	wireEvent = wireStart + capture.Instant(500*time.Millisecond)
	wireStep  = wireEvent + capture.Instant(142*time.Millisecond)
	wireFault = wireStart + capture.Instant(time.Second)
	wireEnd   = wireStart + capture.Instant(3*time.Second)
)

// The outputs' volts: OUT1 steps from low to high, the others rest at levels of their
// own, so that a reading of the wrong input shows.
const (
	wireLow, wireHigh = 0.125, 2.5
	wireRest          = 0.25 // OUT2; OUT3 and OUT4 have twice and three times as much
)

func newWire(oscillator float64) *wire {
	w := &wire{now: wireStart}
	w.bus = simchip.NewBus(w, 400_000)
	step := func(from, to capture.Instant) float64 {
		high := float64(to-max(from, min(to, wireStep))) / float64(to-from)
		return wireLow + (wireHigh-wireLow)*high
	}
	rest := func(v float64) simchip.Input { return func(_, _ capture.Instant) float64 { return v } }
	inputs := [][4]simchip.Input{{step, rest(wireRest)}, {rest(2 * wireRest), rest(3 * wireRest)}}
	for i, in := range inputs {
		c := simchip.NewChip(in, simchip.Opts{Model: ads1x15.ADS1115, Oscillator: oscillator})
		w.chips = append(w.chips, c)
		if err := w.bus.Attach(0x48+uint16(i), c); err != nil {
			panic(err) // the addresses are right
		}
	}
	return w
}

// at has something done at an instant.
func (w *wire) at(t capture.Instant, do func()) {
	w.plans = append(w.plans, plan{t, do})
	slices.SortStableFunc(w.plans, func(a, b plan) int { return int(a.at - b.at) })
}

func (w *wire) Now() capture.Instant { return w.now }

// next is when something happens by itself: a plan, or a ready pin.
func (w *wire) next() (at capture.Instant, chip int) {
	at, chip = math.MaxInt64, -1
	if len(w.plans) > 0 {
		at = w.plans[0].at
	}
	for i, c := range w.chips {
		if t, ok := c.NextReady(); ok && t < at && !w.cut {
			at, chip = t, i
		}
	}
	return at, chip
}

func (w *wire) AdvanceTo(t capture.Instant) {
	for at, chip := w.next(); at <= t; at, chip = w.next() {
		w.now = max(w.now, at)
		w.happen(chip)
	}
	w.now = max(w.now, t)
}

func (w *wire) happen(chip int) {
	if chip < 0 {
		p := w.plans[0]
		w.plans = w.plans[1:]
		p.do()
		return
	}
	w.chips[chip].Settle(w.now)
	if chip == 0 && w.lose != nil && w.lose() {
		return
	}
	w.seq[chip]++
	w.edges = append(w.edges, line.Edge{Line: chip, At: w.now, Active: true, Seq: w.seq[chip]})
}

func (w *wire) Wait(ctx context.Context, deadline capture.Instant) error {
	for ctx.Err() == nil && len(w.edges) == 0 && w.now < deadline {
		at, _ := w.next()
		w.AdvanceTo(min(at, deadline))
	}
	return ctx.Err()
}

func (w *wire) Edges(buf []line.Edge) ([]line.Edge, error) {
	buf = append(buf, w.edges...)
	w.edges = w.edges[:0]
	return buf, nil
}

func (w *wire) Active(int) (bool, error) { return false, nil }

func (w *wire) Drive(int, bool) (capture.Instant, int64, error) {
	return 0, 0, errors.New("there are no drives here")
}

func (w *wire) Release() error { return nil }

func (w *wire) Close() error { return nil }

// sampling is one of the ways in which the converters are read.
type sampling struct {
	name  string
	mode  wiring.Mode
	wired bool
}

var samplings = []sampling{
	{"follow", wiring.Follow, true},
	{"sweep", wiring.Sweep, true},
	{"sweep, polled", wiring.Sweep, false},
}

func (s sampling) rig() *wiring.Rig {
	rig := &wiring.Rig{Name: "wire", BusHz: 400_000}
	for i, name := range []string{"A", "B"} {
		c := wiring.Chip{Name: name, Model: ads1x15.ADS1115, Address: 0x48 + uint16(i), Range: 4.096, Rate: 860, Supply: 3.3, Mode: s.mode}
		if s.wired {
			c.Ready = &line.Line{Name: name + " ready", Number: i}
		}
		rig.Chips = append(rig.Chips, c)
		for n := range 2 {
			rig.Outputs = append(rig.Outputs, wiring.Output{Name: fmt.Sprintf("OUT%d", 2*i+n+1), Chip: name, Channel: n, Highest: 3, Nominal: 2})
		}
	}
	return rig
}

const wireSequence = `name: wire
about: One output goes high, the others rest.
cycles: 1
steps:
  - {event: arm-away, hold: 2 s}
outputs:
  OUT1:
    expect: {arm-away: high}
    limits: output
others: unmoved
limits:
  output:
    high_level: {min: 2.4 V, max: 2.6 V}
    low_level: {max: 0.2 V}
    switching_delay: {max: 200 ms}
    ripple: {max: 50 mV}
    hold: {max: 0 s}
`

// wireFaultCase is one thing that goes wrong on the wire.
type wireFaultCase struct {
	name string
	// plant plants it; it strikes at wireFault.
	plant func(w *wire)
	// detected and done say in words what the bench notices and does about it.
	detected, done string
	wrong          int // samples that stay wrong
	oscillator     float64
	wired          bool // only where the ready pin is wired
	supply         bool // the rig has a supply that a converter sets, and that is what is struck
}

var wireFaults = []wireFaultCase{
	{name: "none", plant: func(*wire) {}, detected: "-", done: "-"},
	{name: "1 NAK", plant: strike(func(w *wire) { w.bus.NAKNext(1) }),
		detected: "failed transfer", done: "sent again"},
	{name: "3 NAKs in a row", plant: strike(func(w *wire) { w.bus.NAKNext(3) }),
		detected: "failed transfers", done: "sent again, up to 3 times"},
	{name: "4 NAKs in a row", plant: strike(func(w *wire) { w.bus.NAKNext(4) }),
		detected: "4 attempts failed", done: "chip set up anew"},
	{name: "40 NAKs in a row", plant: strike(func(w *wire) { w.bus.NAKNext(40) }),
		detected: "4 attempts failed, again and again", done: "chip set up anew, after rests of 20 ms"},
	{name: "every 7th transfer NAK", plant: strike(func(w *wire) { w.bus.NAKEvery(7) }),
		detected: "failed transfers", done: "sent again"},
	{name: "every 2nd transfer NAK", plant: strike(func(w *wire) { w.bus.NAKEvery(2) }),
		detected: "failed transfers", done: "sent again"},
	{name: "3 transfers cut short", plant: strike(func(w *wire) { w.bus.CutNext(3) }),
		detected: "failed transfers", done: "sent again"},
	{name: "bus stuck 10 ms, 1 s time-out", plant: strike(func(w *wire) { w.bus.Stick(w.now, w.now.Add(10*time.Millisecond)) }),
		detected: "transfer timed out", done: "sent again; what the chips converted meanwhile is missed"},
	{name: "bus stuck for good", plant: strike(func(w *wire) { w.bus.Stick(w.now, math.MaxInt64) }),
		detected: "4 time-outs in a row, 1 s each", done: "run ended, rig lost"},
	{name: "bit 4 of a reading flipped", plant: strike(func(w *wire) { w.chips[0].FlipNext(1 << 4) }),
		detected: "not on the bus (I²C has no check sum); a step of up to 32 codes is taken for noise", done: "kept as it was read", wrong: 1},
	{name: "bit 14 of a reading flipped", plant: strike(func(w *wire) { w.chips[0].FlipNext(1 << 14) }),
		detected: "a jump: read again, differs", done: "the majority of three readings taken"},
	{name: "bit 14 flipped 1 ms after the output steps", plant: func(w *wire) { w.at(wireStep.Add(time.Millisecond), func() { w.chips[0].FlipNext(1 << 14) }) },
		detected: "a jump: read again, differs", done: "the majority of three readings taken"},
	{name: "two readings flipped in a row", plant: strike(func(w *wire) { w.chips[0].FlipNext(1<<14, 1<<12) }),
		detected: "a jump: read again, all three differ", done: "left out, counted as missed"},
	{name: "chip reset by a dip of its supply", plant: func(w *wire) { w.chips[0].ResetAt(wireFault) },
		detected: "settings read back differ, once its ready edge is overdue (at once where polled)", done: "chip set up anew"},
	{name: "thresholds of a chip overwritten", wired: true, plant: strike(func(w *wire) { w.overwriteThresholds() }),
		detected: "ready edges stay away, 5 in a row in a sweep, 20 where followed; settings read back differ", done: "conversions fetched without their edges, then chip set up anew"},
	{name: "every 7th ready edge lost", wired: true, plant: strike(func(w *wire) { w.lose = everyOther(7) }),
		detected: "the edge is overdue, by the chip's own conversion time", done: "chip asked, conversion fetched without its edge"},
	{name: "every 2nd ready edge lost", wired: true, plant: strike(func(w *wire) { w.lose = everyOther(2) }),
		detected: "the edge is overdue, by the chip's own conversion time", done: "chip asked, conversion fetched without its edge"},
	{name: "every 2nd ready edge lost from the start", wired: true, plant: func(w *wire) { w.lose = everyOther(2) },
		detected: "the edge is overdue, by the data sheet until the conversion time is known", done: "as above; what a followed chip overwrites until then is missed"},
	{name: "ready edges lost for 15 ms", wired: true, plant: strike(func(w *wire) { w.lose = w.until(w.now.Add(15 * time.Millisecond)) }),
		detected: "the edges are overdue, by the chip's own conversion time", done: "chip asked, conversions fetched without their edges"},
	{name: "ready edges lost for 50 ms", wired: true, plant: strike(func(w *wire) { w.lose = w.until(w.now.Add(50 * time.Millisecond)) }),
		detected: "the edges are overdue, by the chip's own conversion time", done: "as above, followed 20 in a row; then the next edge is waited for"},
	{name: "oscillator 10 % fast", oscillator: -0.1, plant: func(*wire) {},
		detected: "conversion time measured", done: "time stamps by the measured time"},
	{name: "oscillator 10 % slow", oscillator: 0.1, plant: func(*wire) {},
		detected: "conversion time measured", done: "time stamps by the measured time"},
	{name: "ready pin not wired, the file says it is", wired: true, plant: func(w *wire) { w.cut = true },
		detected: "no edge though the settings are right", done: "set up 3 times, then run ended, rig lost"},
	{name: "ready wire comes off", wired: true, plant: strike(func(w *wire) { w.cut = true }),
		detected: "no edge though the settings are right", done: "set up 3 times, then run ended, rig lost"},
	{name: "chip gone and back after 50 ms", plant: strike(func(w *wire) {
		w.bus.Detach(0x48)
		w.at(w.now.Add(50*time.Millisecond), func() {
			w.chips[0].ResetAt(w.now)
			w.chips[0].Settle(w.now)
			_ = w.bus.Attach(0x48, w.chips[0])
		})
	}), detected: "4 attempts failed, again and again", done: "chip set up anew, after rests of 20 ms"},
	{name: "chip gone for good", plant: func(w *wire) { w.chips[0].LoseAt(wireFault) },
		detected: "4 attempts failed, more than 3 times in a row", done: "run ended, rig lost"},
	{name: "supply's converter reset by a dip of its supply", supply: true, plant: strike(func(w *wire) { w.dac.Reset() }),
		detected: "setting read back differs, twice, within 1 s", done: "set again; the cycle's figures from then on are undecided"},
	{name: "supply's converter gone and back after 50 ms", supply: true, plant: strike(func(w *wire) {
		w.dac.SetGone(true)
		w.at(w.now.Add(50*time.Millisecond), func() { w.dac.SetGone(false) })
	}), detected: "not, it was not needed meanwhile", done: "-"},
	{name: "supply's converter gone for good", supply: true, plant: strike(func(w *wire) { w.dac.SetGone(true) }),
		detected: "4 attempts failed, more than 3 times in a row, within 1 s", done: "run ended, rig lost"},
}

// addSupply has the converter of the supply on the bus.
func (w *wire) addSupply(rig *wiring.Rig) {
	rig.Supply = rigfile.Builtin()[2].Supply
	w.dac = simchip.NewDAC(simchip.DACOpts{Stored: simchip.FactoryCode})
	if err := w.bus.AttachDAC(rig.Supply.Address, w.dac); err != nil {
		panic(err) // the address is right
	}
}

// everyOther loses every n-th edge.
func everyOther(n int) func() bool {
	seen := 0
	return func() bool { seen++; return seen%n == 0 }
}

// until loses all edges up to an instant.
func (w *wire) until(end capture.Instant) func() bool {
	return func() bool { return w.now < end }
}

// overwriteThresholds has somebody else on the bus write to chip A what its thresholds are
// after a reset: its ready pin says nothing any more, and it converts as before.
func (w *wire) overwriteThresholds() {
	for _, b := range [][]byte{{2, 0x80, 0}, {3, 0x7f, 0xff}, {0}} {
		if err := w.bus.Tx(0x48, b, nil); err != nil {
			panic(err) // the chip is there
		}
	}
}

// strike plants a fault at wireFault.
func strike(do func(*wire)) func(*wire) {
	return func(w *wire) { w.at(wireFault, func() { do(w) }) }
}

// wireOutcome is what came of one recording.
type wireOutcome struct {
	counts  capture.Counts
	samples int // of OUT1
	wrong   int // of all outputs: off by more than two steps
	gap     time.Duration
	err     error
	verdict analyze.Verdict
	end     capture.Instant
}

func (f *wireFaultCase) record(t *testing.T, s sampling) wireOutcome {
	t.Helper()
	w := newWire(f.oscillator)
	f.plant(w)
	rig := s.rig()
	if f.supply {
		w.addSupply(rig)
	}
	var o wireOutcome
	b, err := bench.Open(rig, w.bus, w, bench.Opts{})
	if err != nil {
		t.Fatalf("%s, %s: %v", f.name, s.name, err)
	}
	c, err := b.NewCapture()
	if err != nil {
		t.Fatal(err)
	}
	o.err = b.Record(context.Background(), c, wireEnd)
	c.Events = []capture.Event{{Name: "arm-away", At: wireEvent, Uncertainty: bench.EdgeLatency, Timed: "reference"}}
	o.counts, o.end = b.Counts(), c.End
	o.look(c)
	o.judge(t, c)
	return o
}

// look goes through every sample.
func (o *wireOutcome) look(c *capture.Capture) {
	const steps = 2 * 125e-6
	volts := map[string]float64{"OUT2": wireRest, "OUT3": 2 * wireRest, "OUT4": 3 * wireRest}
	last := capture.Instant(0)
	for _, tr := range c.Traces {
		for times, values := range tr.Blocks(0, math.MaxInt64) {
			for i, at := range times {
				at := capture.Instant(at)
				want := volts[tr.Signal]
				if tr.Signal == "OUT1" {
					want = wireLow
					if at > wireStep {
						want = wireHigh
					}
					o.samples++
					if last > 0 {
						o.gap = max(o.gap, at.Sub(last))
					}
					last = at
				}
				// The conversion that holds the step is between both.
				if math.Abs(float64(values[i])-want) > steps && at.Sub(wireStep).Abs() > 2*time.Millisecond {
					o.wrong++
				}
			}
		}
	}
}

// judge measures the state after the event as a run does; one cut short is not judged.
func (o *wireOutcome) judge(t *testing.T, c *capture.Capture) {
	t.Helper()
	if o.err != nil {
		return
	}
	seq, err := sequences.Parse("wire.yaml", []byte(wireSequence))
	if err != nil {
		t.Fatal(err)
	}
	m, err := diagnose.NewExaminer(&seq.Plan, c)
	if err != nil {
		t.Fatal(err)
	}
	m.SetCycle(1)
	m.State(c, c.Events[0], c.End)
	r := m.Take()
	o.verdict = r.Verdict()
}

func (o *wireOutcome) cells() []string {
	ended, verdict := "no", string(o.verdict)
	if o.err != nil {
		ended, verdict = fmt.Sprintf("after %v", o.end.Sub(wireFault).Round(time.Millisecond)), "none"
		if o.end < wireFault {
			ended = fmt.Sprintf("%v after the start", o.end.Sub(wireStart).Round(time.Millisecond))
		}
	}
	return []string{fmt.Sprint(o.counts.BusErrors), fmt.Sprint(o.counts.LostReadyEdges), fmt.Sprint(o.counts.MissedConversions), fmt.Sprint(o.counts.DoubledConversions),
		fmt.Sprint(o.counts.ChipResets), fmt.Sprint(o.samples), fmt.Sprint(o.wrong), fmt.Sprintf("%.1f ms", float64(o.gap)/1e6), ended, verdict}
}

const wireAbout = `Two ADS1115 at 860 conversions a second on a simulated bus of 400 kHz, register by register.
A recording of 3 s; OUT1 steps 0.642 s after the start, and the fault strikes chip A, the bus or
an MCP4725 that sets the supply at 1 s. Samples are OUT1's, wrong ones those of all outputs that
are more than two steps of the converter off; edges lost are those of the ready lines; the gap is the longest between two samples of OUT1,
and the verdict is that of levels, delay, ripple and hold. Written by the tests of rig/bench.

`

// What goes wrong on the wire is made good, or told: never kept as a figure that looks
// right. The table says for each fault and each way of sampling what is detected, what
// is done, what the counts say and what the verdict is.
func TestWire_Faults(t *testing.T) {
	var table strings.Builder
	table.WriteString(wireAbout)
	head := []string{"fault", "sampling", "detected", "done", "bus errors", "edges lost", "missed", "doubled", "resets", "samples", "wrong", "longest gap", "ended", "verdict"}
	fmt.Fprintf(&table, "| %s |\n|%s\n", strings.Join(head, " | "), strings.Repeat(" --- |", len(head)))
	for i := range wireFaults {
		f := &wireFaults[i]
		for _, s := range samplings {
			if f.wired && !s.wired {
				continue
			}
			o := f.record(t, s)
			o.mustHold(t, f, f.name+", "+s.name)
			fmt.Fprintf(&table, "| %s |\n", strings.Join(append([]string{f.name, s.name, f.detected, f.done}, o.cells()...), " | "))
		}
	}
	golden(t, "wire-faults.md", table.String())
}

// golden compares a table with its file, or writes it there where -update is given.
func golden(t *testing.T, name, got string) {
	t.Helper()
	t.Log("\n" + got)
	path := filepath.Join("..", "..", "testdata", "golden", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) && runtime.GOARCH == "amd64" { // elsewhere fused multiply-adds move the last digits
		t.Errorf("the table differs from %s; go test ./rig/bench -update writes it anew; now:\n%s", path, got)
	}
}

// mustHold checks what holds for every fault, whatever the table says.
func (o *wireOutcome) mustHold(t *testing.T, f *wireFaultCase, name string) {
	t.Helper()
	if o.err != nil && !errors.Is(o.err, bench.ErrLost) {
		t.Errorf("%s: %v, which does not say that the rig is lost", name, o.err)
	}
	if o.wrong != f.wrong {
		t.Errorf("%s: %d wrong samples, want %d", name, o.wrong, f.wrong)
	}
	if o.verdict == analyze.Fail {
		t.Errorf("%s: the unit is called bad for the bench's own trouble", name)
	}
	if o.err == nil && o.verdict == analyze.NoVerdict {
		t.Errorf("%s: no verdict", name)
	}
}
