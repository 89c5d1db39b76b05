package simchip_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/simchip"
	_ "makebreak/testdata/fixedseed"
)

// The registers, as SBAS444 numbers them.
const (
	conversion = 0
	config     = 1
	low        = 2
	high       = 3
)

// raw is a chip alone on a bus, without a driver.
type raw struct {
	t     testing.TB
	clock *stopwatch
	bus   *simchip.Bus
	chip  *simchip.Chip
}

func newRaw(t testing.TB, opts simchip.Opts, inputs ...simchip.Input) *raw {
	t.Helper()
	r := &raw{t: t, clock: &stopwatch{at: 1e12}}
	r.bus = simchip.NewBus(r.clock, 400_000)
	var in [4]simchip.Input
	copy(in[:], inputs)
	if opts.Model == "" {
		opts.Model = ads1x15.ADS1115
	}
	r.chip = simchip.NewChip(in, opts)
	if err := r.bus.Attach(0x48, r.chip); err != nil {
		t.Fatal(err)
	}
	return r
}

func (r *raw) tx(w, in []byte) {
	r.t.Helper()
	if err := r.bus.Tx(0x48, w, in); err != nil {
		r.t.Fatal(err)
	}
}

// get names a register and reads it.
func (r *raw) get(reg byte) uint16 {
	r.t.Helper()
	var in [2]byte
	r.tx([]byte{reg}, in[:])
	return uint16(in[0])<<8 | uint16(in[1])
}

// again reads the register named last.
func (r *raw) again() uint16 {
	r.t.Helper()
	var in [2]byte
	r.tx(nil, in[:])
	return uint16(in[0])<<8 | uint16(in[1])
}

// set writes a register and returns when the write took effect.
func (r *raw) set(reg byte, v uint16) capture.Instant {
	r.t.Helper()
	r.tx([]byte{reg, byte(v >> 8), byte(v)}, nil)
	return r.clock.at
}

// convert writes a configuration, waits for longer than any conversion lasts and
// returns the code.
func (r *raw) convert(v uint16) uint16 {
	r.t.Helper()
	r.set(config, v)
	r.clock.at = r.clock.at.Add(150 * time.Millisecond)
	return r.get(conversion)
}

func (r *raw) wantRegisters(when string, want [4]uint16) {
	r.t.Helper()
	for reg, w := range want {
		if got := r.get(byte(reg)); got != w {
			r.t.Errorf("%s: register %d holds %04X, want %04X", when, reg, got, w)
		}
	}
}

// Reset values and the general call reset: SBAS444, register map and I2C general
// call.
func TestRegisters_keepAndReset(t *testing.T) {
	r := newRaw(t, simchip.Opts{})
	reset := [4]uint16{0x0000, 0x8583, 0x8000, 0x7FFF}
	r.wantRegisters("after power-up", reset)
	r.set(low, 0x1234)
	r.set(high, 0x5678)
	r.set(config, 0x43E3)
	r.set(conversion, 0x1111)
	r.wantRegisters("after writing", [4]uint16{0x0000, 0xC3E3, 0x1234, 0x5678})
	r.tx([]byte{config, 0x00}, nil)
	r.wantRegisters("after half a write", [4]uint16{0x0000, 0xC3E3, 0x1234, 0x5678})
	if err := r.bus.Tx(0, []byte{0x04}, nil); err != nil {
		t.Fatal(err)
	}
	r.wantRegisters("after another general call", [4]uint16{0x0000, 0xC3E3, 0x1234, 0x5678})
	if err := r.bus.Tx(0, []byte{0x06}, nil); err != nil {
		t.Fatal(err)
	}
	r.wantRegisters("after a general call reset", reset)
}

