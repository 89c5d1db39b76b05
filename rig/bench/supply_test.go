package bench_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/ads1x15"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// dacBus notes what is written to the supply, and can keep its chip silent for a time.
type dacBus struct {
	i2c.Bus
	w         *sim.World
	codes     []int
	at        []capture.Instant // when the transfer began
	from, to  capture.Instant   // the chip is silent
	looks     int               // how often its setting has been read
	dips      bool              // it is reset before each of them
	meanwhile func()            // called once before the next write
	flips     int               // a bit of so many of them is lost on the way
}

func (d *dacBus) Tx(addr uint16, w, r []byte) error {
	if addr != 0x60 {
		return d.Bus.Tx(addr, w, r)
	}
	d.w.SupplyChip().SetGone(d.w.Now() >= d.from && d.w.Now() < d.to)
	if do := d.meanwhile; do != nil && len(w) == 2 {
		d.meanwhile = nil
		do()
	}
	at := d.w.Now()
	if len(r) == 3 {
		if d.looks++; d.dips {
			d.w.SupplyChip().Reset()
		}
	}
	err := d.Bus.Tx(addr, w, r)
	if len(r) == 3 && d.flips > 0 {
		d.flips--
		r[1] ^= 0x04
	}
	if err == nil && len(w) == 2 {
		d.codes, d.at = append(d.codes, int(w[0])<<8|int(w[1])), append(d.at, at)
	}
	return err
}

// supplied is a bench on the simulated relay with a supply, whose coil is switched on.
type supplied struct {
	t   *testing.T
	w   *sim.World
	bus *dacBus
	b   *bench.Bench
	c   *capture.Capture
}

func openSupplied(t *testing.T, hz int, opts bench.Opts, faults ...sim.Fault) *supplied {
	t.Helper()
	rig := rigfile.Builtin()[2]
	rig.BusHz = hz
	w, set := worldOf(t, rig, sim.Opts{Seed: 5, Faults: faults})
	s := &supplied{t: t, w: w, bus: &dacBus{Bus: w.Bus(), w: w}}
	var err error
	if s.b, err = bench.Open(rig, s.bus, set, opts); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if n := w.SupplyChip().StoredWrites; n != 0 {
			t.Errorf("the EEPROM has been written %d times", n)
		}
	})
	t.Cleanup(func() { s.b.Close() })
	s.c = newCapture(t, s.b)
	return s
}

func (s *supplied) record(d time.Duration) {
	s.t.Helper()
	if err := s.b.Record(context.Background(), s.c, s.b.Now().Add(d)); err != nil {
		s.t.Fatal(err)
	}
}

func (s *supplied) cause(event string) {
	s.t.Helper()
	if _, err := s.b.Cause(context.Background(), s.c, event); err != nil {
		s.t.Fatal(err)
	}
}

func (s *supplied) move(event string, m bench.Move) capture.Event {
	s.t.Helper()
	e, err := s.b.MoveSupply(context.Background(), s.c, event, m)
	if err != nil {
		s.t.Fatal(err)
	}
	return e
}

// code is what the supply's chip puts out.
func (s *supplied) code() int {
	return int(math.Round(s.w.SupplyChip().Volts() / 3.3 * 4096))
}

// reads returns the coil's mean over the next tenth of a second.
func (s *supplied) reads() float64 {
	s.t.Helper()
	from := s.b.Now()
	s.record(100 * time.Millisecond)
	sum, n := 0.0, 0
	for _, vs := range s.c.Trace("COIL").Blocks(from, s.b.Now()) {
		for _, v := range vs {
			sum, n = sum+float64(v), n+1
		}
	}
	return sum / float64(n)
}

// Codes by hand: 4.02832 mV a step, see wiring.TestSupply_Code.
const (
	code5V   = 1241
	code10V5 = 2607
	code13V8 = 3426
)

