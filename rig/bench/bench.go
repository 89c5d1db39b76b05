package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/capture"
	"makebreak/rig/line"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
)

// ErrLost is wrapped by errors that say that the rig no longer answers.
var ErrLost error = problem.New(problem.Rig, "the rig is lost")

// ErrSetup is wrapped by errors that say that the rig cannot do what is asked.
var ErrSetup error = problem.New(problem.Input, "the rig cannot do this")

// lost returns an error with the reason why what was under way has ended, and what that is
// about.
func lost(err error, code capture.EndCode, place string) error {
	return capture.Ended(err, capture.Ending{Code: code, Place: place, Value: math.NaN()})
}

// EdgeLatency is the standard uncertainty of a kernel time stamp, and typicalLatency
// how late such a stamp usually is: the time from the electrical edge to the
// interrupt handler that stamps it. A gpiolib line under a Linux kernel takes some 6
// to 19 µs at the median, measured on a virtual machine. Between two edges the
// usual latency cancels.
const (
	EdgeLatency    = 10 * time.Microsecond
	typicalLatency = 2 * EdgeLatency
)

// Requests lists the lines of a rig in the order in which the bench numbers them:
// contacts, references, drives, ready lines.
func Requests(rig *wiring.Rig) []line.Request {
	var all []line.Request
	for _, l := range rig.Contacts {
		all = append(all, line.Request{Line: l, Role: line.Contact})
	}
	for _, l := range rig.References {
		all = append(all, line.Request{Line: l, Role: line.Reference})
	}
	for _, d := range rig.Drives {
		all = append(all, line.Request{Line: d.Line, Role: line.Drive, LongestOn: d.LongestOn})
	}
	for _, c := range rig.Chips {
		if c.Ready != nil {
			all = append(all, line.Request{Line: *c.Ready, Role: line.Ready})
		}
	}
	return all
}

// Opts say what a bench is opened for.
type Opts struct {
	// Outputs are sampled; nil: all of the rig's.
	Outputs []string
	// Mode overrides how the chips sample; empty: as the rig file says. In follow
	// mode each chip samples the first of its outputs that Outputs names.
	Mode wiring.Mode
	// Prompter asks the person at the bench; nil: nobody is there.
	Prompter Prompter
	// SupplyAtRest leaves the unit's supply, where the rig has one, at its rest until it
	// is moved; else it is set to its usual voltage.
	SupplyAtRest bool
	// Bus is how long the bus takes, as measured; nil: as the rig file has its clock.
	Bus *BusTiming
	// Act lets the person at a simulated bench act on the simulated unit.
	Act func(event string)
	// Glances each let another goroutine look at the rig while it is recorded.
	Glances []*Glances
}

// Bench is a wired rig at work. It is used from one goroutine, apart from Release.
type Bench struct {
	rig   *wiring.Rig
	lines line.Set
	opts  Opts
	bus   BusTiming

	chips []*chip
	// without are the counts of converters that no more is done with.
	without []capture.ConverterCounts
	supply  *supply // nil: the rig has none that can be set
	roles   []line.Request
	ledger  line.Ledger
	counts  capture.Counts
	// looked is when edges were last asked for, checked when the lines' states were.
	looked, checked instant
	looker          int // whose turn to look it was

	references, drives, readies int     // where these kinds of line begin in roles; contacts come first
	listening                   []*chip // by line, from readies on; nil: its chip is not sampled

	pending []switching     // drives to be switched later, by time
	seen    map[int]instant // latest active edge of each reference
	left    map[int]instant // and its latest inactive one
	buf     []line.Edge
	c       *capture.Capture // being recorded into
	sampled []string
	// chipLost hears of outputs whose converter no longer answers, and says whether the bench
	// goes on without it; nil: it does not.
	chipLost func(outputs []string, err error) bool
}

type instant = capture.Instant

// switching is a drive that is to be switched off at an instant.
type switching struct {
	at     instant
	line   int
	forced bool // because it has been on for its longest time
}

