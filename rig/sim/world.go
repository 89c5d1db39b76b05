package sim

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"periph.io/x/conn/v3/i2c"

	"makebreak/rig/ahead"
	"makebreak/rig/capture"
	"makebreak/rig/circuit"
	"makebreak/rig/simchip"
	"makebreak/rig/wiring"
)

// Start is where the world's clock starts.
const Start = capture.Instant(1000 * time.Second)

// Arming is which events arm or disarm a panel, as Opts.Arming, and which of them was the last
// before the start, as Opts.LastArming.
type Arming struct {
	Events []string
	Last   string
}

// Opts are what a world is made with.
type Opts struct {
	// Seed gives everything that is drawn: the same seed gives the same bench.
	Seed uint64
	// Take tells what is drawn from time to time on the same bench: noise, bounce, the spread of
	// delays, when a bad contact opens. 0 is the first; the parts and their faults are the same
	// in all.
	Take uint64
	// RealTime paces the world against the wall clock. Without it, time passes
	// as fast as the processor can.
	RealTime bool
	// Faults are planted.
	Faults []Fault
	// Changes are what a person has changed on the bench since, in order. One that takes a
	// fault's cause away takes the fault away.
	Changes []Change
	// Programme is how the unit's outputs are programmed.
	Programme []Rule
	// Arming names the events that arm or disarm the panel, for Rule.While. Nil: those that are
	// called arm or disarm, or begin so with a hyphen after it, as arm-away.
	Arming []string
	// LastArming is which of them was the last before the start. Empty: disarm.
	LastArming string
	// Panels say so of each panel where there are several on the bench, instead of Arming and
	// LastArming. A rule's While is of the panel whose events it names.
	Panels []Arming
	// Initial names the outputs that are on at the start.
	Initial map[string]bool
	// Operated is how many times each relay has operated before: what gets worse goes on from
	// there.
	Operated int
	// Relays says what hangs on which output. Nil: see DefaultRelays.
	Relays []Relay
	// Unit overrides what is drawn for the unit and its relays.
	Unit UnitParams
	// Exact takes the middle of everything that is drawn: nominal resistors, a
	// converter without errors and noise, no jitter, no bounce.
	Exact bool
	// Filter is how late the converters' pins follow the terminals, as behind capacitors
	// across the lower resistors whose time constant is short against a conversion.
	Filter time.Duration
	// Weights are the converters' filter, nil: a plain mean over the conversion. What a real
	// one's is nobody here knows, so that what is measured must hold for others as well.
	Weights Weights
	// OnTruth, where set, is called with what really happened at an event, once
	// the next one begins or the lines are closed.
	OnTruth func(TruthEvent)
}

// Relay is a relay behind an output. Its contacts are named as the rig names
// them; either may be empty.
type Relay struct {
	Name, Output, Make, Break string
}

// World is a simulated bench. It is used from one goroutine, apart from Act and
// the Release of its lines.
type World struct {
	rig    *wiring.Rig
	layout *Layout
	opts   Opts // as it was made

	dangers [][]circuit.Danger // of each change

	now int64
	due int64 // when something happens next: an event, or a ready edge
	agenda

	chips     []*chip
	strapped  [straps]*chip // by the last bits of their addresses
	bus       *simchip.Bus
	supply    *supply // nil: the unit has its own
	readyDue  int64
	readyNext *chip // whose ready edge that is

	outputs    []*output
	relays     []*relay
	contacts   []*contact
	references []*reference
	drives     []*drive
	acts       []cause // by index of the rig's causes
	panel      panel
	firstRule  *output // the first output that is programmed
	floating   bool    // a planted fault: the rig's 0 V is not joined to the unit's
	lines      *lineSet
	truth      recorder

	bench draws // the rig's own timing
	wire  draws // loose wires
	// kernel is how late the lines' edges are stamped.
	kernel *ahead.Draws[int64]

	real *pacer // nil: virtual time

	// What other goroutines ask for.
	asked atomic.Bool
	mu    sync.Mutex
	inbox []request
}

// request is what another goroutine asks the world for.
type request struct {
	release bool
	event   string
}

// NewWorld builds the bench that the rig describes, with a unit on it that is
// programmed as the options say.
func NewWorld(rig *wiring.Rig, opts Opts) (*World, error) {
	w := &World{rig: rig, layout: NewLayout(rig, opts), opts: opts, now: int64(Start), readyDue: never, due: never}
	w.truth.init(opts.OnTruth)
	w.bench = opts.noise("bench", false)
	w.wire = opts.noise("wire", false)
	w.kernel = newLatencies(opts.noise("kernel", opts.Exact))
	w.addUnit(opts)
	w.panel.setArming(&w.opts)
	if err := w.addRelays(opts); err != nil {
		return nil, err
	}
	w.addDrives()
	if err := errors.Join(w.addCauses(), w.program(opts.Programme), w.setInitial(opts.Initial)); err != nil {
		return nil, err
	}
	if err := w.addChips(opts); err != nil {
		return nil, err
	}
	if err := w.addSupply(opts); err != nil {
		return nil, err
	}
	if err := w.plant(w.remaining(opts.Faults, opts.Changes)); err != nil {
		return nil, err
	}
	for _, o := range w.outputs {
		o.loadOff()
	}
	if err := w.change(opts.Changes); err != nil {
		return nil, err
	}
	w.begin()
	if opts.RealTime {
		w.real = newPacer()
	}
	return w, nil
}

