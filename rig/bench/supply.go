package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/capture"
	"makebreak/rig/mcp4725"
	"makebreak/rig/problem"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
)

// Move is a change of the supply, in volts: at once to To where Over is 0, else from
// From to To in equal steps over that time.
type Move struct {
	From, To float64 // V
	Over     time.Duration
}

// ErrReleased says that the supply was not moved, or does not stand where it was moved to,
// because everything was released meanwhile: it is at its rest.
var ErrReleased error = problem.New(problem.Rig, "everything has been released, the supply is at its rest")

// stepGap is the shortest time between two steps of a ramp. A write takes the bus for
// 72.5 µs at 400 kHz and for 290 µs at 100 kHz, a look at the setting for 95 µs and
// 380 µs, and a converter's reading must wait for one of them at most.
const stepGap = 2 * time.Millisecond

// The setting is looked at before each write, which would hide that it was lost, and at
// the end of each recording; else once what was set has settled, and then every checkGap.
const (
	checkGap = time.Second
	settling = 100 * time.Millisecond // of the unit and its relays (common practice, no source)
)

// mismatchesReset is how many looks in a row must find another setting before it counts as lost:
// I²C has no check sum.
const mismatchesReset = 2

// supply is the unit's supply and what it is doing.
type supply struct {
	dev   *mcp4725.Dev
	wired *wiring.Supply
	code  uint16 // written last

	// releases counts how often everything has been released, from any goroutine, and
	// seen what the bench knew of that when it set the supply last. releaseLock is held while
	// it is done.
	releaseLock sync.Mutex
	releases    atomic.Uint64
	seen        uint64

	ramp      ramp
	nextWrite instant // when to write next; never: no ramp is under way
	checked   bool    // the setting, for the step that is due

	nextCheck  instant // when to read the setting back next
	verified   instant // until when the setting is known to have been what was written
	mismatches int     // readings in a row that found it otherwise
	lost       bool    // it was, and the unit has not yet followed when it was written again
	why        error   // what was found then
	settled    instant // when the unit will have followed
	failed     int     // attempts in a row, each with all its retries
	failing    instant // when the first of them began
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
	s := &supply{dev: dev, wired: w, nextWrite: never}
	volts := w.Usual
	if b.opts.SupplyAtRest {
		volts = w.Rest
	}
	if err = s.write(w.Code(volts)); err == nil {
		err = dev.Verify()
	}
	if err != nil {
		return errors.Join(fmt.Errorf("%w: supply: %w", ErrLost, err), s.rest())
	}
	s.settle(b.lines.Now())
	b.supply = s
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
// Where everything is released meanwhile the supply goes to its rest, and the error is
// ErrReleased.
//
// Where a drive switches it, To is one of its two voltages, at once; anything else is
// refused with ErrSetup. The event's instant is the drive's, as Cause has it, and the
// drive's longest_on holds as there.
func (b *Bench) MoveSupply(ctx context.Context, c *capture.Capture, event string, m Move) (capture.Event, error) {
	if err := b.canMove(event, m); err != nil {
		return capture.Event{}, err
	}
	if err := ctx.Err(); err != nil {
		return capture.Event{}, err // what was released stays so
	}
	if g := b.rig.Supply.Stage; g != nil {
		return b.switchSupply(c, event, g, m.To)
	}
	s := b.supply
	b.c = c
	s.resume()
	s.nextWrite = never
	if s.lost || b.lines.Now().Sub(s.verified) > stepGap {
		if err := b.checkSupply(ctx, c); err != nil {
			return capture.Event{}, err
		}
	}
	return b.setSupply(ctx, c, event, m)
}

// setSupply writes a move's first voltage, again and again where the chip does not answer:
// until it has, nobody knows what it holds, and a look would say nothing.
func (b *Bench) setSupply(ctx context.Context, c *capture.Capture, event string, m Move) (capture.Event, error) {
	s, first := b.supply, m.From
	if m.Over == 0 {
		first = m.To
	}
	s.nextCheck = never
	for {
		began := b.lines.Now()
		err := s.write(s.wired.Code(first))
		end := b.lines.Now()
		switch {
		case err == nil:
			s.begin(end, m)
			return b.note(c, capture.Event{Name: event, At: end, Uncertainty: half(int64(end - began)), Timed: "supply"}), nil
		case errors.Is(err, ErrReleased):
			return capture.Event{}, fmt.Errorf("event %s: %w", event, err)
		}
		if err := s.giveUp(began, end, err); err != nil {
			return capture.Event{}, err
		}
		if err := b.run(ctx, c, end.Add(retryPause), nil); err != nil {
			return capture.Event{}, err
		}
	}
}

// checkSupply goes on recording until the supply's setting has been looked at and is
// right. Where it was lost, that is once it has been written again and the unit has
// followed.
func (b *Bench) checkSupply(ctx context.Context, c *capture.Capture) error {
	s := b.supply
	if s == nil || s.released() {
		return nil
	}
	from := b.lines.Now()
	s.nextCheck = from
	return b.run(ctx, c, never, func() bool { return s.released() || !s.lost && s.verified >= from })
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
func (s *supply) begin(at instant, m Move) {
	s.ramp = newRamp(at, m.Over, s.code, s.wired.Code(m.To))
	s.checked = false
	s.plan()
	s.settle(at)
}

// settle has the setting looked at once the unit has followed what was written.
func (s *supply) settle(at instant) { s.mismatches, s.verified, s.nextCheck = 0, at, at.Add(settling) }

// plan says when the next step is due.
func (s *supply) plan() {
	s.nextWrite = never
	if s.ramp.done < s.ramp.steps {
		s.nextWrite = s.ramp.at(s.ramp.done + 1)
	}
}

// serve looks at the setting or writes the step that is due. It does one of them at a
// time, so that the converters have their turn between both.
func (s *supply) serve(b *Bench) error {
	if s.released() {
		s.nextWrite, s.nextCheck = never, never
		return nil
	}
	began := b.lines.Now()
	err := s.turn(b, began)
	if err == nil || errors.Is(err, ErrReleased) {
		return nil // a release is seen above
	}
	now := b.lines.Now()
	if !errors.Is(err, mcp4725.ErrReset) {
		s.pause(now.Add(retryPause))
	}
	return s.giveUp(began, now, err)
}

// turn makes one transfer.
func (s *supply) turn(b *Bench, now instant) error {
	due := s.nextWrite <= now
	switch {
	case s.mismatches >= mismatchesReset:
		return s.restore(b)
	case !due || !s.checked:
		return s.verify(b, now, due)
	}
	step := s.ramp.due(now)
	if err := s.write(s.ramp.code(step)); err != nil {
		return err
	}
	if !s.lost {
		s.verified = b.lines.Now()
	}
	s.ramp.done, s.checked = step, false
	s.plan()
	return nil
}

// verify looks at the setting. A chip that does not hold what was written, nor when it is
// looked at again, has been reset: the recording is told since when the unit may not have
// been supplied as it should.
func (s *supply) verify(b *Bench, now instant, due bool) error {
	err := s.dev.Verify()
	switch {
	case s.released():
		return ErrReleased // what it holds may be the last word
	case errors.Is(err, mcp4725.ErrReset):
		s.nextCheck = now
		if s.mismatches++; s.mismatches == mismatchesReset {
			s.lost, s.why = true, err
			s.doubt(b.c, b.lines.Now())
		}
		return nil
	case err != nil:
		return err
	}
	s.mismatches, s.failed, s.checked, s.nextCheck = 0, 0, due, now.Add(checkGap)
	switch {
	case !s.lost:
		s.verified = now
	case now >= s.settled:
		s.doubt(b.c, now)
		s.lost, s.verified = false, now
	default:
		s.nextCheck = s.settled
	}
	return nil
}

// restore writes the setting of a chip that was reset again, and counts that as with a
// converter.
func (s *supply) restore(b *Bench) error {
	if err := s.write(s.code); err != nil {
		return err
	}
	b.counts.ChipResets++
	s.mismatches = 0
	s.settled = b.lines.Now().Add(settling)
	s.nextCheck = s.settled
	return s.why
}

// mostUnsupplied is how many such spans a recording tells apart. Of more of them the last one
// goes on: from the first one on nothing counts anyway.
const mostUnsupplied = 256

// doubt writes into the recording that the unit may not have been supplied as it should
// since the setting was last known to be right.
func (s *supply) doubt(c *capture.Capture, to instant) {
	if n := len(c.Unsupplied); n > 0 && (c.Unsupplied[n-1].From == s.verified || n == mostUnsupplied) {
		c.Unsupplied[n-1].To = to
		return
	}
	c.Unsupplied = append(c.Unsupplied, capture.Span{From: s.verified, To: to})
}

// pause lets a chip that does not answer alone until the instant.
func (s *supply) pause(until instant) { s.nextCheck, s.nextWrite = until, max(s.nextWrite, until) }

// write writes a code. Where everything has been released since the supply was taken into use,
// that write may have come after the last word, which is then said again.
func (s *supply) write(code uint16) error {
	s.code = code
	err := s.dev.Set(code)
	if s.released() {
		return errors.Join(ErrReleased, s.rest())
	}
	return err
}

// giveUp takes in a failure, and returns an error once there have been too many in a
// row or for too long: the same as with a converter.
func (s *supply) giveUp(began, now instant, cause error) error {
	if s.failed == 0 {
		s.failing = began
	}
	s.failed++
	if s.failed <= revivals && now.Sub(s.failing) <= longestFailing {
		return nil
	}
	return lost(fmt.Errorf("%w: supply: %w", ErrLost, cause), capture.SupplySilent, "")
}

// rest leaves the supply at its rest.
func (s *supply) rest() error { return s.dev.Set(s.wired.Code(s.wired.Rest)) }

// close leaves the supply at its rest and checks that it is there. How it stood until then
// has been looked at where the recording ended.
func (s *supply) close() error {
	if s == nil {
		return nil
	}
	s.nextWrite, s.nextCheck = never, never
	err := s.rest()
	if err == nil {
		err = s.dev.Verify()
	}
	if err != nil {
		return fmt.Errorf("the supply may not be at its rest of %s, switch it off: %w", unit.Voltage.Format(s.wired.Rest), err)
	}
	return nil
}

// release releases the lines by the function given. It may be called from any goroutine; whatever is
// under way finds that out.
func (s *supply) release(releaseLines func() error) error {
	if s == nil {
		return releaseLines()
	}
	s.releaseLock.Lock()
	defer s.releaseLock.Unlock()
	s.releases.Add(1)
	return releaseLines()
}

// resume takes the supply into use again once a release under way is done.
func (s *supply) resume() {
	s.releaseLock.Lock()
	defer s.releaseLock.Unlock()
	if n := s.releases.Load(); n != s.seen {
		s.seen, s.lost, s.mismatches, s.failed, s.verified = n, false, 0, 0, never
	}
}

// released reports whether everything has been released since the supply was taken into use.
func (s *supply) released() bool { return s.releases.Load() != s.seen }

// wake is when the supply has its turn next.
func (s *supply) wake() instant {
	if s == nil {
		return never
	}
	return min(s.nextWrite, s.nextCheck)
}