func TestPointer_stays(t *testing.T) {
	r := newRaw(t, simchip.Opts{})
	if got := r.again(); got != 0x0000 {
		t.Errorf("after power-up %04X is read, want the conversion register", got)
	}
	for _, step := range []struct {
		w    []byte
		want uint16
	}{
		{[]byte{high}, 0x7FFF},
		{[]byte{low, 0x80, 0x01}, 0x8001},
		{[]byte{0xFC | config}, 0x8583}, // only the pointer's two low bits count
	} {
		r.tx(step.w, nil)
		for range 2 {
			if got := r.again(); got != step.want {
				t.Errorf("after writing %X: %04X is read, want %04X", step.w, got, step.want)
			}
		}
	}
	var one [1]byte
	r.tx(nil, one[:])
	var four [4]byte
	r.tx(nil, four[:])
	if one[0] != 0x85 || four != [4]byte{0x85, 0x83, 0xFF, 0xFF} {
		t.Errorf("reads of one and four bytes give %X and %X", one, four)
	}
	var both [2]byte
	r.tx([]byte{low, 0xAB, 0xCD}, both[:])
	if both != [2]byte{0xAB, 0xCD} {
		t.Errorf("a write read back in one transfer gives %X", both)
	}
}

// Multiplexer table of SBAS444. Inputs 2.0, 0.7, 0.2 and -0.1 V at ±4.096 V with
// 125 µV a step.
func TestMux_allSettings(t *testing.T) {
	r := newRaw(t, simchip.Opts{}, steady(2.0), steady(0.7), steady(0.2), steady(-0.1))
	want := [8]float64{1.3, 2.1, 0.8, 0.3, 2.0, 0.7, 0.2, -0.1}
	for mux, volts := range want {
		got := int16(r.convert(0x83E3 | uint16(mux)<<12))
		if want := int16(math.Round(volts / 125e-6)); got != want {
			t.Errorf("multiplexer %d: code %d, want %d", mux, got, want)
		}
	}
}

func TestMux_unconnectedPinIsGround(t *testing.T) {
	r := newRaw(t, simchip.Opts{}, steady(1))
	if a, b := int16(r.convert(0x83E3)), r.convert(0xF3E3); a != 8000 || b != 0 {
		t.Errorf("AIN0 against an unconnected pin %d, an unconnected pin %d; want 8000 and 0", a, b)
	}
}

// Ideal output codes: SBAS444 for the ADS1115, SBAS473 for the ADS1015. The supply
// is high enough for every range.
func TestCodes_dataSheetTable(t *testing.T) {
	ranges := [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}
	for _, m := range []struct {
		model ads1x15.Model
		full  float64
		codes [7]uint16
	}{
		{ads1x15.ADS1115, 1 << 15, [7]uint16{0x7FFF, 0x7FFF, 0x0001, 0x0000, 0xFFFF, 0x8000, 0x8000}},
		{ads1x15.ADS1015, 1 << 11, [7]uint16{0x7FF0, 0x7FF0, 0x0010, 0x0000, 0xFFF0, 0x8000, 0x8000}},
	} {
		var volts float64
		pin := func(_, _ capture.Instant) float64 { return max(volts, 0) }
		minus := func(_, _ capture.Instant) float64 { return max(-volts, 0) }
		r := newRaw(t, simchip.Opts{Model: m.model, SupplyVolts: 7}, pin, minus)
		for code, fs := range ranges {
			inputs := [7]float64{fs * 1.1, fs * (m.full - 1) / m.full, fs / m.full, 0, -fs / m.full, -fs, -fs * 1.1}
			for i := range inputs {
				volts = inputs[i]
				if got := r.convert(0x81E3 | uint16(code)<<9); got != m.codes[i] {
					t.Errorf("%s ±%g V: %g V gives %04X, want %04X", m.model, fs, volts, got, m.codes[i])
				}
			}
		}
	}
}

// Pins clamp at -0.3 V and supply + 0.3 V: absolute maximum ratings of SBAS444.
func TestPin_clamps(t *testing.T) {
	r := newRaw(t, simchip.Opts{}, steady(15), steady(-5))
	if got := int16(r.convert(0xC1E3)); got != 19200 {
		t.Errorf("15 V at ±6.144 V reads %d, want 19200 (3.6 V)", got)
	}
	if got := int16(r.convert(0xD1E3)); got != -1600 {
		t.Errorf("-5 V at ±6.144 V reads %d, want -1600 (-0.3 V)", got)
	}
}

