package main

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"

	"periph.io/x/conn/v3/i2c"

	"makebreak/analyze"
	"makebreak/rig/bench"
	"makebreak/rig/capture"
	"makebreak/rig/gpioline"
	"makebreak/rig/i2cbus"
	"makebreak/rig/line"
	"makebreak/rig/mcp4725"
	"makebreak/rig/realtime"
	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
	"makebreak/sequences"
)

// loadRig reads the rig file asked for, or picks the simulated bench that suits
// the sequence.
func (a *app) loadRig(seq *sequences.Sequence) (*wiring.Rig, error) {
	rig, err := a.rigFile()
	if err != nil {
		return nil, err
	}
	if rig == nil {
		rig = benchFor(seq)
	}
	cautions, err := seq.Fits(rig)
	if err != nil {
		return nil, failed(exitInput, err)
	}
	seq.Cautions = append(seq.Cautions, cautions...)
	for _, p := range rig.Check() {
		seq.Cautions = append(seq.Cautions, p.String())
	}
	return rig, nil
}

// rigFile reads the rig file asked for, with the latency measured beside it; nil
// where none was asked for.
func (a *app) rigFile() (*wiring.Rig, error) {
	if a.rig == "" {
		return nil, nil
	}
	rig, err := rigfile.Load(a.rig)
	if err != nil {
		return nil, inputError(err)
	}
	if !a.ownRig() {
		return rig, nil
	}
	if rig.Latency, err = rigfile.LoadLatency(rigfile.LatencyPath(a.rig)); err != nil {
		return nil, inputError(err)
	}
	return rig, nil
}

// ownRig reports whether the rig is of a file, beside which stands what was measured of
// it, and not a built-in one.
func (a *app) ownRig() bool {
	return a.rig != "" && !slices.ContainsFunc(rigfile.Builtin(), func(r *wiring.Rig) bool { return r.Name == a.rig })
}

// rigSource is the text of the rig file, for the log.
func (a *app) rigSource() string {
	if !a.ownRig() {
		return "" // the program's version says which
	}
	b, err := os.ReadFile(a.rig)
	if err != nil {
		return "" // it was read before and has gone since
	}
	return string(b)
}

// inputError is an error of reading a file that the user named.
func inputError(err error) error {
	if err == nil {
		return nil
	}
	if errors.Is(err, context.Canceled) {
		return failed(exitInterrupted, errors.New("interrupted"))
	}
	return failed(exitInput, err)
}

// sampled lists the outputs that a sequence needs sampled, those that it names
// first; nil means all.
func sampled(rig *wiring.Rig, seq *sequences.Sequence) []string {
	var names []string
	for _, o := range seq.Plan.Outputs {
		names = append(names, o.Signal)
	}
	if !seq.Plan.OthersUnmoved {
		return names
	}
	for _, o := range rig.Outputs {
		if !slices.Contains(names, o.Name) {
			names = append(names, o.Name)
		}
	}
	return names
}

// simulation says how the simulated bench is to be.
type simulation struct {
	seed     uint64
	faults   []sim.Fault
	realTime bool
}

// planted lists the faults as --fault takes them.
func (s *simulation) planted() []string {
	texts := []string{}
	for _, f := range s.faults {
		texts = append(texts, f.String())
	}
	return texts
}

// plant takes faults up as they stand in the log.
func (s *simulation) plant(texts []string) error {
	s.faults = nil
	for _, text := range texts {
		f, err := sim.ParseFault(text)
		if err != nil {
			return err
		}
		s.faults = append(s.faults, f)
	}
	return nil
}

// openBench opens the bench, simulated or real, for a sequence.
func (a *app) openBench(rig *wiring.Rig, seq *sequences.Sequence, s simulation) (*bench.Bench, error) {
	return a.openWith(rig, seq, s, bench.Opts{})
}

// openAtRest opens the bench to look at all outputs in turn, also of a chip that follows
// one output in a run. Nothing is switched on: the supply stays at its rest.
func (a *app) openAtRest(rig *wiring.Rig) (*bench.Bench, error) {
	everything := &sequences.Sequence{Plan: analyze.Plan{OthersUnmoved: true}, Sample: wiring.Sweep}
	return a.openWith(rig, everything, simulation{realTime: true}, bench.Opts{SupplyAtRest: true})
}

// openWith opens the bench for a sequence and with options.
func (a *app) openWith(rig *wiring.Rig, seq *sequences.Sequence, s simulation, opts bench.Opts) (*bench.Bench, error) {
	if err := a.calibrated(rig, s.seed); err != nil {
		return nil, err
	}
	opts.Outputs, opts.Mode = sampled(rig, seq), seq.Sample
	if prompts(rig, seq) {
		opts.Prompter = newPrompter(a.in, a.err)
		s.realTime = true // a person cannot keep up with virtual time
	}
	if rig.Simulated {
		return openSimulated(rig, seq, s, opts)
	}
	return openReal(rig, opts)
}

