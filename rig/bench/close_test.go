package bench_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/problem"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// failingLines is a line set whose calls fail with the errors given, and which writes down
// what was called.
type failingLines struct {
	line.Set
	drive, release, close, active, edges error

	called []string
}

func (s *failingLines) Drive(l int, active bool) (capture.Instant, int64, error) {
	at, within, err := s.Set.Drive(l, active)
	return at, within, errors.Join(err, s.drive)
}

func (s *failingLines) Release() error {
	s.called = append(s.called, "release")
	return errors.Join(s.Set.Release(), s.release)
}

func (s *failingLines) Close() error {
	s.called = append(s.called, "close")
	return errors.Join(s.Set.Close(), s.close)
}

func (s *failingLines) Active(l int) (bool, error) {
	active, err := s.Set.Active(l)
	return active, errors.Join(err, s.active)
}

func (s *failingLines) Edges(buf []line.Edge) ([]line.Edge, error) {
	buf, err := s.Set.Edges(buf)
	return buf, errors.Join(err, s.edges)
}

// failingBus is a bus whose transfers to an address fail with the error given; address 0
// stands for all.
type failingBus struct {
	i2c.Bus
	addr  uint16
	err   error
	wrong bool   // bits of what is read are turned over
	wr    []byte // what the last transfer to the address wrote
}

func (b *failingBus) Tx(addr uint16, w, r []byte) error {
	if b.addr == 0 || addr == b.addr {
		b.wr = append(b.wr[:0], w...)
		if b.err != nil {
			return b.err
		}
	}
	err := b.Bus.Tx(addr, w, r)
	if b.wrong && addr == b.addr {
		for i := range r {
			r[i] ^= 0x10
		}
	}
	return err
}

// failing opens a bench on lines and a bus that can be made to fail.
func failing(t *testing.T, rig *wiring.Rig) (*bench.Bench, *failingLines, *failingBus) {
	t.Helper()
	w, set := worldOf(t, rig, sim.Opts{Seed: 3})
	lines, bus := &failingLines{Set: set}, &failingBus{Bus: w.Bus()}
	b, err := bench.Open(rig, bus, lines, bench.Opts{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b, lines, bus
}

// supplyRig is the rig whose supply a converter sets.
func supplyRig(t *testing.T) *wiring.Rig {
	t.Helper()
	for _, r := range rigfile.Builtin() {
		if r.Supply != nil && r.Supply.Stage == nil {
			return r
		}
	}
	t.Fatal("no built-in rig has a converter that sets its supply")
	return nil
}

// Whatever may have stayed on is told when a bench is closed: drives that did not go off,
// and a supply that is not known to be at its rest.
func TestBench_CloseErrors(t *testing.T) {
	stuck, silent := errors.New("OUT_K1 stayed on"), errors.New("no acknowledge")
	for _, c := range []struct {
		name    string
		lines   error // what closing the lines fails with
		release error // what releasing them fails with
		bus     error // what every transfer fails with
		want    []error
		text    string
	}{
		{name: "all well"},
		{name: "drives that stay on", lines: stuck, want: []error{stuck}},
		{name: "a supply that does not answer", bus: silent, want: []error{silent}, text: "the supply may not be at its rest of 0 V, switch it off: "},
		{name: "both", lines: stuck, bus: silent, want: []error{stuck, silent}, text: "the supply may not be at its rest"},
		// Close releases first, whatever comes of that; closing the lines tells of the drives.
		{name: "a release that fails", release: stuck},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, lines, bus := failing(t, supplyRig(t))
			lines.close, lines.release, bus.err = c.lines, c.release, c.bus
			err := b.Close()
			if (err != nil) != (len(c.want) > 0) {
				t.Fatalf("Close: %v, want %v", err, c.want)
			}
			for _, want := range c.want {
				if !errors.Is(err, want) {
					t.Errorf("Close: %v, want also %v", err, want)
				}
			}
			if err != nil && !strings.Contains(err.Error(), c.text) {
				t.Errorf("Close: %v, want it to say %q", err, c.text)
			}
			if want := []string{"release", "close"}; !slices.Equal(lines.called, want) {
				t.Errorf("the lines saw %v, want %v", lines.called, want)
			}
		})
	}
}

// A supply whose setting reads back otherwise than at rest is told of as well.
func TestBench_CloseVerifiesSupply(t *testing.T) {
	rig := supplyRig(t)
	b, _, bus := failing(t, rig)
	bus.addr, bus.wrong = rig.Supply.Address, true
	if err := b.Close(); err == nil || !strings.Contains(err.Error(), "the supply may not be at its rest of 0 V, switch it off: ") {
		t.Errorf("Close: %v", err)
	}
}