func TestErrors_gainAndOffset(t *testing.T) {
	r := newRaw(t, simchip.Opts{GainError: 0.001, OffsetVolts: -375e-6}, steady(2))
	if got := int16(r.convert(0xC3E3)); got != 16013 {
		t.Errorf("2 V with +0.1 %% and -375 µV reads %d, want 16013", got)
	}
}

// An offset shows at 0 V as well, from the first conversion on, and after other voltages.
func TestErrors_offsetAtZero(t *testing.T) {
	volts := 0.0
	r := newRaw(t, simchip.Opts{OffsetVolts: -375e-6}, func(_, _ capture.Instant) float64 { return volts })
	for i, c := range []struct {
		volts float64
		want  int16
	}{{0, -3}, {2, 15997}, {2, 15997}, {0, -3}, {1, 7997}} {
		volts = c.volts
		if got := int16(r.convert(0xC3E3)); got != c.want {
			t.Errorf("conversion %d: %v V with -375 µV reads %d, want %d", i+1, c.volts, got, c.want)
		}
	}
	if got := int16(r.convert(0xD3E3)); got != -3 {
		t.Errorf("a grounded pin with -375 µV reads %d, want -3", got)
	}
}

// A code is the step next to the voltage, the higher one of two, on both sides of zero.
func TestConvert_nearestStep(t *testing.T) {
	volts := 0.0
	r := newRaw(t, simchip.Opts{}, func(_, _ capture.Instant) float64 { return volts })
	draw := rand.New(rand.NewPCG(1, 0))
	const stepsPerVolt = 8000 // at ±4.096 V
	for i := range 4000 {
		steps := -2400 + 28000*draw.Float64()
		if i%2 == 0 {
			steps = math.Floor(steps) + 0.5
		}
		volts = steps / stepsPerVolt
		want := int16(math.Floor(volts*stepsPerVolt + 0.5))
		if got := int16(r.convert(0xC3E3)); got != want {
			t.Fatalf("%v steps read %d, want %d", steps, got, want)
		}
	}
}

func TestNoise_bySeed(t *testing.T) {
	codes := func(seed uint64) []float64 {
		r := newRaw(t, simchip.Opts{NoiseVolts: 1e-3, Rand: rand.New(rand.NewPCG(seed, 0))}, steady(1))
		r.set(config, 0x42E3)
		var all []float64
		for range 4000 {
			r.clock.at = r.clock.at.Add(1250 * time.Microsecond)
			all = append(all, float64(int16(r.get(conversion)))*125e-6)
		}
		return all
	}
	a := codes(1)
	if !slices.Equal(a, codes(1)) || slices.Equal(a, codes(2)) {
		t.Error("noise does not follow the seed")
	}
	var sum, squares float64
	for _, v := range a {
		sum += v
		squares += (v - 1) * (v - 1)
	}
	n := float64(len(a))
	// Five standard errors: sd/√n of the mean, sd/√2n of the standard deviation.
	if mean := sum / n; math.Abs(mean-1) > 5e-3/math.Sqrt(n) {
		t.Errorf("mean %g V, want 1 V", mean)
	}
	if sd := math.Sqrt(squares / n); math.Abs(sd-1e-3) > 5e-3/math.Sqrt(2*n) {
		t.Errorf("noise %g V, want 1 mV", sd)
	}
}

