package sheet

import (
	"cmp"
	"fmt"
	"strings"

	"makebreak/analyze/picture"
	"makebreak/rig/header"
	"makebreak/rig/line"
	"makebreak/rig/sim"
	"makebreak/rig/unit"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
	"makebreak/sequences"
	"makebreak/sequences/setup"
)

// Bench returns how a rig is wired, as it is drawn, with relays behind its outputs as given.
// The points and the wires are those that the simulated bench has. Of a real rig they are how it
// should be wired, by what its file says.
func Bench(rig *wiring.Rig, relays []sim.Relay) *picture.Bench {
	if relays == nil {
		relays = []sim.Relay{} // none is guessed
	}
	s := &sketch{rig: rig, layout: sim.NewLayout(rig, sim.Opts{Relays: relays})}
	s.unit = string(s.layout.Unit())
	b := &picture.Bench{Name: rig.Name, Heading: "Wiring of " + rig.Name, Unit: s.unit}
	s.supply(b)
	for i := range rig.Outputs {
		b.Outputs = append(b.Outputs, s.output(&rig.Outputs[i], i))
	}
	for _, k := range relays {
		b.Relays = append(b.Relays, s.relay(k))
	}
	s.inputs(b)
	for i := range rig.Contacts {
		if c := &rig.Contacts[i]; s.otherEnd(s.atRig(c.Name)).Name == "" {
			b.Contacts = append(b.Contacts, s.line(c, "contact"))
		}
	}
	for _, j := range s.layout.Wires {
		b.Wires = append(b.Wires, picture.BenchWire{Name: j.Name, From: j.From, To: j.To, Colour: j.Colour, About: j.About})
	}
	b.Words = []string{"Each ring is a point for a meter's lead, typed as part and terminal: " + words.List(names(b)) + ". W1 and so on are wires."}
	for i := range b.Relays {
		if k := &b.Relays[i]; k.Coil != "" {
			_, within := sim.NominalCoil()
			b.Words = append(b.Words, fmt.Sprintf("The coil of %s has %s ± %.0f %% by its data sheet. A meter at it reads less, since the output lies across it.", k.Name, k.Coil, within*100))
		}
	}
	b.About = strings.Join(Sentences(b), " ")
	return b
}

// sketch finds points and wires for a drawing.
type sketch struct {
	rig    *wiring.Rig
	layout *sim.Layout
	unit   string
}

// point returns a point by its name, an empty one where the bench has none of it.
func (s *sketch) point(name string) picture.TestPoint {
	for _, p := range s.layout.Points {
		if p.Name == name {
			return picture.TestPoint{Name: p.Name, Terminal: p.Terminal, About: p.About}
		}
	}
	return picture.TestPoint{}
}

func (s *sketch) atUnit(terminal string) picture.TestPoint { return s.point(s.unit + "." + terminal) }
func (s *sketch) atRig(terminal string) picture.TestPoint  { return s.point("rig." + terminal) }

// wire returns the name of the wire between two points; empty: there is none.
func (s *sketch) wire(a, b picture.TestPoint) string {
	if j := s.layout.Wire(a.Name, b.Name); j != nil {
		return j.Name
	}
	return ""
}

func (s *sketch) supply(b *picture.Bench) {
	u := &b.Supply
	u.Words = "supply"
	switch {
	case s.rig.ProgrammedSupply() != nil:
		u.Words += ", set by the rig"
	case s.rig.Supply != nil:
		u.Words += ", " + s.rig.Supply.Stage.Both()
	}
	u.Plus, u.Minus, u.AtUnit = s.point("supply.+"), s.point("supply.-"), s.atUnit("+")
	z := &b.Zero
	z.Unit, z.Rig, z.Common, z.Logic = s.atUnit("0V"), s.atRig("0V"), s.atRig("COM"), s.atRig("3V3")
	u.PlusWire, u.MinusWire = s.wire(u.Plus, u.AtUnit), s.wire(u.Minus, z.Unit)
	z.Wire, z.CommonWire = s.wire(z.Rig, z.Unit), s.wire(z.Common, z.Unit)
}

// ohms writes a resistance for a drawing, as in "39 kΩ".
func ohms(v float64) string { return strings.Replace(unit.Resistance.Format(v), "ohm", "Ω", 1) }

func (s *sketch) output(o *wiring.Output, i int) picture.BenchOutput {
	out := picture.BenchOutput{At: s.atUnit(o.Name), Rig: s.atRig(o.Name), Pin: s.point("pin." + o.Name), Input: fmt.Sprintf("%s.AIN%d", o.Chip, o.Channel)}
	out.Wire = s.wire(out.At, out.Rig)
	if o.Divider.Upper > 0 {
		out.Upper, out.Lower = ohms(o.Divider.Upper), ohms(o.Divider.Lower)
	}
	if s.rig.Simulated && !s.rig.SwitchesCoils() {
		out.Note = fmt.Sprintf("address %d", i+1)
	}
	return out
}

