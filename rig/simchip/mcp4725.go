package simchip

import (
	"time"

	"makebreak/rig/capture"
)

// EEPROMWrite is how long a DAC is busy with its EEPROM and takes no writes (25 ms
// usually, from memory; up to 50 ms, Linux driver drivers/iio/dac/mcp4725.c).
const EEPROMWrite = 25 * time.Millisecond

// The addresses that a DAC can have (DS22039 section 6).
const (
	firstDAC = 0x60
	dacCount = 8
)

// FactoryCode is what a DAC puts out when its supply comes up as it comes from the
// factory: half of full scale (from memory).
const FactoryCode = 1 << 11

// Power-down bits of a DAC: 0 is on; 1, 2 and 3 pull its output to ground by 1, 100
// and 500 kohm (as the Linux driver has them).
const powerDownBits = 3

// DACOpts are what a digital to analogue converter is made with.
type DACOpts struct {
	// SupplyVolts is the chip's supply, which is its full scale; zero: DefaultSupply.
	SupplyVolts float64
	// Stored is the code in its EEPROM.
	Stored uint16
	// Changed is called when the voltage of the output changes, at the instant at which
	// it does. It must not use the bus.
	Changed func(volts float64)
}

// DAC is one digital to analogue converter as an MCP4725 behaves (DS22039): a register
// of a code and two power-down bits, and an EEPROM of the same that is loaded into it
// when the supply comes up.
type DAC struct {
	// StoredWrites counts how often the EEPROM has been written.
	StoredWrites int

	opts       DACOpts
	code       uint16
	down       uint8
	stored     uint16
	storedDown uint8
	busyUntil  capture.Instant
	gone       bool
}

// NewDAC returns a chip just powered up.
func NewDAC(opts DACOpts) *DAC {
	if opts.SupplyVolts == 0 {
		opts.SupplyVolts = DefaultSupply
	}
	d := &DAC{opts: opts, stored: opts.Stored & (1<<12 - 1)}
	d.code = d.stored
	return d
}

// Volts returns the voltage at the output: VDD · code / 4096, and ground where it is
// switched off, the load being none.
func (d *DAC) Volts() float64 {
	if d.down != 0 {
		return 0
	}
	return d.opts.SupplyVolts * float64(d.code) / (1 << 12)
}

// Reset does what a dip of the supply does, or a general call reset: what the EEPROM
// holds is put out.
func (d *DAC) Reset() { d.load(d.stored, d.storedDown) }

// SetGone takes the chip's wires off, or puts them back. Its output stays.
func (d *DAC) SetGone(gone bool) { d.gone = gone }

// load takes a new code and power-down bits.
func (d *DAC) load(code uint16, down uint8) {
	before := d.Volts()
	d.code, d.down = code, down
	if after := d.Volts(); after != before && d.opts.Changed != nil {
		d.opts.Changed(after)
	}
}

// write takes the bytes of a write transfer at the acknowledge of the last one. Commands
// follow each other in one transfer; each would act at its own acknowledge, which is
// left out here. While the EEPROM is written all are ignored.
func (d *DAC) write(w []byte, at capture.Instant) {
	for at >= d.busyUntil {
		switch {
		case len(w) >= 2 && w[0]>>6 == 0: // fast mode: 0 0 PD1 PD0 D11 to D8, D7 to D0
			d.load(uint16(w[0]&0x0F)<<8|uint16(w[1]), w[0]>>4&powerDownBits)
			w = w[2:]
		case len(w) >= 3 && w[0]>>6 == 1: // 0 1 EEPROM x x PD1 PD0 x, D11 to D4, D3 to D0 x x x x
			d.load(uint16(w[1])<<4|uint16(w[2])>>4, w[0]>>1&powerDownBits)
			if w[0]&0x20 != 0 {
				d.stored, d.storedDown = d.code, d.down
				d.StoredWrites++
				d.busyUntil = at.Add(EEPROMWrite)
			}
			w = w[3:]
		default: // cut short, or one of the commands that are kept for later and ignored
			return
		}
	}
}

// read fills in what the chip sends after its address, again and again.
func (d *DAC) read(r []byte, at capture.Instant) {
	status := byte(0x40) | d.down<<1 // the supply is up
	if at >= d.busyUntil {
		status |= 0x80
	}
	all := [5]byte{status, byte(d.code >> 4), byte(d.code << 4), d.storedDown<<5 | byte(d.stored>>8), byte(d.stored)}
	for i := range r {
		r[i] = all[i%len(all)]
	}
}

// The general call's commands for a DAC beside the reset: wake-up switches the output on
// (Microchip DS22187 section 5.4, of a relative; from memory for this chip).
const generalCallWakeUp = 0x09

// obey does what a general call says.
func (d *DAC) obey(command byte, at capture.Instant) {
	switch {
	case d.gone:
	case command == generalCallReset:
		d.busyUntil = min(d.busyUntil, at)
		d.Reset()
	case command == generalCallWakeUp:
		d.load(d.code, 0)
	}
}
