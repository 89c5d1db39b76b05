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
	chips [4]*Chip
	dacs  [dacCount]*DAC

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
	end, err := b.TxFrom(addr, w, r, b.clock.Now())
	b.clock.AdvanceTo(end)
	return err
}

// TxFrom is Tx for whoever has the clock at hand: the transfer begins at the clock's present
// instant, and the clock is to be moved on to the instant returned.
func (b *Bus) TxFrom(addr uint16, w, r []byte, now capture.Instant) (end capture.Instant, err error) {
	b.Transfers++
	if b.faulty {
		return b.disturbed(addr, w, r, now)
	}
	i := addr - firstAddress
	if i >= uint16(len(b.chips)) || b.chips[i] == nil {
		return b.otherThanChip(addr, w, r, now)
	}
	c := b.chips[i]
	if c.due <= now {
		c.settle(now)
	}
	if c.gone {
		return b.nak(addr, now)
	}
	if len(r) == 0 {
		b.Bytes += uint64(1 + len(w))
		at := now + b.span(byteBits*(1+len(w))+2)
		b.clock.AdvanceTo(at)
		c.Settle(at)
		c.write(w, at)
		return at, nil
	}
	bits := 1 + byteBits
	if len(w) > 0 {
		bits += b.name(c, w, now)
	}
	b.Bytes += uint64(1 + len(r))
	// What the chip sends is what stands in the register once it has acknowledged
	// its address. Nothing changes until then in nearly all transfers.
	if latch := now + b.span(bits); c.due <= latch {
		b.clock.AdvanceTo(latch)
		c.Settle(latch)
	}
	v := c.register()
	if r[0] = byte(v >> 8); len(r) > 1 {
		if r[1] = byte(v); len(r) > 2 {
			undriven(r[2:])
		}
	}
	return now + b.span(bits+byteBits*len(r)+1), nil
}

// undriven is what is read where nothing drives the bus.
func undriven(r []byte) {
	for i := range r {
		r[i] = 0xFF
	}
}

// name writes before a reading, which begins now, and returns how many bits that takes. A register
// that is named and not written to has no effect before it is read.
func (b *Bus) name(c *Chip, w []byte, now capture.Instant) (bits int) {
	b.Bytes += uint64(1 + len(w))
	bits = byteBits*(1+len(w)) + 1
	if len(w) == 1 {
		c.point(w[0])
		return bits
	}
	at := now + b.span(1+bits)
	b.clock.AdvanceTo(at)
	c.Settle(at)
	c.write(w, at)
	return bits
}

// nak ends a transfer after an address byte that nobody acknowledged.
func (b *Bus) nak(addr uint16, now capture.Instant) (end capture.Instant, err error) {
	b.Bytes++
	return now + b.span(byteBits+2), fmt.Errorf("%w: nothing answers at %#02x", ErrNAK, addr)
}

// disturbed carries a transfer on a bus with planted faults.
func (b *Bus) disturbed(addr uint16, w, r []byte, now capture.Instant) (end capture.Instant, err error) {
	if end, err = b.disturb(addr, w, r, now); err != nil {
		return end, err
	}
	return b.carry(addr, w, r, now)
}

// carry carries a transfer, counted already, as a bus without faults does.
func (b *Bus) carry(addr uint16, w, r []byte, now capture.Instant) (end capture.Instant, err error) {
	faulty, transfers := b.faulty, b.Transfers
	b.faulty = false
	end, err = b.TxFrom(addr, w, r, now)
	b.faulty, b.Transfers = faulty, transfers
	return end, err
}

// otherThanChip carries a transfer to an address without a chip: the general call, a DAC
// or nothing.
func (b *Bus) otherThanChip(addr uint16, w, r []byte, now capture.Instant) (end capture.Instant, err error) {
	if addr == 0 {
		return b.generalCall(w, r, now)
	}
	if i := addr - firstDAC; i < dacCount && b.dacs[i] != nil && !b.dacs[i].gone {
		return b.transferDAC(b.dacs[i], w, r, now), nil
	}
	return b.nak(addr, now)
}

// transferDAC carries a transfer to a DAC, which acts at the acknowledge of the last
// byte written, before the stop or the repeated start.
func (b *Bus) transferDAC(d *DAC, w, r []byte, now capture.Instant) (end capture.Instant) {
	bits := 1
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
	return now + b.span(bits)
}

// generalCallReset is the general call's command that the chips obey.
const generalCallReset = 0x06

func (b *Bus) generalCall(w, r []byte, now capture.Instant) (end capture.Instant, err error) {
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
		return b.nak(0, now)
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
	return at, nil
}