func (s *sketch) relay(k sim.Relay) picture.BenchRelay {
	at := func(terminal string) picture.TestPoint { return s.point(k.Name + "." + terminal) }
	out := picture.BenchRelay{Name: k.Name, Output: k.Output, From: at("A1"), To: at("A2"), Common: at("COM")}
	if s.rig.Simulated {
		r, _ := sim.NominalCoil()
		out.Flyback, out.Coil = "diode", ohms(r)
	}
	out.FromWire, out.ToWire = s.wire(s.atUnit(k.Output), out.From), s.wire(out.To, s.atUnit("0V"))
	out.CommonTo = s.otherEnd(out.Common)
	out.CommonWire = s.wire(out.Common, out.CommonTo)
	contact := func(name, terminal string) picture.BenchLine {
		c := s.rig.Contact(name)
		if c == nil {
			return picture.BenchLine{}
		}
		l := s.line(c, "")
		l.Far = at(terminal)
		l.Wire = s.wire(l.Far, l.At)
		return l
	}
	out.Make, out.Break = contact(k.Make, "NO"), contact(k.Break, "NC")
	return out
}

// line is a line of the rig with its terminal.
func (s *sketch) line(l *line.Line, note string) picture.BenchLine {
	return picture.BenchLine{At: s.atRig(l.Name), Note: note, Line: lineName(l), Pin: s.point("pin." + l.Name)}
}

// lineName is what a line is called, of a Raspberry Pi's header as there.
func lineName(l *line.Line) string {
	if gpio, ok := header.At(l.Chip, l.LineName, l.Number); ok {
		return header.Name(gpio)
	}
	return cmp.Or(l.LineName, fmt.Sprintf("%s %d", l.Chip, l.Number))
}

// inputs finds what is wired to the unit's inputs: drives and references.
func (s *sketch) inputs(b *picture.Bench) {
	at := map[string]int{}
	add := func(l picture.BenchLine) {
		far := s.otherEnd(l.At)
		i, ok := at[far.Name]
		if !ok {
			i = len(b.Inputs)
			at[far.Name] = i
			b.Inputs = append(b.Inputs, picture.BenchInput{At: far})
		}
		l.Wire = s.wire(l.At, far)
		b.Inputs[i].Lines = append(b.Inputs[i].Lines, l)
	}
	for i := range s.rig.Drives {
		d := &s.rig.Drives[i]
		l := s.line(&d.Line, s.eventsOf(d.Name))
		if l.Part = "optocoupler"; d.Coil {
			l.Part = ""
		}
		add(l)
	}
	for i := range s.rig.References {
		l := s.line(&s.rig.References[i], "reports events")
		add(l)
	}
}

// otherEnd is what a terminal of the rig is wired to.
func (s *sketch) otherEnd(p picture.TestPoint) picture.TestPoint {
	for _, j := range s.layout.Wires {
		switch p.Name {
		case j.From:
			return s.point(j.To)
		case j.To:
			return s.point(j.From)
		}
	}
	return picture.TestPoint{}
}

// eventsOf are the events that a drive brings about.
func (s *sketch) eventsOf(drive string) string {
	var events []string
	for i := range s.rig.Causes {
		if s.rig.Causes[i].Drive == drive {
			events = append(events, s.rig.Causes[i].Event)
		}
	}
	return strings.Join(events, ", ")
}

// names are the names of points that show how points are named.
func names(b *picture.Bench) []string {
	var all []string
	for _, o := range b.Outputs[:min(1, len(b.Outputs))] {
		all = append(all, o.At.Name, o.Pin.Name)
	}
	for _, k := range b.Relays[:min(1, len(b.Relays))] {
		all = append(all, k.From.Name)
	}
	return all
}

// Sentences say how a bench is wired, to who does not see the drawing: wires first, then what is
// on the rig's board and on relays' boards.
func Sentences(b *picture.Bench) []string {
	var all []string
	add := func(format string, args ...any) { all = append(all, fmt.Sprintf(format, args...)) }
	for _, w := range b.Wires {
		add("%s (%s), %s to %s: %s.", w.Name, w.Colour, w.From, w.To, w.About)
	}
	for i := range b.Outputs {
		o := &b.Outputs[i]
		if o.Upper == "" {
			add("%s goes straight to %s (%s).", o.Rig.Name, o.Pin.Name, o.Input)
			continue
		}
		add("%s goes by %s to %s (%s), which goes by %s to 0 V.", o.Rig.Name, o.Upper, o.Pin.Name, o.Input, o.Lower)
	}
	for i := range b.Relays {
		k := &b.Relays[i]
		text := fmt.Sprintf("The coil of %s is between %s and %s", k.Name, k.From.Name, k.To.Name)
		if k.Flyback != "" {
			text += ", a " + k.Flyback + " across it with its bar at " + k.From.Name
		}
		add("%s.", text)
	}
	return all
}

// Relays are the relays on a simulated bench for a sequence: those that it names, or else what
// the contacts' names suggest.
func Relays(rig *wiring.Rig, seq *sequences.Sequence) []sim.Relay {
	if relays := setup.Unit(rig, seq).Relays; relays != nil {
		return relays
	}
	return sim.DefaultRelays(rig, nil)
}
