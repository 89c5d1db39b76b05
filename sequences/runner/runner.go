// Package runner runs a sequence on a bench: it brings the events about, watches
// the states between them, and hands every cycle to be measured and logged.
//
// Two goroutines share the work. One keeps the bench's loop going without a
// break, since a conversion that is not fetched in time is gone. The other
// measures the cycle before and writes it to the log, which may take longer
// than a conversion does.
package runner

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime/debug"
	"slices"
	"sync/atomic"
	"time"

	"makebreak/analyze"
	"makebreak/analyze/diagnose"
	"makebreak/rig/bench"
	"makebreak/rig/calibration"
	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/task"
	"makebreak/sequences"
	"makebreak/sequences/journal"
)

// Around is how much of a capture is kept around its events, edges and steps.
const Around = 100 * time.Millisecond

// Recorder stores cycles. They are safe when Append returns.
type Recorder interface {
	Append(...*journal.Cycle) error
}

// ErrStopped says that the run ended before all its cycles because a cycle
// failed and the run was to stop then.
var ErrStopped = capture.Ended(errors.New("stopped at the first cycle that did not pass"), capture.Ending{Code: capture.NotPassed, Value: math.NaN()})

// ErrInternal says that the program itself is at fault.
var ErrInternal error = problem.New(problem.Internal, "internal error")

// Opts say how a sequence is run.
type Opts struct {
	// First is the number of the first cycle, usually 1; Last that of the last.
	First, Last int
	// StopOnFail ends the run after the first cycle that does not pass.
	StopOnFail bool
	// Now gives the wall-clock time that is written into the log.
	Now func() time.Time
	// Calibrations say by which calibrations the bench corrects its outputs' readings. Each
	// cycle is judged by what they are worth on the day on which it begins.
	Calibrations []capture.Calibration
	// Recorder stores the cycles; nil: none are stored.
	Recorder Recorder
	// Keep says whether and why a cycle's capture is stored; nil: every one is. It is
	// asked once for each cycle, in their order.
	Keep func(*journal.Cycle) journal.Kept
	// Measurer is called once, first of all on the goroutine that measures the cycles and
	// stores them, which is not the one that keeps the bench going; nil: nothing is.
	Measurer func()
	// OnCycle is called after a cycle has been stored, from one goroutine.
	OnCycle func(*journal.Cycle)
	// OnEvent is called when an event has been brought about, and OnStep before that with the
	// step's place in the sequence, from 0. Both are called from the bench's goroutine: they
	// must not block.
	OnEvent func(cycle int, event string)
	OnStep  func(cycle, step int)
	// OnCapture is called with each cycle that has been measured, before it is stored, and
	// with its capture, which must not be kept. It is called from OnCycle's goroutine.
	OnCapture func(*journal.Cycle, *capture.Capture)
}

// Outcome is how a run ended.
type Outcome struct {
	Cycles  int             // measured and stored whole
	Last    int             // number of the last one stored, whole or not; 0: none was
	Gravest analyze.Verdict // of those stored, whole or not
	Counts  capture.Counts
	// Converters say what each of the bench's converters has of the counts.
	Converters []capture.ConverterCounts
}

// recorded is one cycle on its way from the bench to the log.
type recorded struct {
	n       int
	started time.Time
	capture *capture.Capture
	counts  counted
	whole   bool
	shares  []share // of several units; nil: it is of one
}

// counted is what a bench counts: in all, and of each of its converters.
type counted struct {
	all        capture.Counts
	converters []capture.ConverterCounts
}

func countsOf(b *bench.Bench) counted { return counted{b.Counts(), b.ConverterCounts()} }

// since is what has been counted since an earlier reading, of converters with anything counted.
func (c counted) since(before counted) counted {
	d := counted{all: c.all.Sub(before.all)}
	for _, own := range c.converters {
		if i := slices.IndexFunc(before.converters, func(k capture.ConverterCounts) bool { return k.Converter == own.Converter }); i >= 0 {
			own.Counts = own.Counts.Sub(before.converters[i].Counts)
		}
		if own.Counts != (capture.Counts{}) {
			d.converters = append(d.converters, own)
		}
	}
	return d
}

// depth is how many cycles may wait to be measured before the bench waits for the measurer. A
// bench in virtual time is faster than a disk; what waits is stored together.
const depth = 16

// mostWaiting is how many samples of more than one cycle may wait, so that long cycles do not
// take the memory of many.
const mostWaiting = 1 << 20

// waiting is the cycles that wait to be measured.
type waiting struct {
	cycles  chan recorded
	samples atomic.Int64
}

// room reports whether a cycle may join those that wait.
func (q *waiting) room(r recorded) bool {
	n := q.samples.Load()
	return n == 0 || n+r.capture.Held() <= mostWaiting
}

// taken takes a cycle that is measured next off those that wait.
func (q *waiting) taken(r recorded) { q.samples.Add(-r.capture.Held()) }