// A start, a stop and a repeated start take a bit, a byte takes nine (I²C bus
// specification, NXP UM10204). At 400 kHz a bit takes 2.5 µs.
func TestTx_takesItsTimeOnTheBus(t *testing.T) {
	for _, c := range []struct {
		name string
		addr uint16
		w    []byte
		r    int
		bits int
		n    uint64
	}{
		{"write a register", 0x48, []byte{config, 0x43, 0xE3}, 0, 1 + 4*9 + 1, 4},
		{"read again", 0x48, nil, 2, 1 + 3*9 + 1, 3},
		{"read a register", 0x48, []byte{conversion}, 2, 1 + 2*9 + 1 + 3*9 + 1, 5},
		{"write and read", 0x48, []byte{low, 0, 0}, 2, 1 + 4*9 + 1 + 3*9 + 1, 7},
		{"probe", 0x48, nil, 0, 1 + 9 + 1, 1},
		{"nobody there", 0x4A, []byte{conversion}, 2, 1 + 9 + 1, 1},
		{"general call", 0, []byte{6}, 0, 1 + 2*9 + 1, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRaw(t, simchip.Opts{})
			start := r.clock.at
			err := r.bus.Tx(c.addr, c.w, make([]byte, c.r))
			if (err != nil) != (c.addr == 0x4A) {
				t.Errorf("error %v", err)
			}
			if got, want := r.clock.at.Sub(start), time.Duration(c.bits)*2500; got != want {
				t.Errorf("takes %v, want %v", got, want)
			}
			if r.bus.Transfers != 1 || r.bus.Bytes != c.n {
				t.Errorf("%d transfers, %d bytes; want 1 and %d", r.bus.Transfers, r.bus.Bytes, c.n)
			}
		})
	}
}

func TestBus_speedAndAddresses(t *testing.T) {
	r := newRaw(t, simchip.Opts{})
	if err := r.bus.SetSpeed(100 * physic.KiloHertz); err != nil {
		t.Fatal(err)
	}
	start := r.clock.at
	r.again()
	if got := r.clock.at.Sub(start); got != 290*time.Microsecond {
		t.Errorf("29 bits at 100 kHz take %v", got)
	}
	if want := "simulated I²C bus (100000 Hz)"; r.bus.String() != want {
		t.Errorf("the bus is called %q, want %q", r.bus, want)
	}
	for _, f := range []physic.Frequency{0, -physic.Hertz, 5 * physic.MegaHertz} {
		if err := r.bus.SetSpeed(f); err == nil {
			t.Errorf("a bus clock of %v was accepted", f)
		}
	}
	for _, addr := range []uint16{0, 0x47, 0x4C} {
		if err := r.bus.Attach(addr, r.chip); err == nil || !strings.Contains(err.Error(), "0x48") {
			t.Errorf("attached to %#02x: %v", addr, err)
		}
	}
	for _, addr := range []uint16{0x47, 0x49, 0x4C} {
		if err := r.bus.Tx(addr, []byte{0}, nil); !errors.Is(err, simchip.ErrNAK) {
			t.Errorf("address %#02x: error %v, want no acknowledge", addr, err)
		}
	}
}

// Single-shot: SBAS444, 25 µs to power up and then 1/rate; OS.
func TestSingleShot_timing(t *testing.T) {
	r := newRaw(t, simchip.Opts{Oscillator: 0.05}, steady(1))
	start := r.set(config, 0xC3E3)
	end := start.Add(25*time.Microsecond + time.Duration(math.Round(1.05e9/860)))
	if got := r.get(config); got != 0x43E3 {
		t.Errorf("while converting the configuration reads %04X, want OS 0", got)
	}
	// Written again meanwhile: starts nothing, and the time does not start anew. The
	// new input waits for the next conversion.
	r.set(config, 0xD3E3)
	r.clock.at = end - 1
	r.chip.Settle(r.clock.at)
	if r.chip.Ready() != 0 {
		t.Error("a conversion ended early")
	}
	r.clock.at = end
	r.chip.Settle(r.clock.at)
	if r.chip.Ready() != 1 {
		t.Error("no conversion ended when it should have")
	}
	if got := r.get(config); got != 0xD3E3 {
		t.Errorf("after the conversion the configuration reads %04X, want OS 1", got)
	}
	if got := r.get(conversion); got != 8000 {
		t.Errorf("code %d, want 8000: the conversion keeps the input that it started with", got)
	}
	r.clock.at = r.clock.at.Add(time.Second)
	if r.get(conversion); r.chip.Ready() != 1 {
		t.Errorf("%d conversions, want 1", r.chip.Ready())
	}
	r.set(config, 0x43E3)
	r.clock.at = r.clock.at.Add(time.Second)
	if r.get(conversion); r.chip.Ready() != 1 {
		t.Error("power-down without OS started a conversion")
	}
}