// openReal opens the bench of a real rig. Its bus is closed with it.
func openReal(rig *wiring.Rig, opts bench.Opts) (*bench.Bench, error) {
	bus, lines, err := openHardware(rig)
	if err != nil {
		return nil, failed(exitRig, err)
	}
	realtime.SpareProcessors()
	realtime.CollectRarely()
	realtime.SmallPages()
	held := &hardware{Set: lines, bus: bus}
	b, err := bench.Open(rig, bus, held, opts)
	if err != nil {
		return nil, errors.Join(err, held.Close()) // so that it can be tried again
	}
	return b, nil
}

// hardware is the lines of a real rig, with which its bus is closed. The thread of the
// bench's loop is preferred from the first time that it waits for them. What a run stores
// when it begins would be counted against that thread's share of the processor.
type hardware struct {
	line.Set
	bus  io.Closer
	calm func() // nil: there is no haste
}

func (h *hardware) Wait(ctx context.Context, deadline capture.Instant) error {
	if h.calm == nil {
		h.calm = realtime.RaisePriority()
	}
	return h.Set.Wait(ctx, deadline)
}

func (h *hardware) Close() error {
	err := errors.Join(h.Set.Close(), h.bus.Close())
	if h.calm != nil {
		h.calm()
		h.calm = nil
	}
	realtime.CollectOften()
	return err
}

func openSimulated(rig *wiring.Rig, seq *sequences.Sequence, s simulation, opts bench.Opts) (*bench.Bench, error) {
	rules, initial := programme(seq, rig)
	world, err := sim.NewWorld(rig, sim.Opts{Seed: s.seed, RealTime: s.realTime, Faults: s.faults,
		Programme: rules, Initial: initial, Relays: relays(seq)})
	if err != nil {
		return nil, failed(exitUsage, err)
	}
	lines, err := world.Lines(bench.Requests(rig))
	if err != nil {
		return nil, failed(exitInput, err)
	}
	opts.Act = world.Act
	return bench.Open(rig, world.Bus(), lines, opts)
}

// openHardware opens the bus and the lines of a real rig.
func openHardware(rig *wiring.Rig) (i2c.BusCloser, line.Set, error) {
	bus, err := i2cbus.OpenBus(rig.Bus)
	if err != nil {
		return nil, nil, err
	}
	lines, err := gpioline.Open(bench.Requests(rig), lastWords(rig, bus)...)
	if err != nil {
		return nil, nil, errors.Join(err, bus.Close())
	}
	return bus, lines, nil
}

// lastWords are what must be written when the program ends, however it does: the supply,
// where a converter sets it, goes to its rest. A drive that switches one is released as
// all are.
func lastWords(rig *wiring.Rig, bus i2c.Bus) []gpioline.Word {
	s := programmed(rig)
	if s == nil {
		return nil
	}
	rest := mcp4725.FastWrite(s.Code(s.Rest))
	return []gpioline.Word{{Bus: bus.String(), Address: s.Address, Bytes: rest[:]}}
}

// prompts reports whether the sequence has events that the person must bring about.
func prompts(rig *wiring.Rig, seq *sequences.Sequence) bool {
	for _, event := range seq.Causes() {
		if c := rig.Cause(event); c != nil && c.Drive == "" {
			return true
		}
	}
	return false
}

// programmed returns the rig's supply where a converter sets it, else nil.
func programmed(rig *wiring.Rig) *wiring.Supply {
	if s := rig.Supply; s != nil && s.Stage == nil {
		return s
	}
	return nil
}

// drives reports whether the sequence lets the rig act on the unit by itself. A rig with a
// converter that sets the unit's supply does from the start.
func drives(rig *wiring.Rig, seq *sequences.Sequence) bool {
	if programmed(rig) != nil || slices.ContainsFunc(seq.Steps, func(s sequences.Step) bool { return s.Supply != nil }) {
		return true
	}
	for _, event := range seq.Causes() {
		if c := rig.Cause(event); c != nil && c.Drive != "" {
			return true
		}
	}
	return false
}

// loadSequence reads the sequence named.
func loadSequence(name string) (*sequences.Sequence, error) {
	if name == "" {
		return nil, failed(exitUsage, errors.New("a sequence needs a name, a built-in one or a file's; it was given an empty one"))
	}
	seq, err := sequences.Load(name)
	if errors.Is(err, fs.ErrNotExist) && !strings.ContainsAny(name, "./") {
		return nil, failed(exitUsage, err) // a mistyped name, not a file
	}
	return seq, inputError(err)
}