// Run runs the sequence. The drives are released when it returns, whatever the
// reason; it stops early when the context is done (with its error), the rig is
// lost (bench.ErrLost), a cycle cannot be stored (the recorder's error) or, where
// asked, a cycle does not pass (ErrStopped). What was captured until then has been
// handed to the recorder, the cycle under way marked as not complete.
func Run(ctx context.Context, b *bench.Bench, seq *sequences.Sequence, opts Opts) (Outcome, error) {
	defer b.Release()
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)

	first, err := b.NewCapture()
	if err != nil {
		return Outcome{}, err
	}
	first.Thin()
	meter, err := diagnose.NewExaminer(&seq.Plan, first)
	if err != nil {
		return Outcome{}, fmt.Errorf("%w: %w", bench.ErrSetup, err)
	}
	queue := &waiting{cycles: make(chan recorded, depth)}
	m := &measurer{meter: meter, seq: seq, opts: opts, calibrations: capture.CalibrationsOf(opts.Calibrations, b.Sampled()), stop: cancel}
	finished := make(chan error, 1)
	task.Go(func() { finished <- m.work(queue) })

	err = record(ctx, b, seq, opts, first, queue)
	close(queue.cycles)
	_ = b.Release() // at once: the log may take its time, and Close tells of drives that do not obey
	if measureErr := <-finished; measureErr != nil {
		err = measureErr
	}
	m.outcome.Counts, m.outcome.Converters = b.Counts(), b.ConverterCounts()
	return m.outcome, err
}

// record keeps the bench going, cycle after cycle. The drives are released before it waits
// for the measurer with the last one.
func record(ctx context.Context, b *bench.Bench, seq *sequences.Sequence, opts Opts, c *capture.Capture, queue *waiting) error {
	before := counted{}
	for n := opts.First; n <= opts.Last; n++ {
		started := opts.Now()
		err := cycle(ctx, b, seq, opts, c, n)
		now := countsOf(b)
		r := recorded{n, started, c, now.since(before), err == nil, nil}
		if err == nil && n < opts.Last {
			c, err = enqueue(ctx, b, r, c.Continue(), queue)
			if before = now; err == nil {
				continue
			}
		}
		_ = b.Release()
		queue.samples.Add(r.capture.Held())
		queue.cycles <- r
		return err
	}
	return nil
}

// pollEvery is how often the bench looks whether the measurer can take a cycle.
const pollEvery = 20 * time.Millisecond

// enqueue gives a cycle to the measurer. While that one is behind, as on a disk that stalls, the
// bench goes on into the next capture, so that no drive stays on for too long and a
// cancellation ends it. Virtual time stands still while nobody waits for it to pass, and
// must: how far a simulated run gets would depend on the disk. On an error the cycle has
// not been given away.
func enqueue(ctx context.Context, b *bench.Bench, r recorded, next *capture.Capture, queue *waiting) (*capture.Capture, error) {
	size := r.capture.Held()
	for {
		var to chan<- recorded // nil, into which nothing can be sent, while there is no room
		if queue.room(r) {
			to = queue.cycles
		}
		queue.samples.Add(size) // before the measurer can take it off
		select {
		case to <- r:
			return next, nil
		default:
			queue.samples.Add(-size)
		}
		if b.Now() > next.End {
			if err := b.Record(ctx, next, b.Now().Add(pollEvery)); err != nil {
				return nil, err
			}
			next = continued(next)
			continue
		}
		queue.samples.Add(size)
		select {
		case to <- r:
			return next, nil
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(pollEvery):
			queue.samples.Add(-size)
		}
	}
}

// continued returns a capture that goes on where c ends, which is done with: nothing
// happened in it that belongs to a cycle, save that the unit was not supplied.
func continued(c *capture.Capture) *capture.Capture {
	next := c.Continue()
	next.Unsupplied = c.Unsupplied
	c.Recycle()
	return next
}

// cycle passes once through the sequence's steps.
func cycle(ctx context.Context, b *bench.Bench, seq *sequences.Sequence, opts Opts, c *capture.Capture, n int) error {
	if n == opts.First {
		if err := b.Record(ctx, c, b.Now().Add(seq.Baseline)); err != nil {
			return err
		}
	}
	for i, step := range seq.Steps {
		if opts.OnStep != nil {
			opts.OnStep(n, i)
		}
		e, err := Act(ctx, b, c, step)
		if err != nil {
			return err
		}
		if opts.OnEvent != nil {
			opts.OnEvent(n, step.Event)
		}
		if err := b.Record(ctx, c, e.At.Add(step.Hold)); err != nil {
			return err
		}
	}
	return nil
}

// Act brings a step's event about, or moves the supply.
func Act(ctx context.Context, b *bench.Bench, c *capture.Capture, step sequences.Step) (capture.Event, error) {
	if mv := step.Supply; mv != nil {
		return b.MoveSupply(ctx, c, step.Event, bench.Move{From: float64(mv.From), To: float64(mv.To), Over: mv.Over})
	}
	e, err := b.Cause(ctx, c, step.Cause)
	if err == nil && e.Name != step.Event {
		// The rig knows the event by its own name; results stand under the step's.
		e.Name = step.Event
		c.Events[len(c.Events)-1].Name = step.Event
	}
	return e, err
}