// Continuous mode: SBAS444, a configuration written meanwhile takes effect once the
// running conversion has ended.
func TestContinuous_changeOfSettings(t *testing.T) {
	r := newRaw(t, simchip.Opts{}, steady(1), steady(2))
	start := r.set(config, 0x42E3)
	if got := r.get(config); got != 0x42E3 {
		t.Errorf("the configuration reads %04X, want OS 0", got)
	}
	const period = 1e9 / 860.0
	end := func(k int) capture.Instant { return start + 25_000 + capture.Instant(math.Round(float64(k)*period)) }
	for _, k := range []int{1, 2, 100, 10_000, 1_000_000} {
		r.clock.at = end(k) - 1
		r.chip.Settle(r.clock.at)
		if got := r.chip.Ready(); got != uint64(k-1) {
			t.Fatalf("%d conversions before the end of number %d", got, k)
		}
		r.clock.at = end(k)
		r.chip.Settle(r.clock.at)
		if got := r.chip.Ready(); got != uint64(k) {
			t.Fatalf("%d conversions at the end of number %d", got, k)
		}
	}
	// On to AIN1 at 8/s.
	r.set(config, 0x5203)
	r.clock.at = end(1_000_001)
	if got := r.get(conversion); got != 8000 {
		t.Errorf("the running conversion gives %d, want 8000", got)
	}
	done := r.chip.Ready()
	r.chip.Settle(end(1_000_001) + 125e6 - 1)
	if r.chip.Ready() != done {
		t.Error("the first conversion at 8/s ended early")
	}
	r.clock.at = end(1_000_001) + 125e6 - 200_000
	if got := r.get(conversion); got != 8000 {
		t.Errorf("before the first one at 8/s has ended %d is read, want 8000", got)
	}
	r.clock.at = end(1_000_001) + 125e6
	r.chip.Settle(r.clock.at)
	if r.chip.Ready() != done+1 {
		t.Error("the first conversion at 8/s ended late")
	}
	if got := r.get(conversion); got != 16000 {
		t.Errorf("the first one at 8/s gives %d, want 16000", got)
	}
	// Power-down takes effect in the same way.
	done = r.chip.Ready()
	r.set(config, 0x4303)
	r.clock.at = r.clock.at.Add(time.Second)
	if got := r.get(config); got != 0xC303 || r.chip.Ready() != done+1 {
		t.Errorf("a second after power-down: configuration %04X, %d more conversions", got, r.chip.Ready()-done)
	}
}

// A write takes effect when it ends: a conversion of the chain that begins during
// the transfer still has the old settings.
func TestContinuous_writeAcrossAnEnd(t *testing.T) {
	r := newRaw(t, simchip.Opts{}, steady(1), steady(2))
	start := r.set(config, 0x42E3)
	r.clock.at = start.Add(25*time.Microsecond + 1162791*time.Nanosecond - 50*time.Microsecond)
	r.set(config, 0x53E3)
	r.clock.at = r.clock.at.Add(time.Second)
	if got := r.get(conversion); got != 8000 || r.chip.Ready() != 2 {
		t.Errorf("code %d after %d conversions, want 8000 after 2", got, r.chip.Ready())
	}
}

