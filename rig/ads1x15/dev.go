package ads1x15

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// ErrReset says that the chip does not hold the configuration that was written:
// it has lost its supply for a moment, or something else on the bus wrote to it.
var ErrReset = errors.New("the chip has lost its settings")

// The addresses that a chip can be strapped to: its ADDR pin to ground, supply,
// SDA or SCL, in this order.
const (
	FirstAddress uint16 = 0x48
	LastAddress  uint16 = 0x4B
)

// mostRetries keeps a dead chip from stopping everything else for long.
const mostRetries = 100

// Opts are a chip's settings.
type Opts struct {
	Model Model
	Range float64 // full scale, ± volts
	Rate  int     // conversions a second
	// Ready says that the ALERT/RDY pin is wired: the chip is set up to report
	// each finished conversion there, low while active.
	Ready bool
	// Retries is how often a failed transfer is tried again.
	Retries int
}

// DefaultOpts suits an output behind a divider that brings it below 4 V.
var DefaultOpts = Opts{Model: ADS1115, Range: 4.096, Rate: 860, Retries: 3}

// Dev is one chip. It belongs to one goroutine.
type Dev struct {
	bus  i2c.Bus
	addr uint16
	opts Opts

	base    uint16  // configuration without OS, inputs and mode
	wrote   uint16  // configuration written last, without OS
	known   bool    // wrote is what the chip should hold
	scale   float64 // volts a code
	pointer byte    // register addressed, or unknown
	errors  uint64

	w [3]byte
	r [2]byte
}

// unknown stands for the register addressed after a failed transfer.
const unknown = 0xFF

const (
	bitOS     = 1 << 15
	bitSingle = 1 << 8
	shiftMux  = 12
)

// New returns the driver of the chip at a 7 bit address. It checks the options
// and leaves the bus alone.
func New(bus i2c.Bus, addr uint16, opts *Opts) (*Dev, error) {
	if bus == nil {
		return nil, problem.New(problem.Internal, "no I²C bus given")
	}
	if opts == nil {
		return nil, problem.New(problem.Internal, "no options given: use DefaultOpts or options of your own")
	}
	if err := check(addr, opts); err != nil {
		return nil, problem.Of(problem.Internal, err)
	}
	gain := gainCode(opts.Range)
	base := Config{Gain: uint8(gain), Speed: uint8(slices.Index(opts.Model.Rates(), opts.Rate)), Queue: QueueOff}
	if opts.Ready {
		base.Queue = QueueOne
	}
	return &Dev{bus: bus, addr: addr, opts: *opts, base: base.Encode(), scale: ranges[gain] / fullCode, pointer: unknown}, nil
}

func check(addr uint16, o *Opts) error {
	switch {
	case addr < FirstAddress || addr > LastAddress:
		return fmt.Errorf("address %#02x: use one of: 0x48, 0x49, 0x4a, 0x4b", addr)
	case !o.Model.Known():
		return fmt.Errorf("model %q: use one of: %s, %s", o.Model, ADS1115, ADS1015)
	case gainCode(o.Range) < 0:
		return fmt.Errorf("range ±%g V: use one of, in ± volts: %s", o.Range,
			words.List(words.Texts(ranges, func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) })))
	case !slices.Contains(o.Model.Rates(), o.Rate):
		return fmt.Errorf("rate %d/s: on the %s use one of: %s", o.Rate, o.Model, words.List(words.Texts(o.Model.Rates(), strconv.Itoa)))
	case o.Retries < 0 || o.Retries > mostRetries:
		return fmt.Errorf("%d retries: must be from 0 to %d", o.Retries, mostRetries)
	}
	return nil
}

// String names the chip and its address.
func (d *Dev) String() string { return fmt.Sprintf("%s at %#02x", d.opts.Model, d.addr) }

// Identity is what the chip's registers hold.
type Identity struct {
	Conversion, Config, Low, High uint16
}

// AtReset tells whether the settings are those after power-up: nothing has been
// written to the chip since, or it is another kind of chip (most others do not
// answer with these values).
func (i Identity) AtReset() bool {
	return i.Config == ResetConfig && i.Low == ResetLow && i.High == ResetHigh
}

// Plausible tells whether the registers can be those of one of these chips: the
// thresholds stand as after power-up or as the ready function needs them. What a program
// that uses the comparator has set up does not count, nor does another kind of chip,
// unless by chance.
func (i Identity) Plausible() bool {
	return i.Low == ResetLow && i.High == ResetHigh || i.Low == readyLow && i.High == readyHigh
}

