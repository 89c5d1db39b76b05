package simchip_test

import (
	"errors"
	"testing"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/simchip"
)

// A general call is acknowledged by whatever chip is there, and cannot be read.
func TestBus_GeneralCallAnswered(t *testing.T) {
	clock, bus, c, _ := bench(t, 400_000, simchip.Opts{}, polled)
	if err := bus.Tx(0, []byte{0x06}, make([]byte, 1)); !errors.Is(err, simchip.ErrNAK) {
		t.Errorf("a general call that reads: %v", err)
	}
	if err := bus.Tx(0, []byte{0x06}, nil); err != nil {
		t.Errorf("a chip is there: %v", err)
	}
	c.LoseAt(clock.Now())
	if err := bus.Tx(0, []byte{0x06}, nil); !errors.Is(err, simchip.ErrNAK) {
		t.Errorf("the only chip is lost: %v", err)
	}
}

// A bus is stuck from an instant until just before another.
func TestBus_StuckUntil(t *testing.T) {
	clock, bus, _, d := bench(t, 400_000, simchip.Opts{}, polled)
	from := clock.Now() + capture.Instant(time.Second)
	for _, c := range []struct {
		at    capture.Instant
		stuck bool
	}{{from - 1, false}, {from, true}, {from + 999, true}, {from + 1000, false}} {
		bus.Stick(from, from+1000)
		clock.at = c.at
		if err := bus.Tx(0x48, nil, make([]byte, 2)); errors.Is(err, simchip.ErrTimeout) != c.stuck {
			t.Errorf("%d ns after it began to stick: %v, want stuck %v", c.at-from, err, c.stuck)
		}
	}
	if _, err := d.Read(); err != nil {
		t.Errorf("afterwards: %v", err)
	}
}