// A conversion that ends while its register is on its way is not seen in it; one
// that ends before the chip has acknowledged its address is.
func TestRead_latchesAfterTheAddress(t *testing.T) {
	for _, c := range []struct {
		name string
		lead time.Duration // from the start of the transfer to the conversion's end
		want uint16
	}{
		{"before", 0, 8000},
		{"in the address", 24 * time.Microsecond, 8000},
		{"with its acknowledge", 25 * time.Microsecond, 8000},
		{"in the data", 26 * time.Microsecond, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRaw(t, simchip.Opts{}, steady(1))
			r.tx([]byte{conversion}, nil)
			r.set(high, 0x8000)
			r.set(low, 0x0000)
			r.set(config, 0xC3E0)
			r.tx([]byte{conversion}, nil)
			end, ok := r.chip.NextReady()
			if !ok {
				t.Fatal("no conversion runs")
			}
			r.clock.at = end.Add(-c.lead)
			if got := r.again(); got != c.want {
				t.Errorf("%d is read, want %d", got, c.want)
			}
		})
	}
}

func TestInputs_areAskedOnlyForWhatIsRead(t *testing.T) {
	var asked []time.Duration
	in := func(from, to capture.Instant) float64 {
		asked = append(asked, to.Sub(from))
		return 1
	}
	r := newRaw(t, simchip.Opts{}, in)
	r.set(config, 0x42E3)
	r.clock.at = r.clock.at.Add(time.Minute)
	r.chip.Settle(r.clock.at)
	if len(asked) != 0 {
		t.Errorf("the input was asked %d times before any reading", len(asked))
	}
	if oldest := r.clock.at.Sub(r.chip.Oldest(r.clock.at)); oldest < 1162790*time.Nanosecond || oldest > 2*1162791*time.Nanosecond {
		t.Errorf("the inputs have to be known %v back, want one to two periods", oldest)
	}
	r.get(conversion)
	r.again()
	if len(asked) != 1 || asked[0].Round(time.Microsecond) != 1163*time.Microsecond {
		t.Errorf("two readings of one conversion asked the input for %v", asked)
	}
	r.clock.at = r.clock.at.Add(2 * time.Millisecond)
	r.chip.Settle(r.clock.at)
	r.chip.Latch()
	if r.again(); len(asked) != 2 {
		t.Errorf("after latching, the input was asked %d times, want 2", len(asked))
	}
}

// The ready function: SBAS444, conversion ready pin.
func TestReadyPin(t *testing.T) {
	for _, c := range []struct {
		name              string
		low, high, config uint16
		on, activeHigh    bool
	}{
		{"on", 0x0000, 0x8000, 0x42E0, true, false},
		{"on, active high", 0x0000, 0x8000, 0x42E8, true, true},
		{"on, queue of four", 0x7FFF, 0xFFFF, 0x42E2, true, false},
		{"queue off", 0x0000, 0x8000, 0x42E3, false, false},
		{"low threshold's top bit", 0x8000, 0x8000, 0x42E0, false, false},
		{"high threshold's top bit", 0x0000, 0x7FFF, 0x42E0, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRaw(t, simchip.Opts{})
			r.set(low, c.low)
			r.set(high, c.high)
			if _, ok := r.chip.NextReady(); ok {
				t.Error("ready will assert though nothing converts")
			}
			start := r.set(config, c.config)
			end, ok := r.chip.NextReady()
			if ok != c.on {
				t.Fatalf("ready will assert: %v, want %v", ok, c.on)
			}
			if !c.on {
				r.clock.at = r.clock.at.Add(1163 * time.Microsecond)
				r.chip.Settle(r.clock.at)
				if !r.chip.Pin(r.clock.at) {
					t.Error("the pin is pulled low without the ready function")
				}
				return
			}
			if got := end.Sub(start); got != 1187791*time.Nanosecond {
				t.Errorf("first assertion after %v, want 25 µs and 1/860 s", got)
			}
			for _, at := range []capture.Instant{end - 1, end, end + 7_999, end + 8_000} {
				r.chip.Settle(at)
				asserted := at == end || at == end+7_999
				if got := r.chip.Pin(at); got != (asserted == c.activeHigh) {
					t.Errorf("%v after the end the pin is high: %v", at.Sub(end), got)
				}
			}
		})
	}
}