// Open makes a bench of a rig file, a bus and the lines that Requests listed. It sets
// the supply and the converters up, which fails with ErrLost where one does not answer.
func Open(rig *wiring.Rig, bus i2c.Bus, lines line.Set, opts Opts) (*Bench, error) {
	b := &Bench{rig: rig, lines: lines, opts: opts, roles: Requests(rig), seen: map[int]instant{}, left: map[int]instant{}}
	b.bus = BusTiming{Hz: float64(rig.BusHz)}
	if opts.Bus != nil {
		b.bus = *opts.Bus
	}
	b.references = len(rig.Contacts)
	b.drives = b.references + len(rig.References)
	b.readies = b.drives + len(rig.Drives)
	b.listening = make([]*chip, len(b.roles)-b.readies)
	for _, name := range opts.Outputs {
		if rig.Output(name) == nil {
			return nil, fmt.Errorf("%w: rig %s has no output %s", ErrSetup, rig.Name, name)
		}
	}
	if err := b.addChips(bus); err != nil {
		return nil, err
	}
	if err := b.openSupply(bus); err != nil {
		return nil, err
	}
	for _, c := range b.chips {
		if err := c.begin(b); err != nil {
			return nil, errors.Join(fmt.Errorf("%w: %w", ErrLost, err), b.supply.close())
		}
	}
	return b, nil
}

// addChips makes the converters that have outputs to sample.
func (b *Bench) addChips(bus i2c.Bus) error {
	ready := b.readies
	for i := range b.rig.Chips {
		w := &b.rig.Chips[i]
		at := -1
		if w.Ready != nil {
			at = ready
			ready++
		}
		outputs, follow := b.outputsOf(w)
		if len(outputs) == 0 {
			continue
		}
		c, err := newChip(bus, b.bus, w, at, follow)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrSetup, err)
		}
		for _, o := range outputs {
			ch := channel{trace: len(b.sampled), number: o.Channel,
				perPin: b.rig.TerminalPerPin(o.Name), offset: b.rig.TerminalOffset(o.Name)}
			ch.late, ch.lateStandard = b.rig.SamplesLate(o.Name)
			if c.follow {
				ch.filter = b.rig.FilterOf(o.Name)
			}
			c.channels = append(c.channels, ch)
			b.sampled = append(b.sampled, o.Name)
		}
		b.chips = append(b.chips, c)
		if at >= 0 {
			b.listening[at-b.readies] = c
		}
	}
	b.meet()
	return b.carries()
}

// outputsOf returns the outputs of a chip that are sampled, and whether the one
// is followed.
func (b *Bench) outputsOf(w *wiring.Chip) (outputs []wiring.Output, follow bool) {
	mode := w.Mode
	if b.opts.Mode != "" {
		mode = b.opts.Mode
	}
	wanted := func(name string) bool { return b.opts.Outputs == nil || slices.Contains(b.opts.Outputs, name) }
	for _, o := range b.rig.Outputs {
		if o.Chip == w.Name && wanted(o.Name) {
			outputs = append(outputs, o)
		}
	}
	if mode != wiring.Follow || len(outputs) == 0 {
		return outputs, false
	}
	first := outputs[0]
	for _, name := range b.opts.Outputs {
		if i := slices.IndexFunc(outputs, func(o wiring.Output) bool { return o.Name == name }); i >= 0 {
			first = outputs[i]
			break
		}
	}
	return []wiring.Output{first}, true
}

// Sampled returns the names of the outputs that are sampled, in the order of the
// captures' traces.
func (b *Bench) Sampled() []string { return b.sampled }

// Now returns the present instant on the bench's clock.
func (b *Bench) Now() capture.Instant { return b.lines.Now() }

// Counts returns the acquisition's troubles since the bench was opened.
func (b *Bench) Counts() capture.Counts {
	n := b.counts
	for _, own := range b.ConverterCounts() {
		n = n.Add(own.Counts)
	}
	if b.supply != nil {
		n.BusErrors += b.supply.dev.Counts()
	}
	return n
}

