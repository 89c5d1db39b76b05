package simchip

import (
	"errors"
	"fmt"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"makebreak/rig/capture"
)

// Clock is the time base that the bus lives on. AdvanceTo moves it to an instant
// that does not lie before Now; whatever happens until then happens inside.
type Clock interface {
	Now() capture.Instant
	AdvanceTo(capture.Instant)
}

// What a transfer can fail with; test with errors.Is.
var (
	ErrNAK     = errors.New("address not acknowledged")
	ErrCut     = errors.New("transfer cut short")
	ErrTimeout = errors.New("bus stuck, timed out")
)

// firstAddress is the lowest address that a chip can be strapped to; there are
// four.
const firstAddress = 0x48

// DefaultHz is the bus clock where NewBus is given none: fast mode.
const DefaultHz = 400_000

// highestHz is the chip's high-speed mode.
const highestHz = 3_400_000

// Bus is a simulated I²C bus with up to four chips and eight DACs. It belongs to one
// goroutine.
type Bus struct {
	// Transfers counts transfers, the failed ones included. Bytes counts bytes on
	// the wire, address bytes included.
	Transfers uint64
	Bytes     uint64

	clock Clock
	hz    int
	// spans are how long so many bits take, up to more than a reading has.
	spans [64]capture.Instant
	chips       [4]*Chip
	dacs        [dacCount]*DAC

	faulty bool // a fault below is planted
	faults faults
}

var _ i2c.Bus = (*Bus)(nil)

// NewBus returns a bus without chips. The bus clock is in hertz; zero or less
// means DefaultHz.
func NewBus(clock Clock, hz int) *Bus {
	if hz <= 0 {
		hz = DefaultHz
	}
	b := &Bus{clock: clock}
	b.setHz(hz)
	return b
}

func (b *Bus) setHz(hz int) {
	b.hz = hz
	for bits := range b.spans {
		b.spans[bits] = spanAt(hz, bits)
	}
}

// Attach puts a chip on an address from 0x48 to 0x4B, in place of the one there.
func (b *Bus) Attach(addr uint16, c *Chip) error {
	i := addr - firstAddress
	if i >= uint16(len(b.chips)) {
		return fmt.Errorf("address %#02x: a chip can be strapped to 0x48, 0x49, 0x4a or 0x4b", addr)
	}
	b.chips[i] = c
	return nil
}

// AttachDAC puts a DAC on an address from 0x60 to 0x67, in place of the one there.
func (b *Bus) AttachDAC(addr uint16, d *DAC) error {
	i := addr - firstDAC
	if i >= dacCount {
		return fmt.Errorf("address %#02x: a DAC can have 0x60 to 0x67", addr)
	}
	b.dacs[i] = d
	return nil
}

// String names the bus.
func (b *Bus) String() string { return fmt.Sprintf("simulated I²C bus (%d Hz)", b.hz) }

// SetSpeed sets the bus clock, at most 3.4 MHz.
func (b *Bus) SetSpeed(f physic.Frequency) error {
	hz := int(f / physic.Hertz)
	if hz < 1 || hz > highestHz {
		return fmt.Errorf("bus clock %s must be 1 Hz to 3.4 MHz", f)
	}
	b.setHz(hz)
	return nil
}

// span returns how long a number of bits takes.
func (b *Bus) span(bits int) capture.Instant {
	if uint(bits) < uint(len(b.spans)) {
		return b.spans[bits] // nearly always: a multiplication and a division less
	}
	return spanAt(b.hz, bits)
}

// spanAt returns how long a number of bits takes at a bus clock.
func spanAt(hz, bits int) capture.Instant {
	const picosPerSecond = 1e12
	return capture.Instant(int64(bits) * (picosPerSecond / int64(hz)) / 1000)
}

// Bits on the wire: a start, a repeated start and a stop take one each, a byte
// nine with its acknowledge.
const byteBits = 9

// Tx writes, then reads, with a repeated start between the two, and takes the
// time that this needs at the bus clock.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	b.Transfers++
	if b.faulty {
		return b.disturbed(addr, w, r)
	}
	i := addr - firstAddress
	if i >= uint16(len(b.chips)) || b.chips[i] == nil {
		return b.otherThanChip(addr, w, r)
	}
	c, now := b.chips[i], b.clock.Now()
	c.Settle(now)
	if c.gone {
		return b.nak(addr)
	}
	if len(r) > 0 {
		b.read(c, w, r, now)
		return nil
	}
	b.Bytes += uint64(1 + len(w))
	at := now + b.span(byteBits*(1+len(w))+2)
	b.clock.AdvanceTo(at)
	c.Settle(at)
	c.write(w, at)
	return nil
}