// The supply stands at its usual voltage while the bench is open, and at its rest
// afterwards.
func TestSupply_OpenAndClose(t *testing.T) {
	s := openSupplied(t, 400_000, bench.Opts{})
	if s.code() != code13V8 {
		t.Errorf("code %d after Open", s.code())
	}
	s.cause("energize")
	s.record(100 * time.Millisecond)
	truth := s.w.Truth()
	if got, want := s.reads(), truth.Output("COIL").High; math.Abs(got-want) > 0.2 || math.Abs(want-13.8/1.03) > 0.3 {
		t.Errorf("the coil reads %.3f V, it is at %.3f V", got, want)
	}
	if e := truth.Supply.GainError; e == 0 || math.Abs(e) > 0.01 || math.Abs(truth.Supply.Volts-13.80103*(1+e)-truth.Supply.OffsetVolts) > 1e-4 {
		t.Errorf("the supply's truth is %+v", truth.Supply)
	}
	if err := s.b.Close(); err != nil {
		t.Fatal(err)
	}
	if s.code() != 0 {
		t.Errorf("code %d after Close", s.code())
	}
	s = openSupplied(t, 400_000, bench.Opts{SupplyAtRest: true})
	if s.code() != 0 {
		t.Errorf("code %d after Open at rest", s.code())
	}
	s.move("five", bench.Move{To: 5})
	if s.code() != code5V {
		t.Errorf("code %d for 5 V", s.code())
	}
}

// A change at once is over when MoveSupply returns, but for the amplifier's settling,
// and its event says how well that instant is known.
func TestMoveSupply_AtOnce(t *testing.T) {
	for _, hz := range []int{400_000, 100_000} {
		s := openSupplied(t, hz, bench.Opts{})
		s.cause("energize")
		s.record(100 * time.Millisecond)
		before := s.b.Now()
		e := s.move("sag", bench.Move{From: 99, To: 10.5})
		took := time.Duration(29) * time.Second / time.Duration(hz) // by hand: 3 bytes of 9 bits, start, stop
		if e.Name != "sag" || e.Timed != "supply" || e.At != s.b.Now() || e.At.Sub(before) != took {
			t.Errorf("event %+v, want it %v after %v", e, took, before)
		}
		if want := time.Duration(float64(took) / math.Sqrt(3)); (e.Uncertainty - want).Abs() > 1 {
			t.Errorf("uncertainty %v, want %v", e.Uncertainty, want)
		}
		if n := len(s.c.Events); s.c.Events[n-1] != e {
			t.Errorf("events %+v", s.c.Events)
		}
		if s.code() != code10V5 {
			t.Errorf("code %d", s.code())
		}
		s.record(10 * time.Millisecond)
		if got, want := s.reads(), s.w.Truth().Output("COIL").High; math.Abs(got-want) > 0.2 || want > 10.4 || want < 10 {
			t.Errorf("the coil reads %.3f V, it is at %.3f V", got, want)
		}
	}
}

// A slow ramp goes code by code, and a converter that is followed at its full rate
// misses nothing meanwhile, on a slow bus as on a fast one.
func TestMoveSupply_RampMissesNothing(t *testing.T) {
	for _, hz := range []int{400_000, 100_000} {
		s := openSupplied(t, hz, bench.Opts{})
		s.cause("energize")
		s.record(100 * time.Millisecond)
		s.bus.codes, s.bus.at = nil, nil
		began, samples := s.b.Now(), s.c.Trace("COIL").Len()
		e := s.move("ramp-up", bench.Move{From: 0, To: 13.8, Over: 14 * time.Second})
		s.record(14*time.Second + 100*time.Millisecond)
		if n := s.b.Counts(); n != (capture.Counts{}) {
			t.Errorf("%s: %+v, want nothing counted", kiloHertz(hz), n)
		}
		period := 1e9 / 860 * (1 + s.w.Truth().Chips[0].Oscillator)
		took := s.b.Now().Sub(began)
		if got, want := s.c.Trace("COIL").Len()-samples, float64(took)/period; math.Abs(float64(got)-want) > 1.5 {
			t.Errorf("%s: %d samples, the chip made %.1f conversions", kiloHertz(hz), got, want)
		}
		s.wantSteps(e, 14*time.Second, code13V8, 1)
		t.Logf("%s: %d samples and %d steps of the supply in %v, the latest step %v late", kiloHertz(hz), s.c.Trace("COIL").Len()-samples, len(s.bus.codes)-1, took, s.latest(e, 14*time.Second))
	}
}

