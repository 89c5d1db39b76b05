package runner

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync/atomic"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/task"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

// A Part is what one of several units at a rig has of a run that all of them make together.
type Part struct {
	Unit *wiring.Unit
	// Opts are as for a run of its own, by the unit's names. What is the bench's is taken from
	// the first part: Now and Measurer.
	Opts Opts
	// OnEnd is called from OnCycle's goroutine when the unit's last cycle has been stored and
	// others go on, with why it ended as in Ended; nil: nothing is.
	OnEnd func(error)
}

// Together is a sequence that runs on several units of a rig at the same time.
type Together struct {
	Rig      *wiring.Rig // with the units
	Sequence *sequences.Sequence
	Parts    []Part
	// Store stores the parts' cycles, by the parts' places, all of them or none; nil: none are
	// stored.
	Store func([][]*journal.Cycle) error
	// OnEvent is called as the parts' own is, once for all units, with the cycle of the first one.
	OnEvent func(cycle int, event string)
	// OnCycle is called when the units' cycles have been stored that were made at the same time,
	// with the gravest of their verdicts and what the bench's counts grew by, after the parts' own.
	OnCycle func(analyze.Verdict, capture.Counts)
}

// Ended is how one unit's part ended: nil, or an error as Run returns it. A unit that has ended
// early has ended no other.
type Ended struct {
	Outcome
	Err error
}

// RunTogether runs the sequence on all units. Each step is brought about at all of them, as close
// together as the rig can, and watched from the last one's instant on. A unit whose cycle does not
// pass, where it is to stop then, or of which a converter or a reference no longer answers, ends by
// itself. The drives are released when it returns.
func RunTogether(ctx context.Context, b *bench.Bench, t Together) []Ended {
	defer b.Release()
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	r := &joint{Together: t, bench: b, stop: cancel}
	first, err := b.NewCapture()
	if err == nil {
		first.Thin()
		err = r.begin(first)
	}
	if err != nil {
		return r.ended(err)
	}
	b.OnChipLost(r.chipLost)
	defer b.OnChipLost(nil)
	queue := &waiting{cycles: make(chan recorded, depth)}
	finished := make(chan error, 1)
	task.Go(func() { finished <- r.work(queue) })

	err = r.record(ctx, first, queue)
	close(queue.cycles)
	_ = b.Release()
	if measureErr := <-finished; measureErr != nil {
		err = measureErr
	}
	return r.ended(err)
}

// joint is a run of several units under way.
type joint struct {
	Together
	bench *bench.Bench
	parts []*part
	stop  context.CancelCauseFunc
}

// part is one unit's part under way.
type part struct {
	Part
	signals []capture.Named // of the rig, by what the unit calls them
	drives  []string        // of the rig, that are the unit's own
	// out says that no more is done with the unit. The measurer sets it where a cycle does not
	// pass, the bench where the unit is lost.
	out atomic.Bool

	// Of the bench's goroutine:
	lost     error           // why the unit cannot go on; nil: it can
	lostAt   capture.Instant // when it was lost
	released bool

	// Of the measurer's:
	meter   *measurer
	stopped bool // by a cycle that did not pass
	told    bool // OnEnd was called
}

// begin finds what is each unit's, and readies its measuring.
func (r *joint) begin(first *capture.Capture) error {
	for i := range r.Parts {
		p := &part{Part: r.Parts[i]}
		r.parts = append(r.parts, p)
		for _, c := range slices.Concat(p.Unit.Outputs, p.Unit.Contacts, p.Unit.References, p.Unit.Drives) {
			p.signals = append(p.signals, capture.Named{Own: c.Own, As: c.As})
		}
		for _, name := range r.Rig.Shared {
			p.signals = append(p.signals, capture.Named{Own: name, As: name})
		}
		p.drives = words.Texts(p.Unit.Drives, func(c wiring.Channel) string { return c.Own })
		meter, err := diagnose.NewExaminer(&r.Sequence.Plan, p.of(first))
		if err != nil {
			return fmt.Errorf("%w: %w", bench.ErrSetup, err)
		}
		var sampled []string
		for _, own := range r.bench.Sampled() {
			if as := p.Unit.AsOf(own); as != "" {
				sampled = append(sampled, as)
			}
		}
		p.meter = &measurer{meter: meter, seq: r.Sequence, opts: p.Opts, calibrations: capture.CalibrationsOf(p.Opts.Calibrations, sampled), stop: r.stop}
	}
	return nil
}

// of is the unit's part of a capture of the rig.
func (p *part) of(c *capture.Capture) *capture.Capture {
	return c.Part(p.signals, func(event string) (string, bool) {
		unit, name := wiring.CutPlace(event)
		return name, unit == p.Unit.Name || unit == ""
	})
}