// read carries a transfer that begins now and reads, after writing where there is
// something to write.
func (b *Bus) read(c *Chip, w, r []byte, now capture.Instant) {
	bits := 1
	if n := len(w); n > 0 {
		b.Bytes += uint64(1 + n)
		bits += byteBits*(1+n) + 1
		if n == 1 {
			c.point(w[0])
		} else {
			at := now + b.span(bits)
			b.clock.AdvanceTo(at)
			c.Settle(at)
			c.write(w, at)
		}
	}
	b.Bytes += uint64(1 + len(r))
	bits += byteBits
	// What the chip sends is what stands in the register once it has acknowledged
	// its address. Nothing changes until then in nearly all transfers, and then one
	// move of the clock is enough.
	if latch := now + b.span(bits); c.due <= latch {
		b.clock.AdvanceTo(latch)
		c.Settle(latch)
	}
	v := c.register()
	if r[0] = byte(v >> 8); len(r) > 1 {
		r[1] = byte(v)
		for i := range r[2:] {
			r[2+i] = 0xFF // nothing drives the bus
		}
	}
	b.clock.AdvanceTo(now + b.span(bits+byteBits*len(r)+1))
}

// nak ends a transfer after an address byte that nobody acknowledged.
func (b *Bus) nak(addr uint16) error {
	b.Bytes++
	b.clock.AdvanceTo(b.clock.Now() + b.span(byteBits+2))
	return fmt.Errorf("%w: nothing answers at %#02x", ErrNAK, addr)
}

// disturbed carries a transfer on a bus with planted faults.
func (b *Bus) disturbed(addr uint16, w, r []byte) error {
	if err, over := b.disturb(addr, w, r); over {
		return err
	}
	return b.carry(addr, w, r)
}

// carry carries a transfer, counted already, as a bus without faults does.
func (b *Bus) carry(addr uint16, w, r []byte) error {
	faulty, transfers := b.faulty, b.Transfers
	b.faulty = false
	err := b.Tx(addr, w, r)
	b.faulty, b.Transfers = faulty, transfers
	return err
}

// otherThanChip carries a transfer to an address without a chip: the general call, a DAC
// or nothing.
func (b *Bus) otherThanChip(addr uint16, w, r []byte) error {
	if addr == 0 {
		return b.generalCall(w, r)
	}
	if i := addr - firstDAC; i < dacCount && b.dacs[i] != nil && !b.dacs[i].gone {
		b.transferDAC(b.dacs[i], w, r)
		return nil
	}
	return b.nak(addr)
}

// transferDAC carries a transfer to a DAC, which acts at the acknowledge of the last
// byte written, before the stop or the repeated start.
func (b *Bus) transferDAC(d *DAC, w, r []byte) {
	now, bits := b.clock.Now(), 1
	if len(w) > 0 || len(r) == 0 {
		b.Bytes += uint64(1 + len(w))
		bits += byteBits * (1 + len(w))
		at := now + b.span(bits)
		b.clock.AdvanceTo(at)
		d.write(w, at)
		bits++
	}
	if len(r) > 0 {
		b.Bytes += uint64(1 + len(r))
		bits += byteBits
		at := now + b.span(bits)
		b.clock.AdvanceTo(at)
		d.read(r, at)
		bits += byteBits*len(r) + 1
	}
	b.clock.AdvanceTo(now + b.span(bits))
}

// generalCallReset is the general call's command that the chips obey.
const generalCallReset = 0x06

func (b *Bus) generalCall(w, r []byte) error {
	now := b.clock.Now()
	answered := false
	for _, c := range b.chips {
		if c != nil {
			c.Settle(now)
			answered = answered || !c.gone
		}
	}
	for _, d := range b.dacs {
		answered = answered || d != nil && !d.gone
	}
	if !answered || len(r) > 0 {
		return b.nak(0)
	}
	b.Bytes += uint64(1 + len(w))
	at := now + b.span(byteBits*(1+len(w))+2)
	b.clock.AdvanceTo(at)
	for _, c := range b.chips {
		if c != nil && len(w) > 0 && w[0] == generalCallReset {
			c.Settle(at)
			c.reset()
		}
	}
	for _, d := range b.dacs {
		if d != nil && len(w) > 0 {
			d.obey(w[0], at)
		}
	}
	return nil
}