// Models lists which of the chips the registers can belong to. Nothing but the conversion
// tells them apart: on the ADS1015 its last four bits are 0.
func (i Identity) Models() []Model {
	if !i.Plausible() {
		return nil
	}
	if i.Conversion%16 != 0 {
		return []Model{ADS1115}
	}
	return []Model{ADS1115, ADS1015}
}

// String gives the registers in hexadecimal.
func (i Identity) String() string {
	return fmt.Sprintf("conversion %04Xh, configuration %04Xh, thresholds %04Xh and %04Xh",
		i.Conversion, i.Config, i.Low, i.High)
}

// Identify reads all four registers and changes none. It works on a chip that
// has not been set up.
func (d *Dev) Identify() (Identity, error) {
	var id Identity
	for reg, to := range [...]*uint16{&id.Conversion, &id.Config, &id.Low, &id.High} {
		d.pointer = unknown
		v, err := d.read(byte(reg))
		if err != nil {
			return Identity{}, d.fail("identify", err)
		}
		*to = v
	}
	return id, nil
}

// Setup makes the ready pin report finished conversions, where it is wired, and
// puts the chip into power-down. A chip that was converting until now finishes
// the running conversion first.
func (d *Dev) Setup() error {
	if d.opts.Ready {
		if err := d.write(regLow, readyLow); err != nil {
			return d.fail("set up the ready pin", err)
		}
		if err := d.write(regHigh, readyHigh); err != nil {
			return d.fail("set up the ready pin", err)
		}
	}
	if err := d.configure(muxBits(0) | bitSingle); err != nil {
		return d.fail("set up", err)
	}
	return nil
}

// Start starts one conversion of a channel, 0 to 3, against ground. The chip
// ignores it while a conversion runs. A failed write may or may not have started
// one; trying again does no harm, because the running conversion then is of the
// same channel.
func (d *Dev) Start(channel int) error {
	if uint(channel) <= lastChannel {
		if err := d.configure(muxBits(channel) | bitOS | bitSingle); err != nil {
			return d.fail(fmt.Sprintf("start a conversion of channel %d", channel), err)
		}
		return nil
	}
	return d.noChannel("start a conversion of", channel)
}

// Follow lets the chip convert one channel, 0 to 3, against ground, again and
// again. The first conversion that ends may still be of the settings before.
func (d *Dev) Follow(channel int) error {
	if uint(channel) > lastChannel {
		return d.noChannel("follow", channel)
	}
	if err := d.configure(muxBits(channel)); err != nil {
		return d.fail(fmt.Sprintf("follow channel %d", channel), err)
	}
	return nil
}

const lastChannel = 3

func (d *Dev) noChannel(what string, channel int) error {
	return d.fail(fmt.Sprintf("%s channel %d", what, channel), errors.New("must be from 0 to 3"))
}

// muxBits are the configuration's bits that put a channel against ground.
func muxBits(channel int) uint16 { return uint16(Mux0)<<shiftMux | uint16(channel)<<shiftMux }

// Halt ends continuous mode and puts the chip into power-down once the running
// conversion has ended.
func (d *Dev) Halt() error {
	if err := d.configure(muxBits(0) | bitSingle); err != nil {
		return d.fail("power down", err)
	}
	return nil
}

// Busy tells whether a conversion runs; in continuous mode one always does. The
// OS bit comes with the whole configuration, which is compared with what was
// written: where it differs the error is ErrReset.
func (d *Dev) Busy() (bool, error) {
	v, err := d.read(regConfig)
	if err != nil {
		return false, d.fail("ask whether a conversion runs", err)
	}
	if d.known && v&^bitOS != d.wrote {
		return false, d.fail("ask whether a conversion runs", differs("configuration", v&^bitOS, d.wrote))
	}
	return v&bitOS == 0, nil
}

// Read returns the conversion register, as the chip gives it: the latest
// finished conversion, left-justified on the ADS1015.
func (d *Dev) Read() (int16, error) {
	if err := d.bus.Tx(d.addr, d.naming(regConversion), d.r[:]); err != nil {
		if err = d.retryRead(regConversion, err); err != nil {
			return 0, d.fail("read a conversion", err)
		}
	}
	d.pointer = regConversion
	return int16(d.value()), nil
}

// Reread reads the conversion register as Read does and names it in any case: where
// the reading before was wrong, the register's name may have been what went wrong.
func (d *Dev) Reread() (int16, error) {
	d.pointer = unknown
	return d.Read()
}