// ended says how each part ended, where the error is what ended those that were not done.
func (r *joint) ended(err error) []Ended {
	all := make([]Ended, len(r.Parts))
	for i := range all {
		if all[i].Err = err; i >= len(r.parts) || r.parts[i].meter == nil {
			continue
		}
		p := r.parts[i]
		all[i].Outcome = p.meter.outcome
		all[i].Counts, all[i].Converters = r.bench.Counts(), r.bench.ConverterCounts()
		switch {
		case p.meter.ended:
			all[i].Err = ErrStopped
		case p.lost != nil:
			all[i].Err = p.lost
		case p.meter.outcome.Last >= p.Opts.Last && p.meter.lastWhole:
			all[i].Err = nil
		}
	}
	return all
}

// share is a unit's part of a recorded cycle.
type share struct {
	part  *part
	n     int // of the unit's cycle
	whole bool
	lost  capture.Instant // when the unit was lost; 0: it was not
	why   error           // it was lost
}

// record keeps the bench going, as for one unit, until no unit has cycles left.
func (r *joint) record(ctx context.Context, c *capture.Capture, queue *waiting) error {
	now := r.Parts[0].Opts.Now
	before := counted{}
	for round := 0; ; round++ {
		shares := r.present(round)
		if len(shares) == 0 {
			return nil
		}
		started := now()
		err := r.cycle(ctx, c, round, shares)
		counts := countsOf(r.bench)
		for i := range shares {
			s := &shares[i]
			s.whole, s.lost, s.why = err == nil && s.part.lost == nil, s.part.lostAt, s.part.lost
		}
		one := recorded{round, started, c, counts.since(before), err == nil, shares}
		if err == nil && len(r.present(round+1)) > 0 {
			c, err = enqueue(ctx, r.bench, one, c.Continue(), queue)
			if before = counts; err == nil {
				continue
			}
		}
		_ = r.bench.Release()
		queue.samples.Add(one.capture.Held())
		queue.cycles <- one
		return err
	}
}

// present are the shares of the units that have a cycle left in a round.
func (r *joint) present(round int) (all []share) {
	for _, p := range r.parts {
		if n := p.Opts.First + round; !p.out.Load() && n <= p.Opts.Last {
			all = append(all, share{part: p, n: n})
		}
	}
	return all
}

// cycle passes once through the sequence's steps, with the units that are still there.
func (r *joint) cycle(ctx context.Context, c *capture.Capture, round int, shares []share) error {
	if round == 0 {
		if err := r.bench.Record(ctx, c, r.bench.Now().Add(r.Sequence.Baseline)); err != nil {
			return err
		}
	}
	for i, step := range r.Sequence.Steps {
		there := slices.DeleteFunc(slices.Clone(shares), func(s share) bool { return s.part.out.Load() })
		if err := r.let(c, there); err != nil || len(there) == 0 {
			return err
		}
		for _, s := range there {
			if s.part.Opts.OnStep != nil {
				s.part.Opts.OnStep(s.n, i)
			}
		}
		latest, err := r.act(ctx, c, step, there)
		if err != nil {
			return err
		}
		if r.OnEvent != nil {
			r.OnEvent(there[0].n, step.Event)
		}
		for _, s := range there {
			if s.part.Opts.OnEvent != nil && s.part.lost == nil {
				s.part.Opts.OnEvent(s.n, step.Event)
			}
		}
		if err := r.bench.Record(ctx, c, latest.Add(step.Hold)); err != nil {
			return err
		}
	}
	return nil
}

// let switches the drives off of units with which no more is done.
func (r *joint) let(c *capture.Capture, there []share) error {
	for _, p := range r.parts {
		if p.released || slices.ContainsFunc(there, func(s share) bool { return s.part == p }) {
			continue
		}
		p.released = true
		if err := r.bench.Off(c, p.drives); err != nil {
			return err
		}
	}
	return nil
}

// act brings a step's event about at the units, and returns the latest of its instants. What is of
// all units happens once.
func (r *joint) act(ctx context.Context, c *capture.Capture, step sequences.Step, there []share) (capture.Instant, error) {
	var own []string
	var of []*part
	for _, s := range there {
		k := r.Rig.CauseOf(s.part.Unit, step.Cause)
		if step.Supply != nil || k == nil || k.Unit == "" {
			e, err := Act(ctx, r.bench, c, step) // for all of them
			return e.At, err
		}
		own, of = append(own, k.Event), append(of, s.part)
	}
	from := len(c.Events)
	happened, err := r.bench.CauseAll(ctx, c, own)
	if err != nil {
		return 0, err
	}
	latest := capture.Instant(0)
	for i, h := range happened {
		if latest = max(latest, h.Event.At); h.Err != nil {
			of[i].lose(h.Err, r.bench.Now())
		}
	}
	for i := from; i < len(c.Events); i++ {
		unit, _ := wiring.CutPlace(c.Events[i].Name)
		c.Events[i].Name = wiring.Place(unit, step.Event) // results stand under the step's name
	}
	return latest, nil
}