// A drive is pulsed for as long as it may be on and not longer.
func TestBench_PulseLongestOn(t *testing.T) {
	rig := rigfile.Builtin()[0]
	b, _, _ := failing(t, rig)
	longest := rig.Drive("KEY_AWAY").LongestOn
	if _, err := b.Pulse(context.Background(), newCapture(t, b), "KEY_AWAY", longest+1); !errors.Is(err, bench.ErrSetup) || !strings.Contains(err.Error(), longest.String()) {
		t.Errorf("a pulse longer than longest_on: %v", err)
	}
	if _, err := b.Pulse(context.Background(), newCapture(t, b), "KEY_AWAY", longest); err != nil {
		t.Errorf("a pulse of longest_on: %v", err)
	}
	if _, err := b.Pulse(context.Background(), newCapture(t, b), "KEY_X", time.Millisecond); !errors.Is(err, bench.ErrSetup) {
		t.Errorf("a drive that the rig has not: %v", err)
	}
}

// A capture begins with the lines' states and the outputs' nominal voltages.
func TestBench_NewCaptureBegins(t *testing.T) {
	rig := rigfile.Builtin()[0]
	b, _, _ := failing(t, rig)
	c := newCapture(t, b)
	for i := range c.Traces {
		if want := rig.Output(c.Traces[i].Signal).Nominal; c.Traces[i].NominalVolts != want || want == 0 {
			t.Errorf("%s: nominal %v, want %v", c.Traces[i].Signal, c.Traces[i].NominalVolts, want)
		}
	}
	for signal, want := range map[string]bool{"K1_NO": false, "K1_NC": true, "KEY_AWAY": false} {
		if k := c.Track(signal); !k.Known || k.Initial != want || k.Stamp != bench.EdgeLatency {
			t.Errorf("%s begins as %+v, want it known and %v", signal, k, want)
		}
	}
}

// A converter that still converts is put to rest, and one that does not answer is no error.
func TestBench_CloseHaltsConverters(t *testing.T) {
	rig := rigfile.Builtin()[0]
	for _, silent := range []error{nil, errors.New("no acknowledge")} {
		b, _, bus := failing(t, rig)
		bus.addr, bus.err = rig.Chips[0].Address, silent
		if err := b.Close(); err != nil {
			t.Errorf("converter answers with %v: Close: %v", silent, err)
		}
		const single = 1 << 0 // of the configuration's upper byte: single conversions, none started
		if len(bus.wr) != 3 || bus.wr[0] != 1 || bus.wr[1]&single == 0 || bus.wr[1]&0x80 != 0 {
			t.Errorf("converter answers with %v: last written % x, want a configuration that starts nothing", silent, bus.wr)
		}
	}
}

// Release tells its caller what failed, with a supply and without one.
func TestBench_ReleaseErrors(t *testing.T) {
	stuck := errors.New("OUT_K1 stayed on")
	for _, rig := range []*wiring.Rig{rigfile.Builtin()[0], supplyRig(t)} {
		b, lines, _ := failing(t, rig)
		if err := b.Release(); err != nil {
			t.Errorf("rig %s: Release: %v", rig.Name, err)
		}
		lines.release = stuck
		if err := b.Release(); !errors.Is(err, stuck) {
			t.Errorf("rig %s: Release: %v, want %v", rig.Name, err, stuck)
		}
	}
}

// A line that fails is a lost rig, and the error says which line, wherever it is used.
func TestBench_LineErrors(t *testing.T) {
	broken := errors.New("device gone")
	for _, c := range []struct {
		name string
		fail func(*failingLines)
		do   func(*bench.Bench, *failingLines) error
		text string
	}{
		{"drive", func(s *failingLines) { s.drive = broken }, func(b *bench.Bench, _ *failingLines) error {
			_, err := b.Cause(context.Background(), &capture.Capture{}, "arm-away")
			return err
		}, "drive KEY_AWAY: "},
		{"state", func(s *failingLines) { s.active = broken }, func(b *bench.Bench, _ *failingLines) error {
			_, err := b.NewCapture()
			return err
		}, "contact K1_NO: "},
		{"edges before a capture", func(s *failingLines) { s.edges = broken }, func(b *bench.Bench, _ *failingLines) error {
			_, err := b.NewCapture()
			return err
		}, ""},
		{"edges", func(*failingLines) {}, func(b *bench.Bench, s *failingLines) error {
			c, err := b.NewCapture()
			if err != nil {
				return err
			}
			s.edges = broken
			return b.Record(context.Background(), c, b.Now().Add(time.Second))
		}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, lines, _ := failing(t, rigfile.Builtin()[0])
			c.fail(lines)
			err := c.do(b, lines)
			if !errors.Is(err, bench.ErrLost) || !errors.Is(err, broken) || !strings.Contains(err.Error(), c.text) || problem.KindOf(err) != problem.Rig {
				t.Errorf("%v of kind %v, want a lost rig, %v and %q", err, problem.KindOf(err), broken, c.text)
			}
		})
	}
}

func TestErrors_Kinds(t *testing.T) {
	for err, want := range map[error]problem.Kind{
		bench.ErrLost: problem.Rig, bench.ErrSetup: problem.Input, bench.ErrNobody: problem.Rig, bench.ErrReleased: problem.Rig,
	} {
		if got := problem.KindOf(err); got != want {
			t.Errorf("%v is of kind %v, want %v", err, got, want)
		}
	}
}