// wantSteps holds the codes written to a ramp from 0 to last: rising by up to most, and
// never sooner than planned.
func (s *supplied) wantSteps(e capture.Event, over time.Duration, last, most int) {
	s.t.Helper()
	if n := len(s.bus.codes); s.bus.codes[0] != 0 || s.bus.codes[n-1] != last || s.code() != last {
		s.t.Errorf("codes %d to %d", s.bus.codes[0], s.bus.codes[n-1])
	}
	for i := 1; i < len(s.bus.codes); i++ {
		if d := s.bus.codes[i] - s.bus.codes[i-1]; d < 1 || d > most {
			s.t.Fatalf("step %d: code %d to %d", i, s.bus.codes[i-1], s.bus.codes[i])
		}
		// Where the ramp would stand by the clock: a code is rounded by half a step.
		by := float64(last) * float64(s.bus.at[i].Sub(e.At)) / float64(over)
		if d := float64(s.bus.codes[i]) - by; d > 0.51 {
			s.t.Fatalf("step %d: code %d where the ramp is at %.1f", i, s.bus.codes[i], by)
		}
	}
}

// latest returns by how much the latest step came late, a step being due when the ramp
// has come to its code.
func (s *supplied) latest(e capture.Event, over time.Duration) time.Duration {
	worst := time.Duration(0)
	last := float64(s.bus.codes[len(s.bus.codes)-1])
	for i, code := range s.bus.codes[1:] {
		due := e.At.Add(time.Duration(float64(code) / last * float64(over)))
		worst = max(worst, s.bus.at[i+1].Sub(due))
	}
	return worst
}

// A fast ramp takes larger steps, 2 ms apart.
func TestMoveSupply_FastRamp(t *testing.T) {
	for _, over := range []time.Duration{time.Second, 3 * time.Millisecond, time.Microsecond} {
		s := openSupplied(t, 400_000, bench.Opts{})
		s.bus.codes, s.bus.at = nil, nil
		e := s.move("ramp-up", bench.Move{To: 13.8, Over: over})
		s.record(over + 20*time.Millisecond)
		steps := max(1, int(over/(2*time.Millisecond)))
		if got := len(s.bus.codes) - 1; got != steps {
			t.Errorf("%v: %d steps, want %d", over, got, steps)
		}
		s.wantSteps(e, over, code13V8, code13V8/steps+1)
		for i := 1; i < len(s.bus.at); i++ {
			if gap := s.bus.at[i].Sub(s.bus.at[i-1]); over >= 4*time.Millisecond && gap < 1800*time.Microsecond {
				t.Fatalf("%v: step %d came %v after the one before", over, i, gap)
			}
		}
	}
}

// A slow ramp down lets go, and a slow ramp up pulls in, at the coil voltages of the
// simulated relay.
func TestMoveSupply_RampFindsTheRelay(t *testing.T) {
	s := openSupplied(t, 400_000, bench.Opts{})
	s.cause("energize")
	s.record(200 * time.Millisecond)
	for _, c := range []struct {
		event  string
		move   bench.Move
		volts  float64
		closed bool
	}{
		{"ramp-down", bench.Move{From: 13.8, To: 0, Over: 14 * time.Second}, s.w.DropOut("K1"), false},
		{"ramp-up", bench.Move{From: 0, To: 13.8, Over: 14 * time.Second}, s.w.PullIn("K1"), true},
	} {
		e := s.move(c.event, c.move)
		s.record(14500 * time.Millisecond)
		var changed capture.Instant
		for _, edge := range s.c.Track("K1_NO").Edges {
			if edge.At > e.At && edge.Closed == c.closed {
				changed = edge.At
				break
			}
		}
		if changed == 0 {
			t.Fatalf("%s: K1_NO has not changed", c.event)
		}
		got := 0.0
		for at, vs := range s.c.Trace("COIL").Blocks(e.At, changed) {
			got = float64(vs[len(at)-1])
		}
		// 1 V a second for the 5 ms of the armature's travel, and the divider.
		if math.Abs(got-c.volts) > 0.03+0.02*c.volts {
			t.Errorf("%s: it changed over at %.3f V, it does at %.3f V", c.event, got, c.volts)
		}
		t.Logf("%s: seen at %.3f V, true is %.3f V", c.event, got, c.volts)
	}
}

