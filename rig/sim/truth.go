package sim

import (
	"time"

	"makebreak/rig/capture"
)

// Truth is what the simulated bench knows and a real one could not: the exact
// figures behind what is measured. It is for tests and for the trainer.
type Truth struct {
	// Events are the latest ones, oldest first; the last one is still going on.
	// The first of a world has no name: it is the time before any event.
	Events  []TruthEvent
	Outputs []TruthOutput
	Relays  []TruthRelay
	Chips   []TruthChip
	Supply  *TruthSupply // nil: the unit has its own
}

// mostNoted is how much of each kind is written down of an event: in a state of days a contact
// may chatter millions of times.
const mostNoted = 1 << 15

// TruthEvent is what happened from one event to the next: of each kind the first mostNoted.
type TruthEvent struct {
	Name      string
	At        capture.Instant // at the panel's input
	Crossings []Crossing
	Edges     []ContactEdge
	Changes   []Travel
	WireOff   []WireOff
}

// WireOff is a time for which an output's sense wire was off. To is 0 where the event ended
// before it was back.
type WireOff struct {
	Output   string
	From, To capture.Instant
}

// Crossing is an output's switching, at the instant at which it passes the middle
// of its two levels.
type Crossing struct {
	Output string
	At     capture.Instant
	High   bool    // it switched on
	Volts  float64 // the settled level at the terminal that it switches to
	// Duration is from where the terminal passes 10 % of the way between its two levels to
	// where it passes 90 %, by the law that the simulator draws.
	Duration time.Duration
}

// ContactEdge is a contact's change.
type ContactEdge struct {
	Contact string
	At      capture.Instant
	Closed  bool
}

// Travel is one travel of a relay's armature, with the figures that belong to it
// by their definitions.
type Travel struct {
	Relay, Output string
	In            bool            // it pulled in
	Crossed       capture.Instant // the output's crossing before it; 0: none
	// Time is the operate or release time: crossing to the first closing of the
	// contact that closes.
	Time time.Duration
	// Transfer is the last opening of one contact to the first closing of the
	// other.
	Transfer time.Duration
	Opening  Bounce
	Closing  Bounce
}

// Bounce is how a contact bounced in one change: the time from its first to its
// last edge and the extra closings or openings.
type Bounce struct {
	Contact string
	Time    time.Duration
	Count   int
}

// TruthOutput are an output's exact settled levels in volts at the terminal, and
// the volts at the converter's pin per volt there.
type TruthOutput struct {
	Name      string
	High, Low float64 // V, settled, at the terminal
	PinShare  float64 // volts at the pin per volt at the terminal, a share
}

// TruthRelay are a relay's exact figures, voltages at its coil.
type TruthRelay struct {
	Name, Output              string
	CoilOhms                  float64
	PullInVolts, DropOutVolts float64
}

// TruthChip are a converter's own errors: of its conversion period (a share,
// positive is slow), of its gain (a share) and its offset in volts at the pin.
type TruthChip struct {
	Name        string
	Oscillator  float64 // of the conversion period, a share; positive is slow
	GainError   float64 // a share
	OffsetVolts float64 // at the pin
}

// pastEvents is how many events the world remembers.
const pastEvents = 64

// recorder writes the truth down.
type recorder struct {
	on     func(TruthEvent)
	open   TruthEvent
	past   []TruthEvent // a ring
	first  int
	lastUp map[*output]capture.Instant // latest crossing
}

func (r *recorder) init(on func(TruthEvent)) {
	r.on = on
	r.open.At = Start
	r.lastUp = map[*output]capture.Instant{}
}

// begin closes the event that is going on and opens the next.
func (r *recorder) begin(name string, at int64) {
	if r.on != nil {
		r.on(r.open)
	}
	if len(r.past) < pastEvents {
		r.past = append(r.past, r.open)
	} else {
		r.past[r.first] = r.open
		r.first = (r.first + 1) % pastEvents
	}
	r.open = TruthEvent{Name: name, At: capture.Instant(at)}
}

// note writes down what has happened, unless too much has.
func note[T any](all *[]T, x T) {
	if len(*all) < mostNoted {
		*all = append(*all, x)
	}
}

func (r *recorder) crossing(o *output, at, lasts int64, high bool) {
	r.lastUp[o] = capture.Instant(at)
	note(&r.open.Crossings, Crossing{o.name, capture.Instant(at), high, o.level(high), time.Duration(lasts)})
}

// wire records that an output's sense wire went off or came back.
func (r *recorder) wire(o *output, at int64, off bool) {
	if off {
		note(&r.open.WireOff, WireOff{Output: o.name, From: capture.Instant(at)})
		return
	}
	for i := range r.open.WireOff {
		if x := &r.open.WireOff[i]; x.Output == o.name && x.To == 0 {
			x.To = capture.Instant(at)
		}
	}
}

func (r *recorder) edge(c *contact, at int64) {
	note(&r.open.Edges, ContactEdge{c.name, capture.Instant(at), c.closed})
}

// travel records a travel that begins.
func (r *recorder) travel(k *relay, in bool) {
	c := Travel{Relay: k.name, Output: k.out.name, In: in, Crossed: r.lastUp[k.out]}
	var opened, closed int64
	c.Opening, _, opened = k.bounce(!in)
	c.Closing, closed, _ = k.bounce(in)
	c.Transfer = time.Duration(closed - opened)
	if c.Crossed != 0 {
		c.Time = capture.Instant(closed).Sub(c.Crossed)
	}
	note(&r.open.Changes, c)
}

// bounce returns how the make or break contact behaves in the travel ahead, and
// its first and last step.
func (k *relay) bounce(makes bool) (b Bounce, first, last int64) {
	n := 0
	for _, s := range k.steps {
		if s.brk == makes {
			continue
		}
		if n == 0 {
			first = s.at
		}
		last = s.at
		n++
	}
	c := k.breaks
	if makes {
		c = k.makes
	}
	if c != nil {
		b.Contact = c.name
	}
	b.Time, b.Count = time.Duration(last-first), n/2
	return b, first, last
}

// Truth returns what really happened and what the bench is really like.
func (w *World) Truth() *Truth {
	t := &Truth{}
	t.Events = append(t.Events, w.truth.past[w.truth.first:]...)
	t.Events = append(t.Events, w.truth.past[:w.truth.first]...)
	t.Events = append(t.Events, w.truth.open)
	for _, o := range w.outputs {
		t.Outputs = append(t.Outputs, TruthOutput{o.name, o.level(true), o.level(false), o.share})
	}
	for _, k := range w.relays {
		c := &k.coil
		t.Relays = append(t.Relays, TruthRelay{k.name, k.out.name, c.ohms, c.pullIn * c.ohms, c.dropOut * c.ohms})
	}
	for _, c := range w.chips {
		t.Chips = append(t.Chips, TruthChip{c.name, c.opts.Oscillator, c.opts.GainError, c.opts.OffsetVolts})
	}
	t.Supply = w.supply.truth(w.now)
	return t
}

// Output returns the output named, or nil.
func (t *Truth) Output(name string) *TruthOutput {
	for i := range t.Outputs {
		if t.Outputs[i].Name == name {
			return &t.Outputs[i]
		}
	}
	return nil
}
