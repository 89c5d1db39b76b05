package ads1x15

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
)

// play returns a driver on a bus that plays the transfers back byte by byte, and
// checks at the end of the test that all of them took place.
func play(t *testing.T, opts Opts, ops ...i2ctest.IO) *Dev {
	t.Helper()
	bus := &i2ctest.Playback{Ops: ops, DontPanic: true}
	d, err := New(bus, 0x48, &opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := bus.Close(); err != nil {
			t.Error(err)
		}
		// The playback refuses a transfer that it does not expect, and a retry could
		// make up for that.
		if d.Counts() != 0 {
			t.Errorf("%d transfers were not as expected", d.Counts())
		}
	})
	return d
}

func wrote(b ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x48, W: b} }

func asked(reg byte, r ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x48, W: []byte{reg}, R: r} }

func again(r ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x48, R: r} }

func TestNew_options(t *testing.T) {
	for name, c := range map[string]struct {
		addr   uint16
		change func(*Opts)
		want   string
	}{
		"fast":            {0x48, func(o *Opts) { o.Model, o.Rate = ADS1015, 3300 }, ""},
		"last address":    {0x4B, func(o *Opts) {}, ""},
		"range from text": {0x48, func(o *Opts) { o.Range = 4096 * 0.001 }, ""},
		"no retries":      {0x48, func(o *Opts) { o.Retries = 0 }, ""},
		"address below":   {0x47, func(o *Opts) {}, "address 0x47: use one of: 0x48, 0x49, 0x4a, 0x4b"},
		"address above":   {0x4C, func(o *Opts) {}, "address 0x4c: use one of: 0x48, 0x49, 0x4a, 0x4b"},
		"model":           {0x48, func(o *Opts) { o.Model = "" }, `model "": use one of: ADS1115, ADS1015`},
		"range": {0x48, func(o *Opts) { o.Range = 5 },
			"range ±5 V: use one of, in ± volts: 6.144, 4.096, 2.048, 1.024, 0.512, 0.256"},
		"rate of the other model": {0x48, func(o *Opts) { o.Rate = 3300 },
			"rate 3300/s: on the ADS1115 use one of: 8, 16, 32, 64, 128, 250, 475, 860"},
		"rate of the other model too": {0x48, func(o *Opts) { o.Model = ADS1015 },
			"rate 860/s: on the ADS1015 use one of: 128, 250, 490, 920, 1600, 2400, 3300"},
		"retries below": {0x48, func(o *Opts) { o.Retries = -1 }, "-1 retries: must be from 0 to 100"},
		"retries above": {0x48, func(o *Opts) { o.Retries = 101 }, "101 retries: must be from 0 to 100"},
	} {
		t.Run(name, func(t *testing.T) {
			bus := &i2ctest.Playback{DontPanic: true}
			opts := DefaultOpts
			c.change(&opts)
			d, err := New(bus, c.addr, &opts)
			if c.want == "" {
				if err != nil || d == nil {
					t.Fatalf("refused: %v", err)
				}
				return
			}
			if err == nil || err.Error() != c.want {
				t.Errorf("error %q, want %q", err, c.want)
			}
			if d != nil {
				t.Error("a driver came with the error")
			}
		})
	}
	if _, err := New(nil, 0x48, &DefaultOpts); err == nil {
		t.Error("no bus was accepted")
	}
	if _, err := New(&i2ctest.Playback{}, 0x48, nil); err == nil || !strings.Contains(err.Error(), "DefaultOpts") {
		t.Errorf("no options: error %v", err)
	}
}

