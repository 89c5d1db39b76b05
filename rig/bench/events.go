package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
)

// ErrNobody says that an event needs the person at the bench and there is no way
// to ask.
var ErrNobody error = problem.New(problem.Rig, "nobody at the bench can be asked")

// ErrTooLong says that a drive had to be released because it had been on for its
// longest time.
var ErrTooLong = errors.New("the drive had been on for its longest time")

// Prompter asks the person at the bench.
type Prompter interface {
	// Ask shows what to do. The channel gives nil once the person has pressed the
	// key, or why nobody can be asked; done ends the asking.
	Ask(text string) (pressed <-chan error, done func())
}

const (
	// referenceWait is how long a reference may take to report a drive.
	referenceWait = time.Second
	// keyPoll is how often the person's key is looked at.
	keyPoll = 20 * time.Millisecond
	// pressing is how well a key press tells when the person acted: half a second
	// either way (common practice, no source).
	pressing = 500 * time.Millisecond
)

// Cause brings an event about, recording meanwhile, and returns it with the
// instant at which the unit was told.
func (b *Bench) Cause(ctx context.Context, c *capture.Capture, event string) (capture.Event, error) {
	cause := b.rig.Cause(event)
	if cause == nil {
		return capture.Event{}, CanCause(b.rig, event)
	}
	if cause.Drive == "" {
		return b.prompt(ctx, c, cause)
	}
	return b.drive(ctx, c, cause)
}

// drive brings an event about by a drive.
func (b *Bench) drive(ctx context.Context, c *capture.Capture, cause *wiring.Cause) (capture.Event, error) {
	index, d := b.driveIndex(cause.Drive)
	on := cause.Pulse > 0 || cause.On
	b.c = c
	at, within, err := b.switchDrive(index, d, on)
	if err != nil {
		return capture.Event{}, err
	}
	if cause.Pulse > 0 {
		b.later(switching{at: at.Add(cause.Pulse), line: index})
	}
	e := b.driven(cause.Event, at, within, "drive")
	if cause.Reference == "" {
		return b.note(c, e), nil
	}
	ref := b.lineIndex(cause.Reference)
	// The kernel may stamp the edge while it is still in the call that sets the drive.
	arrived := func() bool { return b.seen[ref] >= at.Add(-time.Duration(within)) }
	if err := b.run(ctx, c, at.Add(referenceWait), arrived); err != nil {
		return e, err
	}
	if !arrived() {
		return e, b.unreported(cause, ref, at.Add(-time.Duration(within)))
	}
	return b.note(c, b.referred(e, ref, at)), nil
}

// referred is an event whose instant a reference's edge gives, which came after an instant.
// Where edges of the reference were lost or taken in late, the first one may have been sooner.
func (b *Bench) referred(e capture.Event, ref int, after instant) capture.Event {
	e.At, e.Uncertainty, e.Timed = b.seen[ref], EdgeLatency, "reference"
	t := b.c.Tracks[ref]
	sooner := time.Duration(0)
	if t.Late > 2*EdgeLatency {
		sooner = t.Late
	}
	for _, l := range t.Losses {
		if l.To == e.At {
			sooner = max(sooner, e.At.Sub(max(l.From, after)))
		}
	}
	if sooner > 0 {
		e.Uncertainty = time.Duration(math.Hypot(float64(EdgeLatency), float64(half(int64(sooner)))))
	}
	return e
}

// switchDrive switches a drive. One that is on is released at the latest when it has been on for
// its longest time, counted from when it went on and not from when it was last told to.
func (b *Bench) switchDrive(index int, d *wiring.Drive, on bool) (instant, int64, error) {
	end := b.forcedOff(index)
	at, within, err := b.setDrive(index, on)
	if err == nil && on {
		b.later(switching{at: min(end, at.Add(d.LongestOn)), line: index, forced: true})
	}
	return at, within, err
}

// forcedOff is when a drive that is on will have been on for its longest time; never: it
// is off.
func (b *Bench) forcedOff(index int) instant {
	for _, s := range b.pending {
		if s.line == index && s.forced {
			return s.at
		}
	}
	return never
}

// driven is an event that a drive's switching brought about.
func (b *Bench) driven(name string, at instant, within int64, timed string) capture.Event {
	late, doubt := b.latency()
	return capture.Event{Name: name, At: at.Add(late), Uncertainty: half(within) + doubt, Timed: timed}
}