// The next change puts an end to a ramp.
func TestMoveSupply_Replaces(t *testing.T) {
	s := openSupplied(t, 400_000, bench.Opts{})
	s.move("ramp-up", bench.Move{From: 0, To: 13.8, Over: 10 * time.Second})
	s.record(time.Second)
	s.move("five", bench.Move{To: 5})
	n := len(s.bus.codes)
	s.record(time.Second)
	if s.code() != code5V || len(s.bus.codes) != n {
		t.Errorf("code %d, %d more writes", s.code(), len(s.bus.codes)-n)
	}
	s.move("nowhere", bench.Move{From: 5, To: 5, Over: time.Second})
	s.record(2 * time.Second)
	if s.code() != code5V || len(s.bus.codes) != n+1 {
		t.Errorf("code %d, %d more writes", s.code(), len(s.bus.codes)-n)
	}
}

// What is not allowed is not written.
func TestMoveSupply_Refuses(t *testing.T) {
	s := openSupplied(t, 400_000, bench.Opts{})
	n := len(s.bus.codes)
	for _, m := range []bench.Move{
		{To: 15.001}, {To: -0.001}, {To: math.NaN()}, {To: math.Inf(1)},
		{From: 16, To: 5, Over: time.Second}, {From: 5, To: 16, Over: time.Second}, {From: math.NaN(), To: 5, Over: time.Second},
		{From: 5, To: 6, Over: -1},
	} {
		if _, err := s.b.MoveSupply(context.Background(), s.c, "x", m); !errors.Is(err, bench.ErrSetup) || !strings.Contains(err.Error(), "event x") {
			t.Errorf("%+v: %v", m, err)
		}
	}
	s.record(time.Second)
	if len(s.bus.codes) != n || len(s.c.Events) != 0 {
		t.Errorf("%d writes, events %+v", len(s.bus.codes)-n, s.c.Events)
	}
	if e := s.move("top", bench.Move{To: 15}); e.Timed != "supply" || s.w.SupplyChip().Volts()*5 > 15 {
		t.Errorf("the highest voltage itself: %+v at %g V", e, s.w.SupplyChip().Volts()*5)
	}
	b, _, _ := open(t, nil, bench.Opts{})
	if _, err := b.MoveSupply(context.Background(), newCapture(t, b), "x", bench.Move{To: 5}); !errors.Is(err, bench.ErrSetup) || !strings.Contains(err.Error(), "has no supply that can be set") {
		t.Errorf("a rig without one: %v", err)
	}
}

// A chip that is silent for a moment is written to again; one that stays so is lost.
// Recording goes on meanwhile.
func TestMoveSupply_BusFailure(t *testing.T) {
	const short, long = 50 * time.Millisecond, time.Minute
	for _, during := range []bool{false, true} {
		for _, lasts := range []time.Duration{short, long} {
			t.Run(fmt.Sprintf("ramp %t, %v", during, lasts), func(t *testing.T) {
				s := openSupplied(t, 400_000, bench.Opts{})
				s.record(100 * time.Millisecond)
				var err error
				silent := func() { s.bus.from, s.bus.to = s.b.Now(), s.b.Now().Add(lasts) }
				if during {
					s.move("ramp", bench.Move{To: 12, Over: time.Second})
					silent()
					err = s.b.Record(context.Background(), s.c, s.b.Now().Add(2*time.Second))
				} else {
					silent()
					_, err = s.b.MoveSupply(context.Background(), s.c, "sag", bench.Move{To: 12})
				}
				n := s.b.Counts()
				if n.BusErrors == 0 || n.MissedConversions != 0 {
					t.Errorf("counts %+v", n)
				}
				if lasts == short {
					if err != nil || s.code() != 2979 {
						t.Errorf("%v, code %d", err, s.code())
					}
					return
				}
				if !errors.Is(err, bench.ErrLost) || !strings.Contains(err.Error(), "supply: MCP4725 at 0x60") {
					t.Errorf("lost for good: %v", err)
				}
				if took := s.b.Now().Sub(s.bus.from); took > time.Second {
					t.Errorf("given up after %v", took)
				}
				if err := s.b.Close(); err == nil || !strings.Contains(err.Error(), "the supply may not be at its rest of 0 V, switch it off") {
					t.Errorf("Close says %v", err)
				}
			})
		}
	}
}