func TestReadyPin_singleShotStaysAsserted(t *testing.T) {
	r := newRaw(t, simchip.Opts{})
	r.set(low, 0x0000)
	r.set(high, 0x8000)
	if at := r.set(config, 0x43E0); !r.chip.Pin(at) {
		t.Error("asserted before any conversion")
	}
	for range 2 {
		at := r.set(config, 0xC3E0)
		if !r.chip.Pin(at) {
			t.Error("asserted while converting")
		}
		end, _ := r.chip.NextReady()
		r.clock.at = end.Add(time.Second)
		r.chip.Settle(r.clock.at)
		if r.chip.Pin(r.clock.at) {
			t.Error("released a second after the conversion, before the next")
		}
	}
}

func TestFaults(t *testing.T) {
	in := make([]byte, 2)
	t.Run("not acknowledged", func(t *testing.T) {
		r := newRaw(t, simchip.Opts{})
		r.bus.NAKNext(2)
		for i := range 4 {
			if err := r.bus.Tx(0x48, []byte{config}, in); errors.Is(err, simchip.ErrNAK) != (i < 2) {
				t.Errorf("transfer %d: error %v", i, err)
			}
		}
	})
	t.Run("every third", func(t *testing.T) {
		r := newRaw(t, simchip.Opts{})
		r.bus.NAKEvery(3)
		for i := range 9 {
			if err := r.bus.Tx(0x48, []byte{config}, in); errors.Is(err, simchip.ErrNAK) != (i%3 == 2) {
				t.Errorf("transfer %d: error %v", i, err)
			}
		}
		r.bus.NAKEvery(0)
		for range 3 {
			r.get(config)
		}
	})
	t.Run("cut", func(t *testing.T) {
		r := newRaw(t, simchip.Opts{})
		r.bus.CutNext(1)
		if err := r.bus.Tx(0x48, []byte{low, 0x12, 0x34}, nil); !errors.Is(err, simchip.ErrCut) {
			t.Errorf("error %v", err)
		}
		if got := r.again(); got != 0x1234 {
			t.Errorf("the chip holds %04X, want what was written", got)
		}
		r.bus.CutNext(2)
		if err := r.bus.Tx(0x4B, nil, in); !errors.Is(err, simchip.ErrNAK) {
			t.Errorf("cut where no chip is: error %v", err)
		}
		if err := r.bus.Tx(0x48, []byte{low}, in); !errors.Is(err, simchip.ErrCut) || in[0] != 0 {
			t.Errorf("cut reading: error %v, bytes %X", err, in)
		}
	})
	t.Run("stuck", func(t *testing.T) {
		r := newRaw(t, simchip.Opts{})
		start := r.clock.at
		r.bus.Stick(start, start.Add(1500*time.Millisecond))
		for range 2 {
			if err := r.bus.Tx(0x48, []byte{config}, in); !errors.Is(err, simchip.ErrTimeout) {
				t.Errorf("error %v", err)
			}
		}
		if got := r.clock.at.Sub(start); got != 2*time.Second {
			t.Errorf("two transfers on a stuck bus took %v, want 2 s", got)
		}
		if got := r.get(config); got != 0x8583 {
			t.Errorf("after the bus came back %04X is read", got)
		}
	})
	t.Run("detached", func(t *testing.T) {
		r := newRaw(t, simchip.Opts{})
		r.bus.Detach(0x48)
		if err := r.bus.Tx(0x48, nil, in); !errors.Is(err, simchip.ErrNAK) {
			t.Errorf("error %v", err)
		}
		if err := r.bus.Tx(0, []byte{6}, nil); !errors.Is(err, simchip.ErrNAK) {
			t.Errorf("general call on an empty bus: error %v", err)
		}
		r.bus.Detach(0x10)
	})
	t.Run("lost", func(t *testing.T) {
		r := newRaw(t, simchip.Opts{})
		r.set(low, 0)
		r.set(high, 0x8000)
		r.set(config, 0x42E0)
		r.chip.LoseAt(r.clock.at.Add(10 * time.Millisecond))
		r.clock.at = r.clock.at.Add(time.Second)
		if err := r.bus.Tx(0x48, []byte{conversion}, in); !errors.Is(err, simchip.ErrNAK) {
			t.Errorf("error %v", err)
		}
		if r.chip.Ready() != 8 {
			t.Errorf("%d conversions in 10 ms, want 8", r.chip.Ready())
		}
		if at, ok := r.chip.NextReady(); ok || !r.chip.Pin(r.clock.at) {
			t.Errorf("a lost chip will assert its ready pin at %v", at)
		}
	})
	t.Run("reset", func(t *testing.T) {
		r := newRaw(t, simchip.Opts{}, steady(1))
		r.set(low, 0)
		r.set(high, 0x8000)
		r.set(config, 0x42E0)
		end, _ := r.chip.NextReady()
		r.chip.ResetAt(end - 1)
		if at, ok := r.chip.NextReady(); ok {
			t.Errorf("the reset comes first, yet ready will assert at %v", at)
		}
		r.clock.at = end
		r.wantRegisters("after the reset", [4]uint16{0, 0x8583, 0x8000, 0x7FFF})
	})
	t.Run("flipped", func(t *testing.T) {
		r := newRaw(t, simchip.Opts{}, steady(1))
		r.convert(0xC3E3)
		r.chip.FlipNext(1 << 14)
		if a, b := r.again(), r.again(); a != 8000^1<<14 || b != 8000 {
			t.Errorf("read %d, then %d", a, b)
		}
	})
}