// lose ends the unit's part, because of what is lost of the rig.
func (p *part) lose(err error, at capture.Instant) {
	if p.lost == nil && !p.out.Load() {
		p.lost, p.lostAt = err, at
		p.out.Store(true)
	}
}

// chipLost ends the parts of the units that have outputs on a converter that no longer answers, and
// says whether others go on.
func (r *joint) chipLost(outputs []string, err error) bool {
	others := false
	for _, p := range r.parts {
		if slices.ContainsFunc(outputs, func(o string) bool { return p.Unit.AsOf(o) != "" }) {
			p.lose(err, r.bench.Now())
		} else if !p.out.Load() {
			others = true
		}
	}
	return others
}

// work measures cycles and stores them until there are no more, as for one unit.
func (r *joint) work(queue *waiting) error {
	return queue.work(r.Parts[0].Opts.Measurer, r.stop, r.batch)
}

// batch measures one cycle of all units and those that wait behind it, and stores them together.
func (r *joint) batch(one recorded, queue *waiting) error {
	batches := make([][]*journal.Cycle, len(r.parts))
	ends := make([]*end, len(r.parts))
	n := 0
	for more := true; more; n++ {
		queue.taken(one)
		noteEnds(one, r.parts, ends)
		if err := r.measure(one, batches); err != nil {
			return err
		}
		if n == depth-1 {
			break
		}
		select {
		case one, more = <-queue.cycles:
		default:
			more = false
		}
	}
	if r.Store != nil {
		if err := r.Store(batches); err != nil {
			return err
		}
	}
	if err := r.report(batches); err != nil {
		return err
	}
	r.tellEnds(ends)
	return nil
}

// end is why a unit's part has ended before the others.
type end struct{ err error }

// noteEnds notes which units have had their last cycle, other than by a cycle that did not pass.
func noteEnds(one recorded, parts []*part, ends []*end) {
	for _, s := range one.shares {
		if i := slices.Index(parts, s.part); s.why != nil {
			ends[i] = &end{s.why}
		} else if s.whole && s.n == s.part.Opts.Last {
			ends[i] = &end{}
		}
	}
}

// tellEnds tells of the units' ends, once of each.
func (r *joint) tellEnds(ends []*end) {
	for i, p := range r.parts {
		e := ends[i]
		if p.stopped {
			e = &end{ErrStopped}
		}
		if e == nil || p.told {
			continue
		}
		if p.told = true; p.OnEnd != nil {
			p.OnEnd(e.err)
		}
	}
}

// measure measures each unit's share of a cycle. Of a unit that has been stopped nothing more is
// measured.
func (r *joint) measure(one recorded, batches [][]*journal.Cycle) error {
	for _, s := range one.shares {
		p := s.part
		if p.stopped {
			continue
		}
		own := p.of(one.capture)
		if s.lost > 0 { // events of all units went on
			own.Events = slices.DeleteFunc(own.Events, func(e capture.Event) bool { return e.At > s.lost })
		}
		c, err := p.meter.ready(recorded{s.n, one.started, own, one.counts, s.whole, nil})
		if err != nil {
			return err
		}
		i := slices.Index(r.parts, p)
		batches[i] = append(batches[i], c)
		if p.stopped = p.meter.stops(c); p.stopped {
			p.out.Store(true)
		}
	}
	return nil
}

// report tells of the cycles that are stored. When the last unit has been stopped the bench is.
func (r *joint) report(batches [][]*journal.Cycle) error {
	for i, batch := range batches {
		if err := r.parts[i].meter.report(batch); err != nil && !errors.Is(err, ErrStopped) {
			return err
		}
	}
	if r.OnCycle != nil {
		for i, more := 0, true; more; i++ {
			worst, counts := analyze.NoVerdict, capture.Counts{}
			more = false
			for _, batch := range batches {
				if i < len(batch) {
					worst, more = worst.Worse(analyze.RunVerdict(batch[i].Complete, batch[i].Verdict)), true
					counts = batch[i].Counts // the same for all
				}
			}
			if more {
				r.OnCycle(worst, counts)
			}
		}
	}
	if !slices.ContainsFunc(r.parts, func(p *part) bool { return !p.stopped }) {
		return ErrStopped
	}
	return nil
}