// ConverterCounts returns what each converter that is read, or was, has of the counts.
func (b *Bench) ConverterCounts() []capture.ConverterCounts {
	all := slices.Clone(b.without)
	for _, c := range b.chips {
		all = append(all, c.counted())
	}
	return all
}

// NewCapture returns an empty capture of the bench's signals that begins now. What
// happened while nobody recorded is no part of it, and what was missed then is not counted.
func (b *Bench) NewCapture() (*capture.Capture, error) {
	if err := b.passOver(); err != nil {
		return nil, err
	}
	now := b.Now()
	b.checked = now
	c := &capture.Capture{Start: now, End: now}
	for _, name := range b.sampled {
		t := capture.NewTrace(name, b.rig.Converter(name))
		t.NominalVolts = b.rig.Output(name).Nominal
		c.Traces = append(c.Traces, t)
	}
	for i, r := range b.roles {
		if r.Role == line.Ready {
			break
		}
		active, err := b.lines.Active(i)
		if err != nil {
			return nil, fmt.Errorf("%w: %s %s: %w", ErrLost, r.Role, r.Line.Name, err)
		}
		b.ledger.Begin(i, active)
		c.Tracks = append(c.Tracks, &capture.Track{Signal: r.Line.Name, Known: true, Initial: active, Stamp: EdgeLatency})
	}
	return c, nil
}

// Record samples and gathers edges into c until the instant, and until the supply's
// setting, where a converter makes it, has been looked at after that. Where it returns an
// error, what was recorded before is in c.
func (b *Bench) Record(ctx context.Context, c *capture.Capture, until capture.Instant) error {
	if err := b.run(ctx, c, until, nil); err != nil {
		return err
	}
	if err := b.checkSupply(ctx, c); err != nil {
		return err
	}
	return b.checkLevels()
}

// run is the bench's loop: it ends at the instant, when stop says so (nil: it never does), or
// with an error.
func (b *Bench) run(ctx context.Context, c *capture.Capture, until instant, stop func() bool) error {
	if b.c != c {
		for _, k := range b.chips {
			k.silence.unsure, k.silence.counted = 0, 0
			k.neighbours.begin()
		}
	}
	b.c = c
	defer b.conclude()
	for {
		if err := b.serve(); err != nil {
			return err
		}
		if n := len(b.opts.Glances); n > 0 { // one a turn, however many look
			b.looker = (b.looker + 1) % n
			b.opts.Glances[b.looker].serve(b)
		}
		now := b.lines.Now()
		if now >= until || stop != nil && stop() {
			return nil
		}
		if err := b.lines.Wait(ctx, b.wake(until)); err != nil {
			_ = b.takeEdges() // the last ones; why there are no more is known
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return lost(fmt.Errorf("%w: %w", ErrLost, err), capture.LinesLost, "")
		}
	}
}

// wake is when the loop must look again though no edge has come: at once where an edge
// has been taken in on the way, while another chip was read.
func (b *Bench) wake(until instant) instant {
	for _, c := range b.chips {
		if c.finished > 0 {
			return b.lines.Now()
		}
		until = min(until, c.wake)
	}
	if len(b.pending) > 0 {
		until = min(until, b.pending[0].at)
	}
	return min(until, b.supply.wake())
}

// serve does what is due: takes the edges in, fetches conversions, switches drives,
// looks at the supply or moves it.
func (b *Bench) serve() error {
	if err := b.takeEdges(); err != nil {
		return err
	}
	now := b.lines.Now()
	for i := 0; i < len(b.chips); i++ {
		c := b.chips[i]
		var err error
		switch {
		case c.finished > 0:
			err = c.fetch(b)
		case now >= c.wake:
			err = c.look(b, now)
		}
		if err != nil {
			if err = c.revive(b, now, err); err != nil && !b.goesOnWithout(c, err) {
				return err
			}
			if err != nil {
				i-- // it is no longer among them
			}
		}
	}
	if len(b.pending) > 0 {
		if err := b.switchDue(); err != nil {
			return err
		}
	}
	if b.supply != nil && b.lines.Now() >= b.supply.wake() {
		return b.supply.serve(b)
	}
	return nil
}

