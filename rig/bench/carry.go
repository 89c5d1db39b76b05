package bench

import (
	"fmt"
	"math"
	"time"

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

// carries refuses to follow more chips than the bus can carry. Such a chip converts by itself,
// and its reading is overwritten by the next: while it waits, each of the others may have its
// turn, and so may the supply. All of that must be done within the shortest conversion. What is
// read once more, where it jumps, comes on top and costs a conversion at the most. Chips that
// sweep beside seldom all want the bus at once; what they cost is counted as missed.
func (b *Bench) carries() error {
	bits, followed := 0, 0
	shortest := time.Duration(math.MaxInt64)
	for _, c := range b.chips {
		if c.follow {
			bits += followBits
			followed++
			shortest = min(shortest, c.shortest)
		}
	}
	and := ""
	if b.rig.Supply != nil && b.rig.Supply.Stage == nil {
		bits += lookBits
		and = " and looking at the supply"
	}
	hz := b.rig.BusHz
	if followed == 0 || hz <= 0 || time.Duration(bits)*time.Second <= shortest*time.Duration(hz) {
		return nil
	}
	round := float64(bits) / float64(hz)
	least := math.Ceil(float64(bits)/shortest.Seconds()/1000) * 1000
	return fmt.Errorf("%w: the bus is too slow at %s to follow %s: reading each once%s takes %.2f ms, and after %.2f ms a reading may be overwritten; %s",
		ErrSetup, unit.Frequency.Format(float64(hz)), converters(followed), and, 1e3*round, 1e3*shortest.Seconds(), faster(least))
}

func converters(n int) string {
	if n == 1 {
		return "a converter"
	}
	return fmt.Sprintf("%d converters", n)
}

// faster says what would do.
func faster(least float64) string {
	other := "follow fewer at once, convert at a slower rate, or let them sweep"
	if least > wiring.FastestBusHz {
		return other
	}
	return fmt.Sprintf("at %s it is fast enough (the board's setting and bus_speed), or %s", unit.Frequency.Format(least), other)
}
