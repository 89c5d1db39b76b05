package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync/atomic"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/capture"
	"makebreak/rig/mcp4725"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// Move is a change of the supply, in volts: at once to To where Over is 0, else from
// From to To in equal steps over that time.
type Move struct {
	From, To float64
	Over     time.Duration
}

// stepGap is the shortest time between two steps of a ramp. A write takes the bus for
// 72.5 µs at 400 kHz and for 290 µs at 100 kHz, and a converter's reading must wait
// that long at most.
const stepGap = 2 * time.Millisecond

// supply is the unit's supply and what it is doing.
type supply struct {
	dev   *mcp4725.Dev
	wired *wiring.Supply
	// let says that everything has been let go of: no ramp goes on. It is set from any
	// goroutine.
	let atomic.Bool

	ramp    ramp
	next    instant // when to write next; never: no ramp is under way
	failed  int     // attempts in a row, each with all its retries
	failing instant // when the first of them began
}

// never lies beyond every instant.
const never = instant(math.MaxInt64)

// ramp is a change of the supply in steps. Step 0 has been written when it begins.
type ramp struct {
	begun    instant
	over     time.Duration
	from, to int // codes
	steps    int
	done     int // the step written last
}

// newRamp plans a ramp: one code a step, or more where that would be more than one
// write every stepGap.
func newRamp(begun instant, over time.Duration, from, to uint16) ramp {
	r := ramp{begun: begun, over: over, from: int(from), to: int(to)}
	r.steps = max(r.to-r.from, r.from-r.to)
	if most := int(min(over/stepGap, math.MaxInt32)); r.steps > most {
		r.steps = max(1, most)
	}
	return r
}

// at returns when a step is due.
func (r *ramp) at(step int) instant {
	n, k := time.Duration(r.steps), time.Duration(step)
	return r.begun.Add(r.over/n*k + r.over%n*k/n)
}

// code returns the code of a step, the codes being as equally far apart as whole ones
// can be.
func (r *ramp) code(step int) uint16 {
	return uint16(r.from + int(math.Round(float64(r.to-r.from)*float64(step)/float64(r.steps))))
}

// due returns the latest step that is due at an instant: what the bench was too late
// for is left out.
func (r *ramp) due(now instant) int {
	step := r.done
	for step < r.steps && r.at(step+1) <= now {
		step++
	}
	return step
}

// openSupply sets the rig's supply, where a converter does that, and checks that its
// chip took it. One that a drive switches stands where the released drive puts it.
func (b *Bench) openSupply(bus i2c.Bus) error {
	w := b.rig.Supply
	if w == nil || w.Stage != nil {
		return nil
	}
	dev, err := mcp4725.New(bus, w.Address, &mcp4725.DefaultOpts)
	if err != nil {
		return fmt.Errorf("%w: supply: %w", ErrSetup, err)
	}
	b.supply = &supply{dev: dev, wired: w, next: never}
	volts := w.Usual
	if b.opts.SupplyAtRest {
		volts = w.Rest
	}
	if err = dev.Set(w.Code(volts)); err == nil {
		err = dev.Verify()
	}
	if err != nil {
		return errors.Join(fmt.Errorf("%w: supply: %w", ErrLost, err), b.supply.rest())
	}
	return nil
}

// MoveSupply sets the supply, notes that in c as an event and returns. What lies
// outside 0 to the supply's highest voltage is refused with ErrSetup.
//
// Where a converter sets it, the event's instant is the end of the transfer that wrote
// the first voltage; the change was before it, by the time of that transfer at most. The
// further steps of a ramp are made while the bench records, up to one code at a time; the
// next MoveSupply puts an end to them. Voltages are met within half a step of
// wiring.Supply.Step; see its Code. Where the chip does not answer MoveSupply goes on
// recording and tries again, and gives up with ErrLost.
//
// Where a drive switches it, To is one of its two voltages, at once; anything else is
// refused with ErrSetup. The event's instant is the drive's, as Cause has it, and the
// drive's longest_on holds as there.
func (b *Bench) MoveSupply(ctx context.Context, c *capture.Capture, event string, m Move) (capture.Event, error) {
	if err := b.canMove(event, m); err != nil {
		return capture.Event{}, err
	}
	if err := ctx.Err(); err != nil {
		return capture.Event{}, err // what was let go stays so
	}
	if g := b.rig.Supply.Stage; g != nil {
		return b.switchSupply(c, event, g, m.To)
	}
	s := b.supply
	s.let.Store(false)
	s.next, s.failed = never, 0
	b.c = c
	first := m.From
	if m.Over == 0 {
		first = m.To
	}
	code := s.wired.Code(first)
	for {
		began := b.lines.Now()
		err := s.write(code)
		if err == nil {
			end := b.lines.Now()
			s.begin(end, m, code)
			return b.note(c, capture.Event{Name: event, At: end, Uncertainty: half(int64(end - began)), Timed: "supply"}), nil
		}
		if err := s.lost(began, b.lines.Now(), err); err != nil {
			return capture.Event{}, err
		}
		if err := b.Record(ctx, c, b.lines.Now().Add(rest)); err != nil {
			return capture.Event{}, err
		}
	}
}

