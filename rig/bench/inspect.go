package bench

import (
	"context"
	"fmt"
	"time"

	"makebreak/rig/capture"
)

// ChipState is what a bench knows of one of its converters.
type ChipState struct {
	Name        string
	Follows     bool // one output, continuously
	Ready       bool // its ready pin is wired
	Conversions int  // timed so far
	// Period is the mean time of a conversion as measured, Nominal as the data sheet
	// has it at the rate set.
	Period, Nominal time.Duration
}

// Chips returns the state of every converter that is sampled.
func (b *Bench) Chips() []ChipState {
	var all []ChipState
	for _, c := range b.chips {
		all = append(all, ChipState{Name: c.name, Follows: c.follow, Ready: c.line >= 0,
			Conversions: c.span.n, Period: time.Duration(c.span.mean), Nominal: c.nominal})
	}
	return all
}

// Bus returns how long the bus takes, as it was measured before the bench was opened; nil: it
// was not.
func (b *Bench) Bus() *BusTiming { return b.opts.Bus }

// Pulse switches a drive on for a time, recording meanwhile, and returns the instant
// at which it was switched on.
func (b *Bench) Pulse(ctx context.Context, c *capture.Capture, drive string, on time.Duration) (capture.Instant, error) {
	index, d := b.driveIndex(drive)
	if d == nil {
		return 0, fmt.Errorf("%w: rig %s has no drive %s", ErrSetup, b.rig.Name, drive)
	}
	if on > d.LongestOn {
		return 0, fmt.Errorf("%w: drive %s may be on for %v at most", ErrSetup, drive, d.LongestOn)
	}
	b.c = c
	at, _, err := b.setDrive(index, true)
	if err != nil {
		return at, err
	}
	b.later(switching{at: at.Add(on), line: index})
	return at, b.Record(ctx, c, at.Add(on+settle))
}

// settle is how long the bench goes on recording after a pulse.
const settle = 100 * time.Millisecond
