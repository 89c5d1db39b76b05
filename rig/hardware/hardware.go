// Package hardware opens a real rig: its bus, its lines and the bench on both. It also
// says what is written to the rig when the program ends, however it does.
package hardware

import (
	"context"
	"errors"
	"io"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/gpioline"
	"makebreak/rig/i2cbus"
	"makebreak/rig/line"
	"makebreak/rig/machine"
	"makebreak/rig/mcp4725"
	"makebreak/rig/problem"
	"makebreak/rig/realtime"
	"makebreak/rig/wiring"
)

// Open opens the bus and the lines of a real rig. The errors are of the kind Rig.
func Open(rig *wiring.Rig) (i2c.BusCloser, line.Set, error) {
	bus, err := i2cbus.OpenBus(rig.Bus)
	if err != nil {
		return nil, nil, problem.Of(problem.Rig, err)
	}
	lines, err := gpioline.Open(bench.Requests(rig), safeStateWrites(rig, bus)...)
	if err != nil {
		return nil, nil, problem.Of(problem.Rig, errors.Join(err, bus.Close()))
	}
	return bus, lines, nil
}

// OpenBench opens the bench of a real rig, with priority for its loop. Bus and lines are
// closed with the bench, or at once where it cannot be opened, so that it can be tried again.
func OpenBench(rig *wiring.Rig, opts bench.Opts) (*bench.Bench, error) {
	bus, lines, err := Open(rig)
	if err != nil {
		return nil, err
	}
	realtime.SpareProcessors()
	realtime.CollectRarely()
	realtime.SmallPages()
	realtime.LockMemory()
	opts.Bus = timeBus(rig, bus, lines.Now)
	set := &preferred{Set: lines, bus: bus}
	b, err := bench.Open(rig, bus, set, opts)
	if err != nil {
		return nil, errors.Join(err, set.Close())
	}
	return b, nil
}

// timeBus measures how long the bus takes, by the first converter that answers, some 15 ms at
// 400 kHz. It is nil where none does, which opening the bench will tell.
func timeBus(rig *wiring.Rig, bus i2c.Bus, now func() capture.Instant) *bench.BusTiming {
	for i := range rig.Chips {
		speed, err := i2cbus.MeasureSpeed(bus, rig.Chips[i].Address, i2cbus.FewReads, now)
		if err != nil {
			continue
		}
		t := Timing(speed)
		return &t
	}
	return nil
}

// Timing is how long a bus takes by its measured speed, as a bench takes it. The quickest
// transfer counts: what is refused by it cannot work, and what is late nevertheless is counted.
func Timing(s i2cbus.Speed) bench.BusTiming {
	if s.Faster {
		return bench.BusTiming{Overhead: s.Least}
	}
	return bench.BusTiming{Hz: s.Hz, Overhead: s.Least}
}

// Computer returns what is known of the computer and of the bus that a bench is on.
func Computer(rig *wiring.Rig, b *bench.Bench) []capture.MachineFact {
	facts := append(machine.This().Read(), capture.Is(capture.BusFileHz, float64(rig.BusHz)))
	if hz, ok := i2cbus.TreeHzOf(rig.Bus); ok {
		facts = append(facts, capture.Is(capture.BusAskedHz, float64(hz)))
	}
	if t := b.Bus(); t != nil {
		hz := t.Hz
		if hz == 0 {
			hz = math.NaN() // too fast to be told
		}
		facts = append(facts, capture.Is(capture.BusHz, hz), capture.Is(capture.TransferTime, t.Overhead.Seconds()))
	}
	return facts
}

// Watch begins to watch the computer that a bench is on, by the clock given.
func Watch(rig *wiring.Rig, b *bench.Bench, now func() time.Time) *machine.Watch {
	return machine.NewWatch(machine.This(), machine.At(Computer(rig, b), now()), now)
}

// CloseBench closes a bench and says what a person must do where that fails. The error is of
// the kind Rig.
func CloseBench(b *bench.Bench) error {
	if err := b.Close(); err != nil {
		return &problem.Error{Kind: problem.Rig, Op: "the rig could not be closed; see that its drives are off", Err: err}
	}
	return nil
}

// safeStateWrites returns what must be written when the program ends: the supply, where a
// converter sets it, goes to its rest. Drives need no write; each is released as a line.
func safeStateWrites(rig *wiring.Rig, bus i2c.Bus) []gpioline.SafeWrite {
	s := rig.ProgrammedSupply()
	if s == nil {
		return nil
	}
	rest := mcp4725.FastWrite(s.Code(s.Rest))
	return []gpioline.SafeWrite{{Bus: bus.String(), Address: s.Address, Bytes: rest[:]}}
}

// preferred is the lines of a real rig, with which its bus is closed. The thread of the
// bench's loop is preferred from the first time that it waits for them: what a run stores
// when it begins would be counted against that thread's share of the processor.
type preferred struct {
	line.Set
	bus     io.Closer
	restore func() // gives the priority back; nil: it is as usual
}

func (p *preferred) Wait(ctx context.Context, deadline capture.Instant) error {
	if p.restore == nil {
		p.restore = realtime.RaisePriority()
	}
	return p.Set.Wait(ctx, deadline)
}

func (p *preferred) Close() error {
	err := errors.Join(p.Set.Close(), p.bus.Close())
	if p.restore != nil {
		p.restore()
		p.restore = nil
	}
	realtime.CollectOften()
	realtime.UnlockMemory()
	return err
}
