package mcp4725

import (
	"errors"
	"fmt"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/problem"
)

// ErrReset says that the chip does not hold the code that was written: it has lost its
// supply for a moment, or something else on the bus wrote to it.
var ErrReset = errors.New("the chip has lost its setting")

// The addresses that a chip can have: two bits are the maker's, one is its A0 pin
// (DS22039 section 6).
const (
	FirstAddress uint16 = 0x60
	LastAddress  uint16 = 0x67
)

// Last is the highest code.
const Last = 1<<12 - 1

// mostRetries keeps a dead chip from stopping everything else for long.
const mostRetries = 100

// Opts are a chip's settings.
type Opts struct {
	// Retries is how often a failed transfer is tried again.
	Retries int
}

// DefaultOpts tries as often as the analogue converters' driver.
var DefaultOpts = Opts{Retries: 3}

// Dev is one chip. It belongs to one goroutine.
type Dev struct {
	bus  i2c.Bus
	addr uint16
	opts Opts

	wrote  uint16 // code written last
	known  bool   // wrote is what the chip should hold
	errors uint64

	w [2]byte
	r [statusLen]byte
}

// New returns the driver of the chip at a 7 bit address. It checks the options and
// leaves the bus alone.
func New(bus i2c.Bus, addr uint16, opts *Opts) (*Dev, error) {
	switch {
	case bus == nil:
		return nil, problem.New(problem.Internal, "no I²C bus given")
	case opts == nil:
		return nil, problem.New(problem.Internal, "no options given: use DefaultOpts or options of your own")
	case addr < FirstAddress || addr > LastAddress:
		return nil, problem.Of(problem.Internal, fmt.Errorf("address %#02x: must be from 0x60 to 0x67", addr))
	case opts.Retries < 0 || opts.Retries > mostRetries:
		return nil, problem.Of(problem.Internal, fmt.Errorf("%d retries: must be from 0 to %d", opts.Retries, mostRetries))
	}
	return &Dev{bus: bus, addr: addr, opts: *opts}, nil
}

// String names the chip and its address.
func (d *Dev) String() string { return fmt.Sprintf("MCP4725 at %#02x", d.addr) }

// FastWrite returns the two bytes that set a code in fast mode, the output switched on.
// Bits of the code beyond the twelfth are cut off.
func FastWrite(code uint16) [2]byte { return [2]byte{byte(code >> 8 & 0x0F), byte(code)} }

// Set sets the output to a code, 0 to Last. It is there when Set returns, but for the
// settling of what is behind it.
func (d *Dev) Set(code uint16) error {
	if code > Last {
		return problem.Of(problem.Internal, fmt.Errorf("%s: cannot set code %d: must be from 0 to %d", d, code, Last))
	}
	d.w = FastWrite(code)
	// From here on the chip may hold the new code, also where the write fails.
	d.wrote, d.known = code, true
	if err := d.transfer(d.w[:], nil); err != nil {
		return d.fail(fmt.Sprintf("set code %d", code), err)
	}
	return nil
}

// Status reads back what the chip holds. It changes nothing.
func (d *Dev) Status() (Status, error) {
	if err := d.transfer(nil, d.r[:]); err != nil {
		return Status{}, d.fail("read its status", err)
	}
	return decode(d.r), nil
}

// Verify reads the setting back and returns ErrReset where it is not what was written.
// Before anything was written there is nothing to compare. It reads no more than the
// setting. I²C has no check sum, so one reading that differs may have gone wrong on the way.
func (d *Dev) Verify() error {
	if !d.known {
		return nil
	}
	if err := d.transfer(nil, d.r[:settingLen]); err != nil {
		return d.fail("read its setting", err)
	}
	s := decode(d.r)
	if s.Code == d.wrote && s.Mode == Normal {
		return nil
	}
	why := ""
	if !s.Idle {
		why = "; its EEPROM is being written, by another program, and it takes nothing until that is done"
	}
	return d.fail("verify its setting", fmt.Errorf("%w: it holds code %d, %s, written was code %d%s", ErrReset, s.Code, s.Mode, d.wrote, why))
}

// Counts returns how many transfers have failed, those included that a retry made
// good.
func (d *Dev) Counts() (busErrors uint64) { return d.errors }

// transfer carries out a transfer and repeats it as often as allowed.
func (d *Dev) transfer(w, r []byte) error {
	for attempt := 0; ; attempt++ {
		err := d.bus.Tx(d.addr, w, r)
		if err == nil {
			return nil
		}
		d.errors++
		if attempt == d.opts.Retries {
			return fmt.Errorf("given up at attempt %d: %w", attempt+1, err)
		}
	}
}

// fail says which chip could not do what, and why.
func (d *Dev) fail(what string, err error) error {
	return &problem.Error{Kind: problem.Rig, Place: d.String(), Op: "cannot " + what, Err: err}
}