// canMove says what is wrong with a change of the supply.
func (b *Bench) canMove(event string, m Move) error {
	has := b.rig.Supply
	switch {
	case has == nil:
		return fmt.Errorf("%w: event %s: rig %s has no supply that can be set", ErrSetup, event, b.rig.Name)
	case has.Stage != nil:
		return b.canSwitch(event, has.Stage, m)
	}
	volts := []float64{m.To}
	if m.Over != 0 {
		volts = []float64{m.From, m.To}
	}
	highest := has.Highest
	for _, v := range volts {
		if !(v >= 0 && v <= highest) {
			return fmt.Errorf("%w: event %s: the supply of rig %s goes from 0 V to %s, not to %s", ErrSetup, event, b.rig.Name,
				unit.Voltage.Format(highest), unit.Voltage.Format(v))
		}
	}
	if m.Over < 0 {
		return fmt.Errorf("%w: event %s: a ramp of %v", ErrSetup, event, m.Over)
	}
	return nil
}

// begin begins what comes after the first voltage.
func (s *supply) begin(at instant, m Move, first uint16) {
	s.failed = 0
	s.ramp = newRamp(at, m.Over, first, s.wired.Code(m.To))
	s.plan()
}

// plan says when the next step is due.
func (s *supply) plan() {
	s.next = never
	if s.ramp.done < s.ramp.steps {
		s.next = s.ramp.at(s.ramp.done + 1)
	}
}

// step writes the step that is due.
func (s *supply) step(b *Bench) error {
	if s.let.Load() {
		s.next = never
		return nil
	}
	began := b.lines.Now()
	step := s.ramp.due(began)
	if err := s.write(s.ramp.code(step)); err != nil {
		s.next = b.lines.Now().Add(rest)
		return s.lost(began, b.lines.Now(), err)
	}
	s.failed, s.ramp.done = 0, step
	s.plan()
	return nil
}

// write writes a code. Where everything has been let go of meanwhile, that write may
// have come after the last word, which is then said again.
func (s *supply) write(code uint16) error {
	err := s.dev.Set(code)
	if s.let.Load() {
		return errors.Join(err, s.rest())
	}
	return err
}

// lost takes in a failure, and returns an error once there have been too many in a
// row or for too long: the same as with a converter.
func (s *supply) lost(began, now instant, cause error) error {
	if s.failed == 0 {
		s.failing = began
	}
	s.failed++
	if s.failed <= revivals && now.Sub(s.failing) <= longestFailing {
		return nil
	}
	return fmt.Errorf("%w: supply: %w", ErrLost, cause)
}

// rest leaves the supply at its rest.
func (s *supply) rest() error { return s.dev.Set(s.wired.Code(s.wired.Rest)) }

// close leaves the supply at its rest and checks that it is there.
func (s *supply) close() error {
	if s == nil {
		return nil
	}
	s.next = never
	err := s.rest()
	if err == nil {
		err = s.dev.Verify()
	}
	if err != nil {
		return fmt.Errorf("the supply may not be at its rest of %s, switch it off: %w", unit.Voltage.Format(s.wired.Rest), err)
	}
	return nil
}

// release has no ramp go on. It may be called from any goroutine.
func (s *supply) release() {
	if s != nil {
		s.let.Store(true)
	}
}

// wake is when the supply is to be written next.
func (s *supply) wake() instant {
	if s == nil {
		return never
	}
	return s.next
}
