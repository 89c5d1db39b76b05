package commission

import (
	"context"
	"errors"
	"slices"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/ads1x15"
	"makebreak/rig/capture"
	"makebreak/rig/line"
)

// readyWindow is how long a converter converts while its ready line is looked for.
const readyWindow = 250 * time.Millisecond

// A line ticks as a converter does where its edges in the window are these shares of the
// conversions: the chip's clock is off by up to 10 % (SBAS444), and a board may lose some edges.
const readyLeast, readyMost = 0.7, 1.2

// FindReady finds the lines at which ready pins of converters are wired: it lets one converter
// after the other convert, and looks which line ticks at its rate. Nothing is written but the
// converters' registers, which then are as after power-up. Lines are only read, and their pulls
// are left as they are. By address, -1 is no line and else an index in the lines.
func FindReady(ctx context.Context, bus i2c.Bus, chips []ReadyChip, lines []line.Line, open func([]line.Request) (line.Set, error)) (map[uint16]int, error) {
	reqs := make([]line.Request, len(lines))
	for i, l := range lines {
		l.ActiveLow, l.Pull = true, line.PullKept
		reqs[i] = line.Request{Line: l, Role: line.Ready}
	}
	set, err := open(reqs)
	if err != nil {
		return nil, err
	}
	found := map[uint16]int{}
	for _, c := range chips {
		at, tickErr := ticking(ctx, bus, c, set, len(lines))
		if err = tickErr; err != nil {
			break
		}
		found[c.Address] = at
	}
	return found, errors.Join(err, set.Close())
}

// A ReadyChip is a converter whose ready line is looked for.
type ReadyChip struct {
	Address uint16
	Model   ads1x15.Model
}

// ticking lets a converter convert and returns the one line that ticks at its rate; -1: none,
// or several.
func ticking(ctx context.Context, bus i2c.Bus, c ReadyChip, set line.Set, lines int) (at int, err error) {
	opts := ads1x15.DefaultOpts
	opts.Model, opts.Rate, opts.Ready = c.Model, c.Model.Fastest(), true
	dev, err := ads1x15.New(bus, c.Address, &opts)
	if err != nil {
		return -1, err
	}
	defer func() { err = errors.Join(err, asAfterPowerUp(bus, c.Address)) }()
	if err := dev.Setup(); err != nil {
		return -1, err
	}
	if err := dev.Follow(0); err != nil {
		return -1, err
	}
	if _, err := edgesUntil(ctx, set, set.Now(), lines); err != nil { // those of before
		return -1, err
	}
	counts, err := edgesUntil(ctx, set, set.Now().Add(readyWindow), lines)
	if err != nil {
		return -1, err
	}
	_, nominal, _ := dev.Period()
	conversions := readyWindow.Seconds() / nominal.Seconds()
	ticks := func(n int) bool { return float64(n) >= readyLeast*conversions && float64(n) <= readyMost*conversions }
	at = slices.IndexFunc(counts, ticks)
	if at >= 0 && slices.ContainsFunc(counts[at+1:], ticks) {
		at = -1
	}
	return at, nil
}

// edgesUntil counts each line's edges until an instant.
func edgesUntil(ctx context.Context, set line.Set, until capture.Instant, lines int) ([]int, error) {
	counts := make([]int, lines)
	var buf []line.Edge
	for {
		var err error
		if buf, err = set.Edges(buf[:0]); err != nil {
			return nil, err
		}
		for _, e := range buf {
			if e.Active {
				counts[e.Line]++
			}
		}
		if set.Now() >= until {
			return counts, nil
		}
		if err := set.Wait(ctx, until); err != nil {
			return nil, err
		}
	}
}

// asAfterPowerUp writes to a converter what its registers hold after power-up (SBAS444), without
// a conversion.
func asAfterPowerUp(bus i2c.Bus, addr uint16) error {
	var errs []error
	for _, w := range [][]byte{{1, 0x05, 0x83}, {2, 0x80, 0x00}, {3, 0x7F, 0xFF}} {
		errs = append(errs, bus.Tx(addr, w, nil))
	}
	return errors.Join(errs...)
}