// addUnit makes the panel and its outputs. All outputs share one supply, the unit's own
// unless the rig has a programmable one.
func (w *World) addUnit(opts Opts) {
	d := newDraws(opts.Seed, "unit", opts.Exact)
	p := opts.Unit
	p.HighVolts = d.about(p.HighVolts, typical.HighVolts, spreads.supply)
	w.panel.draw = opts.noise("panel", opts.Exact)
	w.panel.delay = d.about(float64(p.Delay), float64(typical.Delay), spreads.delay)
	w.panel.jitter = d.about(float64(p.DelayJitter), float64(typical.DelayJitter), 0)
	for i := range w.rig.Outputs {
		o := &output{name: w.rig.Outputs[i].Name, index: int32(i)}
		o.label = o.name
		o.setup(p, newDraws(opts.Seed, "output "+o.name, opts.Exact))
		w.outputs = append(w.outputs, o)
	}
}

// DefaultRelays returns the relays that the rig's contacts suggest: contacts
// named K1_NO and K1_NC are relay K1. The relays hang, in their order, on the
// outputs that the programme names, or on the rig's outputs where there is none.
func DefaultRelays(rig *wiring.Rig, programme []Rule) []Relay {
	var all []Relay
	at := map[string]int{}
	for _, c := range rig.Contacts {
		name, isMake := strings.CutSuffix(c.Name, "_NO")
		name, isBreak := strings.CutSuffix(name, "_NC")
		if !isMake && !isBreak {
			continue
		}
		i, ok := at[name]
		if !ok {
			i = len(all)
			at[name] = i
			all = append(all, Relay{Name: name})
		}
		if isMake {
			all[i].Make = c.Name
		} else {
			all[i].Break = c.Name
		}
	}
	var outputs []string
	seen := map[string]bool{}
	add := func(name string) {
		if !seen[name] {
			seen[name] = true
			outputs = append(outputs, name)
		}
	}
	for _, r := range programme {
		if r.Do != Nothing {
			add(r.Output)
		}
	}
	for _, o := range rig.Outputs {
		add(o.Name)
	}
	for i := range all {
		if i < len(outputs) {
			all[i].Output = outputs[i]
		}
	}
	return all
}

func (w *World) addRelays(opts Opts) error {
	for i := range w.rig.Contacts {
		w.contacts = append(w.contacts, &contact{name: w.rig.Contacts[i].Name, index: int32(i), line: -1, pulledDown: pulledDown(&w.rig.Contacts[i])})
	}
	relays := opts.Relays
	if relays == nil {
		relays = DefaultRelays(w.rig, opts.Programme)
	}
	for _, r := range relays {
		if r.Output == "" {
			continue
		}
		k := &relay{name: r.Name, index: int32(len(w.relays)), out: w.output(r.Output)}
		if k.out == nil {
			return fmt.Errorf("relay %s: the rig has no output %q", r.Name, r.Output)
		}
		if k.out.relay != nil {
			return fmt.Errorf("relay %s: output %s already has the relay %s", r.Name, r.Output, k.out.relay.name)
		}
		if k.makes = w.contact(r.Make); k.makes == nil && r.Make != "" {
			return fmt.Errorf("relay %s: the rig has no contact %q", r.Name, r.Make)
		}
		if k.breaks = w.contact(r.Break); k.breaks == nil && r.Break != "" {
			return fmt.Errorf("relay %s: the rig has no contact %q", r.Name, r.Break)
		}
		k.setup(&opts, "relay "+r.Name)
		k.worn.operations = float64(opts.Operated)
		k.out.relay = k
		w.relays = append(w.relays, k)
	}
	return nil
}

// addDrives makes drives and references. Drives that switch a coil switch the
// relays' outputs in order, or the rig's first output where there is no relay.
func (w *World) addDrives() {
	coils := 0
	for i := range w.rig.Drives {
		d := &drive{name: w.rig.Drives[i].Name}
		if w.rig.Drives[i].Coil {
			switch {
			case coils < len(w.relays):
				d.coil = w.relays[coils].out
			case coils < len(w.outputs):
				d.coil = w.outputs[coils]
			}
			coils++
		}
		w.drives = append(w.drives, d)
	}
	for i := range w.rig.References {
		w.references = append(w.references, &reference{name: w.rig.References[i].Name, index: int32(i), line: -1})
	}
}

func (w *World) setInitial(initial map[string]bool) error {
	for name, high := range initial {
		o := w.output(name)
		if o == nil {
			return fmt.Errorf("initial states: the rig has no output %q", name)
		}
		o.high = high
	}
	return nil
}