// takeEdges sorts the edges that wait into the capture, the references and the
// converters.
func (b *Bench) takeEdges() error {
	var err error
	before := b.looked
	b.looked = b.lines.Now()
	b.buf, err = b.lines.Edges(b.buf[:0])
	for i := range b.buf {
		e := &b.buf[i]
		if e.Line >= b.readies {
			if c := b.listening[e.Line-b.readies]; c != nil && e.Active {
				c.readyAt(b, e.At)
			}
			continue
		}
		t := b.c.Tracks[e.Line]
		if lost := b.ledger.Add(*e); lost.Edges() > 0 {
			b.counts.LostEdges += uint64(lost.Edges())
			sign := capture.Gap
			if lost.Dropped == 0 {
				sign = capture.Merge
			}
			t.Lose(lost.Edges(), sign, b.c.Start, e.At)
		}
		// An edge that had been stamped and was not there when last asked for was waiting.
		t.Late = max(t.Late, before.Sub(e.At))
		b.c.AddEdge(t, capture.Edge{At: e.At, Closed: e.Active})
		switch {
		case e.Line < b.references:
		case e.Active:
			b.seen[e.Line] = e.At
		default:
			b.left[e.Line] = e.At
		}
	}
	if err != nil {
		return lost(fmt.Errorf("%w: %w", ErrLost, err), capture.LinesLost, "")
	}
	return nil
}

// passOver lets the edges that wait go by: whoever has the bench was doing something else,
// such as storing on a slow disk that a run begins.
func (b *Bench) passOver() error {
	counts := make([]capture.Counts, len(b.chips))
	for i, c := range b.chips {
		counts[i] = c.counts
	}
	b.looked = b.lines.Now()
	var err error
	b.buf, err = b.lines.Edges(b.buf[:0])
	for _, e := range b.buf {
		if e.Line < b.readies {
			b.ledger.Add(e)
		} else if c := b.listening[e.Line-b.readies]; c != nil && e.Active {
			c.readyAt(b, e.At)
		}
	}
	for i, c := range b.chips {
		c.counts = counts[i]
	}
	if err != nil {
		return fmt.Errorf("%w: %w", ErrLost, err)
	}
	for _, c := range b.chips {
		c.passOver(b.lines.Now())
	}
	return nil
}

// conclude writes into the capture what is known of it by now.
func (b *Bench) conclude() {
	b.c.End = b.lines.Now()
	if s := b.supply; s != nil && s.lost {
		s.doubt(b.c, b.c.End)
	}
	b.suspect()
	for _, c := range b.chips {
		for i := range c.channels {
			ch := &c.channels[i]
			c.describe(&b.c.Traces[ch.trace].Converter, ch)
		}
	}
}

// Release makes every drive inactive and leaves the supply at its rest. It needs no
// context and can be called from any goroutine at any time.
func (b *Bench) Release() error {
	return b.supply.release(b.lines.Release)
}

// Close releases the drives, leaves the supply at its rest, which it checks, puts the
// converters to rest and gives the lines back.
func (b *Bench) Close() error {
	_ = b.Release() // at once; Close does it again and tells of drives that do not obey
	unrested := b.supply.close()
	for _, c := range b.chips {
		_ = c.dev.Halt() // a converter that does not answer rests already
	}
	return errors.Join(unrested, b.lines.Close())
}

// CanCause says whether the rig can bring an event about, with an error that lists
// what it can.
func CanCause(rig *wiring.Rig, event string) error {
	if rig.Cause(event) != nil {
		return nil
	}
	names := make([]string, len(rig.Causes))
	for i, c := range rig.Causes {
		names[i] = c.Event
	}
	return fmt.Errorf("%w: rig %s cannot bring about %q; its events: %s", ErrSetup, rig.Name, event, strings.Join(names, ", "))
}

// half returns the standard uncertainty of an instant known to lie within ±d.
func half(d int64) time.Duration { return time.Duration(float64(d) / math.Sqrt(3)) }