// latency is how late the kernel stamps what a drive does, with its standard
// uncertainty. A drive's own instant is not stamped by the kernel; all that follows
// from it is.
func (b *Bench) latency() (late, doubt time.Duration) {
	if l := b.rig.Latency; l != nil {
		return l.Mean, l.Standard
	}
	return typicalLatency, EdgeLatency
}

// prompt asks the person at the bench and takes the instant from the reference
// or, failing that, from the key press.
func (b *Bench) prompt(ctx context.Context, c *capture.Capture, cause *wiring.Cause) (capture.Event, error) {
	if b.opts.Prompter == nil {
		return capture.Event{}, lost(fmt.Errorf("event %s: %w", cause.Event, ErrNobody), capture.NobodyThere, "")
	}
	ref := -1
	if cause.Reference != "" {
		ref = b.lineIndex(cause.Reference)
		delete(b.seen, ref)
	}
	asked := b.Now()
	pressed, done := b.opts.Prompter.Ask(cause.Prompt)
	defer done()
	key := false
	var nobody error
	answered := func() bool {
		if !key {
			select {
			case nobody = <-pressed:
				key = nobody == nil
				if key && b.opts.Act != nil {
					b.opts.Act(cause.Event)
				}
			default:
			}
		}
		_, reported := b.seen[ref]
		return reported || key && ref < 0 || nobody != nil
	}
	for !answered() {
		if err := b.run(ctx, c, b.Now().Add(keyPoll), answered); err != nil {
			return capture.Event{}, err
		}
	}
	if nobody != nil {
		return capture.Event{}, lost(fmt.Errorf("event %s: %w: %w", cause.Event, ErrNobody, nobody), capture.NobodyThere, "")
	}
	e := capture.Event{Name: cause.Event, At: b.Now(), Uncertainty: half(int64(pressing)), Timed: "key"}
	if ref >= 0 {
		e = b.referred(e, ref, asked)
	}
	return b.note(c, e), nil
}

func (b *Bench) note(c *capture.Capture, e capture.Event) capture.Event {
	c.AddEvent(e)
	return e
}

func (b *Bench) driveIndex(name string) (int, *wiring.Drive) {
	for i := range b.rig.Drives {
		if b.rig.Drives[i].Name == name {
			return b.drives + i, &b.rig.Drives[i]
		}
	}
	return -1, nil
}

func (b *Bench) lineIndex(name string) int {
	return slices.IndexFunc(b.roles, func(r line.Request) bool { return r.Line.Name == name && r.Role != line.Ready })
}

// setDrive switches a drive and writes that into the capture.
func (b *Bench) setDrive(index int, on bool) (instant, int64, error) {
	b.pending = slices.DeleteFunc(b.pending, func(s switching) bool { return s.line == index })
	at, within, err := b.lines.Drive(index, on)
	if err != nil {
		return at, within, lost(fmt.Errorf("%w: drive %s: %w", ErrLost, b.roles[index].Line.Name, err), capture.DriveLost, b.roles[index].Line.Name)
	}
	b.c.AddEdge(b.c.Tracks[index], capture.Edge{At: at, Closed: on})
	return at, within, nil
}

// later has a drive switched off at an instant. A pulse that lasts as long as the drive
// may be on ends as a pulse.
func (b *Bench) later(s switching) {
	i := slices.IndexFunc(b.pending, func(p switching) bool { return p.at > s.at || p.at == s.at && p.forced })
	if i < 0 {
		i = len(b.pending)
	}
	b.pending = slices.Insert(b.pending, i, s)
}

// switchDue switches off the drives whose time has come.
func (b *Bench) switchDue() error {
	now := b.lines.Now()
	for len(b.pending) > 0 && b.pending[0].at <= now {
		s := b.pending[0]
		if _, _, err := b.setDrive(s.line, false); err != nil {
			return err
		}
		if s.forced {
			return lost(fmt.Errorf("%w: drive %s: %w (longest_on in the rig file)", ErrSetup, b.roles[s.line].Line.Name, ErrTooLong), capture.DriveTooLong, b.roles[s.line].Line.Name)
		}
	}
	return nil
}