func TestIdentify(t *testing.T) {
	d := play(t, DefaultOpts,
		asked(0, 0x00, 0x00), asked(1, 0x85, 0x83), asked(2, 0x80, 0x00), asked(3, 0x7F, 0xFF),
		asked(0, 0x12, 0x34),
		asked(0, 0x12, 0x34), asked(1, 0x43, 0xE3), asked(2, 0x80, 0x00), asked(3, 0x7F, 0xFF))
	// The reset values are those of SBAS444.
	id, err := d.Identify()
	if err != nil || !id.AtReset() {
		t.Errorf("a chip just powered up: %v, at reset %v, error %v", id, id.AtReset(), err)
	}
	// Every register is named, whatever was read before.
	if code, err := d.Read(); code != 0x1234 || err != nil {
		t.Errorf("code %04X, error %v", code, err)
	}
	id, err = d.Identify()
	if err != nil || id.AtReset() {
		t.Errorf("a chip set up before: %v, at reset %v, error %v", id, id.AtReset(), err)
	}
	if want := "conversion 1234h, configuration 43E3h, thresholds 8000h and 7FFFh"; id.String() != want {
		t.Errorf("identity reads %q, want %q", id, want)
	}
}

// The other chip's registers are those of a temperature sensor of the LM75 kind, which
// can have the same addresses (from memory).
func TestIdentity_Models(t *testing.T) {
	both, one := []Model{ADS1115, ADS1015}, []Model{ADS1115}
	for name, c := range map[string]struct {
		id   Identity
		want []Model
	}{
		"powered up":        {Identity{0, ResetConfig, ResetLow, ResetHigh}, both},
		"set up, polled":    {Identity{0x4C88, 0xC3E3, ResetLow, ResetHigh}, one},
		"set up, ready":     {Identity{0x6720, 0x42E0, readyLow, readyHigh}, both},
		"below ground":      {Identity{0xFFFE, 0xC3E3, ResetLow, ResetHigh}, one},
		"another chip":      {Identity{0x1980, 0x00FF, 0x4B00, 0x5000}, nil},
		"nothing drives":    {Identity{0xFFFF, 0xFFFF, 0xFFFF, 0xFFFF}, nil},
		"always the same":   {Identity{0x8000, 0x8000, 0x8000, 0x8000}, nil},
		"comparator in use": {Identity{0x4C88, 0x42E0, 0x1000, 0x2000}, nil},
	} {
		if got := c.id.Models(); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

func TestSetup_polled(t *testing.T) {
	d := play(t, DefaultOpts, wrote(1, 0x43, 0xE3))
	if err := d.Setup(); err != nil {
		t.Error(err)
	}
}

func TestSetup_readyPin(t *testing.T) {
	opts := DefaultOpts
	opts.Ready = true
	d := play(t, opts, wrote(2, 0x00, 0x00), wrote(3, 0x80, 0x00), wrote(1, 0x43, 0xE0), wrote(1, 0x42, 0xE0), wrote(1, 0x43, 0xE0))
	for _, step := range []func() error{d.Setup, func() error { return d.Follow(0) }, d.Halt} {
		if err := step(); err != nil {
			t.Error(err)
		}
	}
}

func TestStart_thenPollThenRead(t *testing.T) {
	d := play(t, DefaultOpts,
		wrote(1, 0xE3, 0xE3), // AIN2 against ground
		again(0x63, 0xE3),    // busy; the pointer is on the register already
		again(0xE3, 0xE3),    // finished
		asked(0, 0x4C, 0x88), // the conversion has to be named
		wrote(1, 0xF3, 0xE3), // next channel
		asked(0, 0xFF, 0xFE), // read without asking first
		asked(1, 0xF3, 0xE3)) // the pointer is on the conversion
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(d.Start(2))
	for _, want := range []bool{true, false} {
		busy, err := d.Busy()
		must(err)
		if busy != want {
			t.Errorf("busy %v, want %v", busy, want)
		}
	}
	code, err := d.Read()
	must(err)
	if code != 19592 || d.Volts(code) != 2.449 {
		t.Errorf("code %d is %g V, want 19592 and 2.449 V", code, d.Volts(code))
	}
	must(d.Start(3))
	code, err = d.Read()
	must(err)
	if code != -2 {
		t.Errorf("code %d, want -2", code)
	}
	if busy, err := d.Busy(); busy || err != nil {
		t.Errorf("busy %v, error %v", busy, err)
	}
}

func TestFollow_readsTwoBytesASample(t *testing.T) {
	opts := Opts{Model: ADS1015, Range: 4.096, Rate: 3300, Ready: true}
	d := play(t, opts, wrote(1, 0x52, 0xC0), asked(0, 0x67, 0x20), again(0x67, 0x30), again(0x7F, 0xF0))
	if err := d.Follow(1); err != nil {
		t.Fatal(err)
	}
	for _, want := range []float64{3.3, 3.302, 4.094} {
		code, err := d.Read()
		if err != nil || math.Abs(d.Volts(code)-want) > 1e-12 {
			t.Errorf("%g V, error %v; want %g V", d.Volts(code), err, want)
		}
		if d.Clipped(code) != (want == 4.094) {
			t.Errorf("%g V: clipped %v", want, d.Clipped(code))
		}
	}
	if d.StepVolts() != 0.002 {
		t.Errorf("step %g V, want 2 mV", d.StepVolts())
	}
}

func TestReread_namesTheRegister(t *testing.T) {
	d := play(t, DefaultOpts, asked(0, 0x4C, 0x88), again(0x4C, 0x88), asked(0, 0x4C, 0x88))
	for i, read := range []func() (int16, error){d.Read, d.Read, d.Reread} {
		if code, err := read(); code != 19592 || err != nil {
			t.Errorf("reading %d: code %d, error %v", i, code, err)
		}
	}
}

func TestVerify(t *testing.T) {
	ready := DefaultOpts
	ready.Ready = true
	setup := []i2ctest.IO{wrote(2, 0x00, 0x00), wrote(3, 0x80, 0x00), wrote(1, 0x43, 0xE0)}
	for name, c := range map[string]struct {
		opts Opts
		ops  []i2ctest.IO
		want string
	}{
		"as written": {DefaultOpts, []i2ctest.IO{wrote(1, 0x43, 0xE3), asked(1, 0xC3, 0xE3)}, ""},
		"reset": {DefaultOpts, []i2ctest.IO{wrote(1, 0x43, 0xE3), asked(1, 0x85, 0x83)},
			"configuration reads 0583h, written was 43E3h"},
		"ready as written": {ready, append(setup[:3:3], asked(1, 0xC3, 0xE0), asked(2, 0, 0), asked(3, 0x80, 0)), ""},
		"low threshold lost": {ready, append(setup[:3:3], asked(1, 0xC3, 0xE0), asked(2, 0x80, 0)),
			"low threshold reads 8000h, written was 0000h"},
		"high threshold lost": {ready, append(setup[:3:3], asked(1, 0xC3, 0xE0), asked(2, 0, 0), asked(3, 0x7F, 0xFF)),
			"high threshold reads 7FFFh, written was 8000h"},
	} {
		t.Run(name, func(t *testing.T) {
			d := play(t, c.opts, c.ops...)
			if err := d.Setup(); err != nil {
				t.Fatal(err)
			}
			err := d.Verify()
			if c.want == "" {
				if err != nil {
					t.Error(err)
				}
				return
			}
			if !errors.Is(err, ErrReset) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want %q", err, c.want)
			}
		})
	}
	if err := play(t, DefaultOpts).Verify(); err != nil {
		t.Errorf("nothing written yet: %v", err)
	}
}

func TestBusy_beforeAnythingWasWritten(t *testing.T) {
	d := play(t, DefaultOpts, asked(1, 0x85, 0x83), again(0x05, 0x83))
	for _, want := range []bool{false, true} {
		if busy, err := d.Busy(); busy != want || err != nil {
			t.Errorf("busy %v, error %v; want %v", busy, err, want)
		}
	}
}

func TestBusy_reset(t *testing.T) {
	d := play(t, DefaultOpts, wrote(1, 0xC3, 0xE3), again(0x85, 0x83))
	if err := d.Start(0); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Busy(); !errors.Is(err, ErrReset) {
		t.Errorf("error %v, want ErrReset", err)
	}
}

func TestChannel_refused(t *testing.T) {
	d := play(t, DefaultOpts)
	for _, channel := range []int{-1, 4} {
		if err := d.Start(channel); err == nil || !strings.Contains(err.Error(), "must be from 0 to 3") {
			t.Errorf("Start(%d): %v", channel, err)
		}
		if err := d.Follow(channel); err == nil || !strings.Contains(err.Error(), "must be from 0 to 3") {
			t.Errorf("Follow(%d): %v", channel, err)
		}
	}
}

// flaky fails the transfers whose number, from 1, is in the set, and answers reads
// with 1234h. It notes what was written.
type flaky struct {
	fails map[int]bool
	n     int
	log   [][]byte
}

var errWire = errors.New("wire came off")

func (f *flaky) String() string                  { return "flaky" }
func (f *flaky) SetSpeed(physic.Frequency) error { return nil }
func (f *flaky) Tx(_ uint16, w, r []byte) error {
	f.n++
	f.log = append(f.log, append([]byte(nil), w...))
	if f.fails[f.n] {
		return errWire
	}
	if len(r) == 2 {
		r[0], r[1] = 0x12, 0x34
	}
	return nil
}

func TestRetry_namesTheRegisterAgain(t *testing.T) {
	bus := &flaky{fails: map[int]bool{2: true}}
	d, err := New(bus, 0x49, &DefaultOpts)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if code, err := d.Read(); code != 0x1234 || err != nil {
			t.Fatalf("code %d, error %v", code, err)
		}
	}
	// The second read needs no pointer, its repetition does.
	if len(bus.log) != 3 || len(bus.log[0]) != 1 || len(bus.log[1]) != 0 || len(bus.log[2]) != 1 {
		t.Errorf("written: %v, want a pointer, nothing, a pointer", bus.log)
	}
	if d.Counts() != 1 {
		t.Errorf("%d bus errors, want 1", d.Counts())
	}
}