// measurer measures cycles and stores them.
type measurer struct {
	meter *diagnose.Examiner
	seq   *sequences.Sequence
	opts  Opts
	// calibrations are those of the outputs sampled, as they stand on a day.
	calibrations []capture.Calibration
	day          calibration.Day
	stop         context.CancelCauseFunc
	outcome      Outcome
	lastWhole    bool // the last cycle stored was whole
	ended        bool // by a cycle that did not pass, which is stored
}

// work takes cycles until there are no more. After an error it stops the bench
// and lets the rest pass by.
func (m *measurer) work(queue *waiting) error {
	return queue.work(m.opts.Measurer, m.stop, m.batch)
}

// work gives each cycle to batch until there are no more, after first, which may be nil. After an
// error it stops the bench and lets the rest pass by.
func (queue *waiting) work(first func(), stop context.CancelCauseFunc, batch func(recorded, *waiting) error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w while measuring: %v\n%s", ErrInternal, p, debug.Stack())
			task.Fault(err.Error())
		}
		if err != nil {
			stop(err)
			for range queue.cycles {
			}
		}
	}()
	if first != nil {
		first()
	}
	for r := range queue.cycles {
		if err := batch(r, queue); err != nil {
			return err
		}
	}
	return nil
}

// batch measures one cycle and those that wait behind it, and stores them together.
func (m *measurer) batch(r recorded, queue *waiting) error {
	var batch []*journal.Cycle
	for more := true; more; {
		queue.taken(r)
		c, err := m.ready(r)
		if err != nil {
			return err
		}
		batch = append(batch, c)
		if m.stops(c) || len(batch) == depth {
			break
		}
		select {
		case r, more = <-queue.cycles:
		default:
			more = false
		}
	}
	if m.opts.Recorder != nil {
		if err := m.opts.Recorder.Append(batch...); err != nil {
			return err
		}
	}
	return m.report(batch)
}

// ready measures a cycle and decides whether its capture is kept.
func (m *measurer) ready(r recorded) (*journal.Cycle, error) {
	c := m.measure(r)
	if m.opts.OnCapture != nil {
		m.opts.OnCapture(c, r.capture)
	}
	if m.opts.Recorder != nil {
		if m.opts.Keep != nil {
			c.Kept = m.opts.Keep(c)
		}
		if c.Kept != journal.NotKept {
			cut := r.capture.Around(Around)
			b, err := cut.MarshalBinary()
			cut.Recycle()
			if err != nil {
				return nil, fmt.Errorf("cycle %d: %w", c.N, err)
			}
			c.Capture = b
		}
	}
	r.capture.Recycle()
	return c, nil
}

// report tells of cycles that are stored.
func (m *measurer) report(batch []*journal.Cycle) error {
	for _, c := range batch {
		if c.Complete {
			m.outcome.Cycles++
		}
		m.outcome.Last, m.lastWhole = c.N, c.Complete
		m.outcome.Gravest = m.outcome.Gravest.Worse(c.Verdict)
		if m.opts.OnCycle != nil {
			m.opts.OnCycle(c)
		}
		if m.stops(c) {
			m.ended = true
			return ErrStopped
		}
	}
	return nil
}

// stops reports whether a cycle ends the run by its verdict.
func (m *measurer) stops(c *journal.Cycle) bool {
	return m.opts.StopOnFail && c.Complete && c.Verdict != analyze.Pass && c.Verdict != analyze.NoVerdict
}

// measure turns a capture into figures. Of a cycle that was cut short the state
// under way is left out: it might have come right.
func (m *measurer) measure(r recorded) *journal.Cycle {
	m.meter.SetCycle(r.n)
	m.judgeBy(calibration.DayOf(r.started))
	events := r.capture.Events
	for i, e := range events {
		to := r.capture.End
		if i+1 < len(events) {
			to = events[i+1].At
		} else if !r.whole {
			break
		}
		m.meter.State(r.capture, e, to)
	}
	result := m.meter.Take()
	return &journal.Cycle{N: r.n, Started: r.started, Measurements: result.Measurements, Symptoms: result.Symptoms,
		Counts: r.counts.all, Converters: r.counts.converters, Verdict: result.Verdict(), Complete: r.whole, Calibrations: m.calibrations}
}

// judgeBy judges the cycles to come by what the calibrations are worth on a day.
func (m *measurer) judgeBy(day calibration.Day) {
	if day == m.day || m.calibrations == nil {
		return
	}
	m.day = day
	now := slices.Clone(m.calibrations) // cycles before have the other
	for i := range now {
		now[i] = now[i].On(day.String())
	}
	m.calibrations = now
	m.meter.SetCalibrations(now)
}