// begin lets everything settle in its first state.
func (w *World) begin() {
	if w.supply != nil {
		w.fedFrom(w.supply)
	}
	for _, o := range w.outputs {
		o.high = o.high != o.inverted
	}
	for _, o := range w.outputs {
		o.begin(w.now)
		o.sense.fed = w.supply != nil || o.relay != nil && o.relay.coil.undamped
	}
	for _, k := range w.relays {
		w.beginRelay(k)
		if k.in {
			w.disturb(k)
		}
	}
	w.schedule()
}

// plan puts an event on the agenda.
func (w *World) plan(h happening) {
	w.push(h)
	w.due = min(w.due, h.at)
}

// schedule recomputes when something happens next.
func (w *World) schedule() { w.due = min(w.next(), w.readyDue) }

// Now returns the present instant.
func (w *World) Now() capture.Instant { return capture.Instant(w.now) }

// AdvanceTo moves the clock on to the instant; whatever happens until then
// happens in order. An instant that has passed does nothing.
func (w *World) AdvanceTo(t capture.Instant) {
	if int64(t) >= w.due {
		w.run(int64(t))
	}
	if int64(t) > w.now {
		w.now = int64(t)
	}
}

// run lets everything up to the instant happen.
func (w *World) run(to int64) {
	for w.due <= to && w.due != never {
		w.now = max(w.now, w.due)
		if w.readyDue <= w.next() {
			w.endConversion()
		} else {
			w.happen(w.pop())
		}
		w.schedule()
	}
}

// happen lets one event happen.
func (w *World) happen(h happening) {
	switch h.kind {
	case panelReacts:
		w.react(h.index)
	case outputCommand:
		if o := w.outputs[h.index]; o.orders == h.turn {
			w.command(o, h.flag)
		}
	case trainStep:
		if o := w.outputs[h.index]; o.orders == h.turn {
			w.stepTrain(o, h)
		}
	case coilCommand:
		w.command(w.outputs[h.index], h.flag)
	case outputPhase, outputFloor, outputFalls, coilRings:
		if o := w.outputs[h.index]; o.turn == h.turn {
			w.goOn(o, h.kind)
		}
	case armatureMoves, armatureShakes:
		w.startTravel(w.relays[h.index], h)
	case contactStep:
		w.moveContact(w.relays[h.index])
	case travelEnds:
		w.endTravel(w.relays[h.index])
	case contactSpell:
		if k := w.relays[h.index]; k.spell == h.turn {
			w.setSpell(k, h.flag)
		}
	case referenceSet:
		w.setReference(w.references[h.index], h.flag)
	case wireChanges:
		w.setWire(w.outputs[h.index], h.flag)
	case supplyResets:
		w.supply.chip.Reset()
	case filmChanges:
		if c := w.contacts[h.index]; c.touch == h.turn {
			w.changeFilm(c)
		}
	case edgeThread:
		c := w.contacts[h.index]
		w.report(c, c.stamp, c.closed)
	case edgeSeen:
		w.report(w.contacts[h.index], w.now, h.flag)
	case referenceSeen:
		if r := w.references[h.index]; r.line >= 0 {
			w.lines.queue(r.line, w.now, h.flag)
		}
	}
}

func (w *World) goOn(o *output, k kind) {
	switch k {
	case outputPhase:
		w.apply(o, w.source(o))
	case coilRings:
		w.goOnRinging(o)
	case outputFloor:
		w.apply(o, source{volts: o.on.volts * droopFloor, ohms: o.on.ohms})
	case outputFalls:
		w.switchOutput(o, false)
	}
}

// startTravel begins a travel or a shake of the armature, unless something has
// come between.
func (w *World) startTravel(k *relay, h happening) {
	switch {
	case k.moving:
	case h.kind == armatureMoves && h.turn == k.watch:
		w.moveArmature(k, h.flag)
	case h.kind == armatureShakes && h.turn == k.spell:
		w.shake(k)
	}
}

// Act lets the person at the bench bring an event about at the panel itself. It
// may be called from any goroutine and takes effect at the world's next step.
func (w *World) Act(event string) { w.ask(request{event: event}) }

// ask hands a request to the world's goroutine.
func (w *World) ask(r request) {
	w.mu.Lock()
	w.inbox = append(w.inbox, r)
	w.mu.Unlock()
	w.asked.Store(true)
	if w.real != nil {
		w.real.wake()
	}
}

// listen does what other goroutines have asked for.
func (w *World) listen() {
	if w.asked.Load() {
		w.answer()
	}
}

func (w *World) answer() {
	w.asked.Store(false)
	w.mu.Lock()
	all := w.inbox
	w.inbox = nil
	w.mu.Unlock()
	for _, r := range all {
		if r.release {
			w.releaseDrives()
			w.restSupply()
			continue
		}
		w.press(r.event)
	}
}

func (w *World) releaseDrives() {
	for _, d := range w.drives {
		w.setDrive(d, false)
	}
}

// Bus returns the bus with the rig's converters on it.
func (w *World) Bus() i2c.Bus { return (*bus)(w) }