func TestRetry_givesUp(t *testing.T) {
	bus := &flaky{fails: map[int]bool{1: true, 2: true, 3: true, 4: true}}
	d, err := New(bus, 0x49, &DefaultOpts)
	if err != nil {
		t.Fatal(err)
	}
	err = d.Start(2)
	want := "ADS1115 at 0x49: cannot start a conversion of channel 2: given up at attempt 4: wire came off"
	if !errors.Is(err, errWire) || err.Error() != want {
		t.Errorf("error %q, want %q", err, want)
	}
	if bus.n != 4 || d.Counts() != 4 {
		t.Errorf("%d transfers, %d counted, want 4", bus.n, d.Counts())
	}
	if err := d.Start(2); err != nil {
		t.Errorf("the next attempt: %v", err)
	}
}

// steady answers everything and costs nothing.
type steady struct{}

func (steady) String() string                  { return "steady" }
func (steady) SetSpeed(physic.Frequency) error { return nil }
func (steady) Tx(_ uint16, _, r []byte) error {
	if len(r) == 2 {
		r[0], r[1] = 0xC3, 0xE3
	}
	return nil
}

func TestHotPath_doesNotAllocate(t *testing.T) {
	d, err := New(steady{}, 0x48, &DefaultOpts)
	if err != nil {
		t.Fatal(err)
	}
	n := testing.AllocsPerRun(100, func() {
		_ = d.Start(0)
		_, _ = d.Busy()
		_, _ = d.Read()
	})
	if n != 0 {
		t.Errorf("%g allocations a sample", n)
	}
}

func BenchmarkStartBusyRead(b *testing.B) {
	d, err := New(steady{}, 0x48, &DefaultOpts)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		_ = d.Start(0)
		_, _ = d.Busy()
		_, _ = d.Read()
	}
}

func BenchmarkRead(b *testing.B) {
	d, err := New(steady{}, 0x48, &DefaultOpts)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		_, _ = d.Read()
	}
}
