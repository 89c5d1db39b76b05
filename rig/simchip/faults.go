package simchip

import (
	"fmt"
	"time"

	"makebreak/rig/capture"
)

// stuckTimeout is how long a transfer on a stuck bus lasts before the host gives
// up (the usual default of Linux bus drivers, from memory).
const stuckTimeout = time.Second

// faults are what is planted on a bus.
type faults struct {
	nak, cut         int
	every, sinceLast int
	stuckFrom        capture.Instant
	stuckTo          capture.Instant
}

// NAKNext makes the next n transfers fail at their address byte.
func (b *Bus) NAKNext(n int) { b.faults.nak = n; b.plant() }

// CutNext makes the next n transfers reach the chip in full and fail all the
// same at the host, which does not know then whether the chip took them.
func (b *Bus) CutNext(n int) { b.faults.cut = n; b.plant() }

// NAKEvery makes every k-th transfer fail at its address byte; zero ends that.
func (b *Bus) NAKEvery(k int) { b.faults.every, b.faults.sinceLast = k, 0; b.plant() }

// Stick makes every transfer that begins in from <= time < to last a second and
// time out.
func (b *Bus) Stick(from, to capture.Instant) {
	b.faults.stuckFrom, b.faults.stuckTo = from, to
	b.plant()
}

// Detach takes the chip off the address.
func (b *Bus) Detach(addr uint16) {
	if i := addr - firstAddress; i < uint16(len(b.chips)) {
		b.chips[i] = nil
	}
}

func (b *Bus) plant() {
	f := &b.faults
	b.faulty = f.nak > 0 || f.cut > 0 || f.every > 0 || f.stuckFrom < f.stuckTo
}

// disturb does what the planted faults do to one transfer. Where there is no error, nothing
// was done, and the transfer is still to be carried.
func (b *Bus) disturb(addr uint16, w, r []byte, now capture.Instant) (end capture.Instant, err error) {
	f := &b.faults
	defer b.plant()
	switch {
	case now >= f.stuckFrom && now < f.stuckTo:
		return now.Add(stuckTimeout), fmt.Errorf("%w: transfer to %#02x", ErrTimeout, addr)
	case now >= f.stuckTo:
		f.stuckFrom, f.stuckTo = 0, 0
	}
	if f.every > 0 {
		f.sinceLast++
		if f.sinceLast == f.every {
			f.sinceLast = 0
			return b.nak(addr, now)
		}
	}
	if f.nak > 0 {
		f.nak--
		return b.nak(addr, now)
	}
	if f.cut > 0 {
		f.cut--
		return b.cut(addr, w, r, now)
	}
	return now, nil
}

// cut carries a transfer to its chip and reports it as failed.
func (b *Bus) cut(addr uint16, w, r []byte, now capture.Instant) (end capture.Instant, err error) {
	if end, err = b.carry(addr, w, r, now); err != nil {
		return end, err
	}
	clear(r)
	return end, fmt.Errorf("%w: transfer to %#02x", ErrCut, addr)
}

// LoseAt makes the chip fall silent at the instant, as if its supply wire came
// off: it acknowledges nothing and its ready pin stays released.
func (c *Chip) LoseAt(at capture.Instant) { c.loseAt = at; c.updateDue() }

// ResetAt makes the chip fall back to its reset values at the instant, as a dip
// of its supply does.
func (c *Chip) ResetAt(at capture.Instant) { c.resetAt = at; c.updateDue() }

// FlipNext turns the bits of the masks over in the next readings of the conversion
// register, one mask a reading.
func (c *Chip) FlipNext(masks ...uint16) { c.flips = masks }

// flipped takes the mask of this reading.
func (c *Chip) flipped() uint16 {
	if len(c.flips) == 0 {
		return 0
	}
	mask := c.flips[0]
	c.flips = c.flips[1:]
	return mask
}