// A supply that does not answer, or does not take its setting, is no rig to open; what
// can be reached is left at rest.
func TestSupply_OpenFails(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(w *sim.World)
		rest  bool
		want  string
	}{
		{"silent", func(w *sim.World) { w.SupplyChip().SetGone(true) }, false, "nothing answers at 0x60"},
		{"busy", func(w *sim.World) {
			if err := w.Bus().Tx(0x60, []byte{0x60, 0x10, 0x00}, nil); err != nil {
				t.Fatal(err)
			}
		}, false, "its EEPROM is being written, by another program"},
	} {
		rig := rigfile.Builtin()[2]
		w, set := worldOf(t, rig, sim.Opts{Seed: 5})
		c.spoil(w)
		if _, err := bench.Open(rig, w.Bus(), set, bench.Opts{}); !errors.Is(err, bench.ErrLost) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// Release may come from any goroutine and while a ramp is under way: no step goes on
// after it.
func TestSupply_Release(t *testing.T) {
	s := openSupplied(t, 400_000, bench.Opts{})
	s.move("ramp-up", bench.Move{From: 5, To: 13.8, Over: 10 * time.Second})
	s.record(time.Second)
	released := make(chan error)
	go func() { released <- s.b.Release() }()
	// The bench goes on until it has come through.
	for waiting := true; waiting; {
		s.record(10 * time.Millisecond)
		select {
		case err := <-released:
			if err != nil {
				t.Fatal(err)
			}
			waiting = false
		default:
		}
	}
	s.record(time.Second)
	if s.code() != 0 {
		t.Errorf("code %d after Release", s.code())
	}
	if n := s.b.Counts(); n.ChipResets != 0 || len(s.c.Unsupplied) > 0 {
		t.Errorf("a release is taken for a reset: %+v, %v", n, s.c.Unsupplied)
	}
	s.move("again", bench.Move{To: 5})
	if s.code() != code5V {
		t.Errorf("code %d when moved again", s.code())
	}
}

// Where everything is released while the supply is moved it goes to its rest, and the move
// says so; one after that is made.
func TestMoveSupply_LetGoOfMeanwhile(t *testing.T) {
	for _, m := range []bench.Move{{To: 5}, {From: 5, To: 13.8, Over: 10 * time.Second}} {
		s := openSupplied(t, 400_000, bench.Opts{})
		s.record(time.Second)
		s.bus.meanwhile = func() {
			released := make(chan error)
			go func() { released <- s.b.Release() }()
			if err := <-released; err != nil {
				t.Error(err)
			}
		}
		_, err := s.b.MoveSupply(context.Background(), s.c, "sag", m)
		if !errors.Is(err, bench.ErrReleased) || errors.Is(err, bench.ErrLost) || !strings.Contains(err.Error(), "event sag: everything has been released") {
			t.Errorf("%+v: %v", m, err)
		}
		s.record(time.Second)
		if s.code() != 0 || len(s.c.Events) > 0 {
			t.Errorf("%+v: code %d, events %+v", m, s.code(), s.c.Events)
		}
		if s.move("again", bench.Move{To: 5}); s.code() != code5V || s.b.Counts() != (capture.Counts{}) {
			t.Errorf("%+v: code %d when moved again, %+v", m, s.code(), s.b.Counts())
		}
	}
}

// Four converters that are followed at their full rate leave the bus time for a ramp at
// its fastest, too: at 400 kHz. At 100 kHz they alone need more than there is.
func TestMoveSupply_RampBesideFourConverters(t *testing.T) {
	rig := fullRig(4, 400_000, ads1x15.ADS1115, wiring.Follow, true)
	rig.Supply = rigfile.Builtin()[2].Supply
	b, _ := openOn(t, rig, sim.Opts{Seed: 11, Relays: []sim.Relay{}})
	c := newCapture(t, b)
	const over = 6 * time.Second // one code every 1.75 ms would be too many: 3,000 steps
	if _, err := b.MoveSupply(context.Background(), c, "ramp", bench.Move{To: 13.8, Over: over}); err != nil {
		t.Fatal(err)
	}
	if err := b.Record(context.Background(), c, b.Now().Add(over)); err != nil {
		t.Fatal(err)
	}
	if n := b.Counts(); n != (capture.Counts{}) {
		t.Errorf("%+v, want nothing counted", n)
	}
	for _, tr := range c.Traces {
		if tr.Len() < 4500 {
			t.Errorf("%s: %d samples", tr.Signal, tr.Len())
		}
	}
}
