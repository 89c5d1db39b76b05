package bench

import (
	"context"
	"fmt"
	"slices"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/wiring"
)

// Several units at one rig are told at the same time, and what is lost of one of them does not
// end what is done with the others.

// OnChipLost has a function hear of each converter that no longer answers, with its outputs. It
// says whether the bench goes on without that one, whose outputs then get no more samples. It is
// called from the bench's goroutine.
func (b *Bench) OnChipLost(lost func(outputs []string, err error) bool) { b.chipLost = lost }

// goesOnWithout takes a converter that is lost from those that are sampled, where there is more to
// be done without it.
func (b *Bench) goesOnWithout(c *chip, err error) bool {
	if b.chipLost == nil {
		return false
	}
	outputs := make([]string, len(c.channels))
	for i, ch := range c.channels {
		outputs[i] = b.sampled[ch.trace]
	}
	if !b.chipLost(outputs, err) {
		return false
	}
	b.without = append(b.without, c.counted())
	b.chips = slices.DeleteFunc(b.chips, func(k *chip) bool { return k == c })
	for i, k := range b.listening {
		if k == c {
			b.listening[i] = nil
		}
	}
	return true
}

// Happened is how one of several events was brought about: why it was not, or when.
type Happened struct {
	Event capture.Event
	Err   error
}

// CauseAll brings several events about by drives, as close together as the rig can, and records
// meanwhile. Each has its own instant: that of its reference, where it has one. An error is of all
// of them; that of a reference which does not report belongs to its event alone.
func (b *Bench) CauseAll(ctx context.Context, c *capture.Capture, events []string) ([]Happened, error) {
	all := make([]told, len(events))
	b.c = c
	for i, event := range events {
		cause := b.rig.Cause(event)
		if cause == nil || cause.Drive == "" {
			return nil, CanCause(b.rig, event)
		}
		if err := b.tell(&all[i], cause); err != nil {
			return nil, err
		}
	}
	arrived := func() bool { return !slices.ContainsFunc(all, func(t told) bool { return !b.reported(&t) }) }
	if !arrived() {
		if err := b.run(ctx, c, all[len(all)-1].at.Add(referenceWait), arrived); err != nil {
			return nil, err
		}
	}
	happened := make([]Happened, len(all))
	var noted []capture.Event
	for i := range all {
		if happened[i] = b.happened(&all[i]); happened[i].Err == nil {
			noted = append(noted, happened[i].Event)
		}
	}
	slices.SortStableFunc(noted, func(x, y capture.Event) int { return int(x.At.Sub(y.At)) })
	c.AddEvents(noted...)
	return happened, nil
}

// told is a unit that has been told by a drive.
type told struct {
	cause  *wiring.Cause
	at     instant
	within int64 // ns, of the drive's switching
	ref    int   // line of the reference; -1: there is none
}

// tell switches the drive that brings an event about.
func (b *Bench) tell(t *told, cause *wiring.Cause) (err error) {
	index, d := b.driveIndex(cause.Drive)
	t.cause, t.ref = cause, -1
	if cause.Reference != "" {
		t.ref = b.lineIndex(cause.Reference)
	}
	if t.at, t.within, err = b.switchDrive(index, d, cause.Pulse > 0 || cause.On); err == nil && cause.Pulse > 0 {
		b.later(switching{at: t.at.Add(cause.Pulse), line: index})
	}
	return err
}

// reported says whether what a unit was told has been reported, where anything reports it. The
// kernel may stamp the edge while it is still in the call that sets the drive.
func (b *Bench) reported(t *told) bool {
	return t.ref < 0 || b.seen[t.ref] >= t.at.Add(-time.Duration(t.within))
}

// happened is when a unit was told.
func (b *Bench) happened(t *told) Happened {
	e := b.driven(t.cause.Event, t.at, t.within, "drive")
	switch {
	case t.ref < 0:
		return Happened{Event: e}
	case !b.reported(t):
		return Happened{e, b.unreported(t.cause, t.ref, t.at.Add(-time.Duration(t.within)))}
	}
	return Happened{Event: b.referred(e, t.ref, t.at)}
}

// unreported says that a reference did not report a drive that was switched at an instant. One
// that went inactive as its drive went on is connected, and the wrong way round.
func (b *Bench) unreported(cause *wiring.Cause, ref int, at instant) error {
	code, check := capture.ReferenceSilent, "check its wire"
	if left, went := b.left[ref]; went && left >= at && (cause.Pulse > 0 || cause.On) {
		code, check = capture.ReferenceReversed, "it went inactive instead, check its polarity (active in the rig file)"
	}
	err := fmt.Errorf("%w: reference %s did not report %s within %v of drive %s; %s", ErrLost, cause.Reference, cause.Event, referenceWait, cause.Drive, check)
	return capture.Ended(err, capture.Ending{Code: code, Place: cause.Reference, Other: cause.Drive, Value: referenceWait.Seconds()})
}

// Off switches drives off that are on, as those of a unit with which nothing more is done.
func (b *Bench) Off(c *capture.Capture, drives []string) error {
	b.c = c
	for _, name := range drives {
		index, d := b.driveIndex(name)
		if d == nil || !slices.ContainsFunc(b.pending, func(s switching) bool { return s.line == index }) {
			continue // what is on is to be switched off at the latest after its longest time
		}
		if _, _, err := b.setDrive(index, false); err != nil {
			return err
		}
	}
	return nil
}