// Verify reads the settings back, the thresholds included where the ready pin is
// used, and returns ErrReset where they are not what was written. It takes the
// conversion register off the pointer. Before anything was written there is
// nothing to compare.
func (d *Dev) Verify() error {
	if !d.known {
		return nil
	}
	// A chip that was reset has forgotten the register addressed as well.
	d.pointer = unknown
	if err := d.verifyRegister("configuration", regConfig, bitOS, d.wrote); err != nil {
		return d.fail("verify the settings", err)
	}
	if !d.opts.Ready {
		return nil
	}
	if err := d.verifyRegister("low threshold", regLow, 0, readyLow); err != nil {
		return d.fail("verify the settings", err)
	}
	if err := d.verifyRegister("high threshold", regHigh, 0, readyHigh); err != nil {
		return d.fail("verify the settings", err)
	}
	return nil
}

func (d *Dev) verifyRegister(name string, reg byte, ignore, want uint16) error {
	v, err := d.read(reg)
	if err != nil {
		return err
	}
	if v &^= ignore; v != want {
		return differs(name, v, want)
	}
	return nil
}

func differs(name string, read, wrote uint16) error {
	return fmt.Errorf("%w: %s reads %04Xh, written was %04Xh", ErrReset, name, read, wrote)
}

// Volts returns the voltage at the pin for a code that Read gave.
func (d *Dev) Volts(code int16) float64 { return float64(code) * d.scale }

// StepVolts returns the voltage at the pin of one step.
func (d *Dev) StepVolts() float64 { return d.scale * float64(codesPerStep(d.opts.Model)) }

// Clipped tells whether a code stands at an end of the scale.
func (d *Dev) Clipped(code int16) bool { return Clipped(d.opts.Model, code) }

// Period returns the shortest, the nominal and the longest time that one
// conversion can last. A single-shot one takes PowerUp more.
func (d *Dev) Period() (shortest, nominal, longest time.Duration) { return Periods(d.opts.Rate) }

// Counts returns how many transfers have failed, those included that a retry
// made good.
func (d *Dev) Counts() (busErrors uint64) { return d.errors }

// configure writes the configuration with the bits given of the input, OS and the mode.
func (d *Dev) configure(bits uint16) error {
	v := d.base | bits
	// From here on the chip may hold the new settings, also where the write fails.
	d.wrote, d.known = v&^bitOS, true
	return d.write(regConfig, v)
}

// write writes a register and leaves the pointer on it.
func (d *Dev) write(reg byte, v uint16) error {
	d.w = [3]byte{reg, byte(v >> 8), byte(v)}
	if err := d.bus.Tx(d.addr, d.w[:], nil); err != nil {
		if err = d.retry(err, d.w[:], nil); err != nil {
			return err
		}
	}
	d.pointer = reg
	return nil
}

// read reads a register.
func (d *Dev) read(reg byte) (uint16, error) {
	if err := d.bus.Tx(d.addr, d.naming(reg), d.r[:]); err != nil {
		if err = d.retryRead(reg, err); err != nil {
			return 0, err
		}
	}
	d.pointer = reg
	return d.value(), nil
}

// naming is what is written before a register is read: its name, or nothing where the pointer
// is on it already.
func (d *Dev) naming(reg byte) []byte {
	if d.pointer == reg {
		return nil
	}
	d.w[0] = reg
	return d.w[:1]
}

// value is what has been read.
func (d *Dev) value() uint16 { return uint16(d.r[0])<<8 | uint16(d.r[1]) }

func (d *Dev) retryRead(reg byte, err error) error {
	d.w[0] = reg
	return d.retry(err, d.w[:1], d.r[:])
}

// retry repeats a transfer that has failed with an error, as often as allowed. Every
// transfer of this package may be repeated; nobody knows then where the pointer is, so a
// read names its register.
func (d *Dev) retry(err error, w, r []byte) error {
	for attempt := 1; ; attempt++ {
		d.pointer = unknown
		d.errors++
		if attempt > d.opts.Retries {
			return fmt.Errorf("given up at attempt %d: %w", attempt, err)
		}
		if err = d.bus.Tx(d.addr, w, r); err == nil {
			return nil
		}
	}
}

// fail says which chip could not do what, and why.
func (d *Dev) fail(what string, err error) error {
	return &problem.Error{Kind: problem.Rig, Place: d.String(), Op: "cannot " + what, Err: err}
}
