package bench

import (
	"fmt"
	"math"
	"time"

	"makebreak/rig/ads1x15"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// What the bus carries for a turn, in bits: a start, a stop, and nine bits a byte. A reading
// of a chip that is followed is an address and two bytes, a look at the supply's setting an
// address and three.
const (
	followBits = 3*9 + 2
	lookBits   = 4*9 + 2
)

// A BusTiming is how long a bus takes, as it was measured.
type BusTiming struct {
	Hz       float64       // of its clock, hertz; 0: its bits take no time that can be told
	Overhead time.Duration // that a transfer takes besides its bits, at the least
}

// takes is how long a transfer of so many bits takes.
func (t BusTiming) takes(bits int) time.Duration {
	if t.Hz <= 0 {
		return t.Overhead
	}
	return t.Overhead + time.Duration(float64(bits)/t.Hz*float64(time.Second))
}

// Carries says whether a bus that takes so long carries what a rig follows by its file; nil: it
// does. Else a run that samples all of that is refused with this error.
func Carries(rig *wiring.Rig, timing BusTiming) error {
	b := &Bench{rig: rig, bus: timing, opts: Opts{Bus: &timing}}
	for i := range rig.Chips {
		if w := &rig.Chips[i]; w.Mode == wiring.Follow && w.Ready != nil {
			shortest, _, _ := ads1x15.Periods(w.Rate)
			b.chips = append(b.chips, &chip{follow: true, shortest: shortest})
		}
	}
	return b.carries()
}

// carries refuses to follow more chips than the bus can carry. Such a chip converts by itself,
// and its reading is overwritten by the next: while it waits, each of the others may have its
// turn, and so may the supply. All of that must be done within the shortest conversion. What is
// read once more, where it jumps, comes on top and costs a conversion at the most. Chips that
// sweep beside seldom all want the bus at once; what they cost is counted as missed.
func (b *Bench) carries() error {
	bits, transfers, followed := 0, 0, 0
	shortest := time.Duration(math.MaxInt64)
	for _, c := range b.chips {
		if c.follow {
			bits += followBits
			followed++
			shortest = min(shortest, c.shortest)
		}
	}
	transfers = followed
	and := ""
	if b.rig.Supply != nil && b.rig.Supply.Stage == nil {
		bits += lookBits
		transfers++
		and = " and looking at the supply"
	}
	round := b.bus.takes(bits) + time.Duration(transfers-1)*b.bus.Overhead
	if followed == 0 || round <= shortest {
		return nil
	}
	return fmt.Errorf("%w: the bus is too slow%s to follow %s: reading each once%s takes %.2f ms, and after %.2f ms a reading may be overwritten; %s",
		ErrSetup, b.busWords(), converters(followed), and, 1e3*round.Seconds(), 1e3*shortest.Seconds(), b.faster(bits, shortest-time.Duration(transfers)*b.bus.Overhead))
}

// busWords say how slow the bus is.
func (b *Bench) busWords() string {
	file, more := unit.Frequency.Format(float64(b.rig.BusHz)), unit.Time.Short(b.bus.Overhead.Seconds(), 2)
	switch {
	case b.opts.Bus == nil:
		return " at " + file
	case b.bus.Hz <= 0:
		return ", with " + more + " measured for each transfer,"
	}
	return fmt.Sprintf(" at %s, as measured (the rig file says %s), with %s more for each transfer,", unit.Hertz(b.bus.Hz), file, more)
}

func converters(n int) string {
	if n == 1 {
		return "a converter"
	}
	return fmt.Sprintf("%d converters", n)
}

// faster says what would do, where the bits must take no longer than a time.
func (b *Bench) faster(bits int, within time.Duration) string {
	other := "follow fewer at once, convert at a slower rate, or let them sweep"
	least := math.Ceil(float64(bits)/within.Seconds()/1000) * 1000
	if within <= 0 || least > wiring.FastestBusHz || b.bus.Hz <= 0 {
		return other
	}
	setting := "the board's setting and bus_speed"
	if b.opts.Bus != nil {
		setting = "makebreak rig check says how the board is set"
	}
	return fmt.Sprintf("at %s it is fast enough (%s), or %s", unit.Frequency.Format(least), setting, other)
}