// A chip that is only looked at when somebody speaks to it behaves as one that is
// settled all the time.
func TestSettle_lazyIsEager(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		osc := rapid.Float64Range(-0.1, 0.1).Draw(rt, "oscillator")
		ramp := func(from, to capture.Instant) float64 { return float64(from/2+to/2-1e12) * 2e-10 }
		reset := capture.Instant(1e12 + rapid.Int64Range(0, 1e9).Draw(rt, "reset"))
		lazy := newRaw(t, simchip.Opts{Oscillator: osc}, ramp)
		eager := newRaw(t, simchip.Opts{Oscillator: osc}, ramp)
		lazy.chip.ResetAt(reset)
		eager.chip.ResetAt(reset)
		rt.Repeat(map[string]func(*rapid.T){
			"wait": func(rt *rapid.T) {
				d := time.Duration(rapid.Int64Range(1, 50e6).Draw(rt, "wait"))
				for range 64 {
					eager.clock.at = eager.clock.at.Add(d)
					eager.chip.Settle(eager.clock.at)
					eager.chip.Latch()
				}
				lazy.clock.at = lazy.clock.at.Add(64 * d)
			},
			"write": func(rt *rapid.T) {
				reg := rapid.SampledFrom([]byte{config, config, low, high}).Draw(rt, "register")
				v := rapid.Uint16().Draw(rt, "value")
				lazy.set(reg, v)
				eager.set(reg, v)
			},
			"read": func(rt *rapid.T) {
				reg := rapid.SampledFrom([]byte{conversion, conversion, config}).Draw(rt, "register")
				if a, b := lazy.get(reg), eager.get(reg); a != b {
					rt.Fatalf("register %d: lazy %04X, eager %04X", reg, a, b)
				}
			},
			"": func(rt *rapid.T) {
				lazy.chip.Settle(lazy.clock.at)
				eager.chip.Settle(eager.clock.at)
				if a, b := lazy.chip.Ready(), eager.chip.Ready(); a != b {
					rt.Fatalf("conversions: lazy %d, eager %d", a, b)
				}
				at, ok := lazy.chip.NextReady()
				if bt, bok := eager.chip.NextReady(); at != bt || ok != bok {
					rt.Fatalf("next ready: lazy %d %v, eager %d %v", at, ok, bt, bok)
				}
				if ok && at <= lazy.clock.at {
					rt.Fatalf("next ready lies %v back", lazy.clock.at.Sub(at))
				}
			},
		})
	})
}
