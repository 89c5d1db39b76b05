package sim

import (
	"fmt"
	"slices"
	"strings"

	"makebreak/rig/line"
	"makebreak/rig/problem"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// Part is a part of the bench that has terminals.
type Part string

// The parts. A driver stands in the panel's place where the rig switches coils itself.
const (
	SupplyPart Part = "supply"
	PanelPart  Part = "panel"
	DriverPart Part = "driver"
	RelayPart  Part = "relay board"
	RigPart    Part = "rig"
)

// Point is a terminal, or a pin behind one, at which a meter's lead can be held.
type Point struct {
	Name     string // as a person types it: panel.OUT3, K1.A1, rig.0V
	Part     Part
	Relay    string // on a relay board: the relay's name
	Terminal string // as it is printed beside the terminal: OUT3, A1, 0V, +
	About    string // what it is, a plain phrase
	Pin      bool   // behind a terminal, on the rig's board: a converter's input, a line
}

// Wire is a wire of the bench between two points.
type Wire struct {
	Name     string // W1, W2, ...
	From, To string // points' names
	Colour   string
	About    string // what it is, a plain phrase: sense wire of OUT3
}

// Layout is the bench's wiring as its drawing has it: without faults and without what a
// person has changed.
type Layout struct {
	Points []Point
	Wires  []Wire
	inputs []panelInput
}

// panelInput is an input of the panel with the drives that work it.
type panelInput struct {
	terminal string
	drives   []string // names
	refs     []string // references that see it
}

// Layout returns the bench's wiring as its drawing has it.
func (w *World) Layout() *Layout { return w.layout }

// NewLayout draws the wiring of a rig up, with the relays that the options name.
func NewLayout(rig *wiring.Rig, opts Opts) *Layout {
	relays := opts.Relays
	if relays == nil {
		relays = DefaultRelays(rig, opts.Programme)
	}
	b := &builder{rig: rig, unit: PanelPart}
	if rig.SwitchesCoils() {
		b.unit = DriverPart
	}
	b.inputs = panelInputs(rig)
	b.addPoints(relays)
	b.addWires(relays)
	return &b.Layout
}

// Unit is the part that has the outputs.
func (l *Layout) Unit() Part {
	if slices.ContainsFunc(l.Points, func(p Point) bool { return p.Part == DriverPart }) {
		return DriverPart
	}
	return PanelPart
}

// Point returns the point that a person means by a name. Case does not matter, and a
// terminal's print is enough; where several parts have it, the part first in Points is
// meant, the panel's for OUT3. The error is of the kind Usage.
func (l *Layout) Point(name string) (*Point, error) {
	name = strings.TrimSpace(name)
	for i := range l.Points {
		if strings.EqualFold(l.Points[i].Name, name) {
			return &l.Points[i], nil
		}
	}
	for i := range l.Points {
		if strings.EqualFold(l.Points[i].Terminal, name) {
			return &l.Points[i], nil
		}
	}
	names := words.Texts(l.Points, func(p Point) string { return p.Name })
	return nil, problem.Of(problem.Usage, fmt.Errorf("this bench has no point %q: %s", name, words.UseOneOf(name, names)))
}

func (l *Layout) has(name string) bool {
	return slices.ContainsFunc(l.Points, func(p Point) bool { return p.Name == name })
}

// Wire returns the wire between two points, or nil.
func (l *Layout) Wire(a, b string) *Wire {
	for i := range l.Wires {
		if j := &l.Wires[i]; j.From == a && j.To == b || j.From == b && j.To == a {
			return j
		}
	}
	return nil
}

// panelInputs finds the inputs of the panel that the rig's drives work. Drives whose events
// one reference reports are the positions of one key-switch.
func panelInputs(rig *wiring.Rig) (all []panelInput) {
	at := map[string]int{} // by the input's terminal
	of := func(terminal string) *panelInput {
		i, ok := at[terminal]
		if !ok {
			i = len(all)
			at[terminal] = i
			all = append(all, panelInput{terminal: terminal})
		}
		return &all[i]
	}
	for i := range rig.Causes {
		c := &rig.Causes[i]
		if c.Reference == "" {
			continue
		}
		in := of(keyTerminal(rig, c.Reference))
		if !slices.Contains(in.refs, c.Reference) {
			in.refs = append(in.refs, c.Reference)
		}
		if d := rig.Drive(c.Drive); d != nil && !d.Coil && !slices.Contains(in.drives, c.Drive) {
			in.drives = append(in.drives, c.Drive)
		}
	}
	for i := range rig.Drives {
		d := &rig.Drives[i]
		if d.Coil || stages(rig, d.Name) || slices.ContainsFunc(all, func(in panelInput) bool { return slices.Contains(in.drives, d.Name) }) {
			continue
		}
		in := of(d.Name)
		in.drives = append(in.drives, d.Name)
	}
	return all
}

// keyTerminal names the input that a reference sees.
func keyTerminal(rig *wiring.Rig, reference string) string {
	if len(rig.References) == 1 {
		return "KEY"
	}
	return "KEY-" + reference
}

// stages reports whether the drive switches the unit's supply.
func stages(rig *wiring.Rig, drive string) bool {
	return rig.Supply != nil && rig.Supply.Stage != nil && rig.Supply.Stage.Drive == drive
}

// builder gathers a layout.
type builder struct {
	Layout
	rig  *wiring.Rig
	unit Part
}

func (b *builder) point(part Part, terminal, about string) {
	b.Points = append(b.Points, Point{Name: pointName(part, terminal), Part: part, Terminal: terminal, About: about})
}

// pointName is how a terminal of any part but a relay board is typed.
func pointName(part Part, terminal string) string { return string(part) + "." + terminal }

// pinName is how a pin behind one of the rig's terminals is typed.
func pinName(terminal string) string { return "pin." + terminal }

// relayPoint is how a relay board's terminal is typed.
func relayPoint(relay, terminal string) string { return relay + "." + terminal }

func (b *builder) pin(terminal, about string) {
	b.Points = append(b.Points, Point{Name: pinName(terminal), Part: RigPart, Terminal: pinName(terminal), About: about, Pin: true})
}

func (b *builder) addPoints(relays []Relay) {
	for _, o := range b.rig.Outputs {
		b.point(b.unit, o.Name, "output "+o.Name+" of the "+string(b.unit))
	}
	for _, in := range b.inputs {
		b.point(b.unit, in.terminal, "input "+in.terminal+" of the "+string(b.unit)+", active at 0 V")
	}
	for _, d := range b.rig.Drives {
		if d.Coil {
			b.point(b.unit, d.Name, "input of the "+string(b.unit)+" that switches a coil on, an optocoupler's")
		}
	}
	b.point(b.unit, "+", "supply, plus, at the "+string(b.unit))
	b.point(b.unit, zeroVolts, "0 V of the "+string(b.unit))
	b.point(SupplyPart, "+", "supply, plus")
	b.point(SupplyPart, "-", "supply, minus")
	for _, r := range relays {
		b.relayPoints(r)
	}
	b.rigPoints()
}

// zeroVolts is what is printed beside a terminal of 0 V.
const zeroVolts = "0V"

func (b *builder) relayPoints(r Relay) {
	if r.Output == "" {
		return
	}
	for _, t := range []struct {
		terminal, about string
		there           bool
	}{
		{coilPlus, "coil, the output's end", true},
		{coilMinus, "coil, the end at 0 V", true},
		{common, "contacts, common", r.Make != "" || r.Break != ""},
		{makes, "make contact", r.Make != ""},
		{breaks, "break contact", r.Break != ""},
	} {
		if t.there {
			b.Points = append(b.Points, Point{Name: relayPoint(r.Name, t.terminal), Part: RelayPart, Relay: r.Name, Terminal: t.terminal, About: r.Name + ": " + t.about})
		}
	}
}

// The terminals of a relay board.
const (
	coilPlus  = "A1"
	coilMinus = "A2"
	common    = "COM"
	makes     = "NO"
	breaks    = "NC"
)

func (b *builder) rigPoints() {
	for _, o := range b.rig.Outputs {
		b.point(RigPart, o.Name, "divider input for "+o.Name)
	}
	for _, c := range b.rig.Contacts {
		b.point(RigPart, c.Name, "contact line "+c.Name)
	}
	for _, r := range b.rig.References {
		b.point(RigPart, r.Name, "reference input "+r.Name)
	}
	for _, d := range b.rig.Drives {
		b.point(RigPart, d.Name, "drive "+d.Name)
	}
	if len(b.inputs) > 0 {
		b.point(RigPart, common, "common of the drives' optocouplers")
	}
	b.point(RigPart, logic, "3.3 V of the rig")
	b.point(RigPart, zeroVolts, "0 V of the rig")
	for _, o := range b.rig.Outputs {
		b.pin(o.Name, fmt.Sprintf("input %d of converter %s, behind the divider of %s", o.Channel, o.Chip, o.Name))
	}
	for _, r := range b.rig.References {
		b.pin(r.Name, "line of reference "+r.Name+", behind its optocoupler")
	}
}

// logic is what is printed beside the rig's supply.
const logic = "3V3"

// The colours in turn of the wires from the unit's outputs.
var colours = []string{"brown", "orange", "yellow", "green", "blue", "violet", "grey", "white", "pink", "turquoise"}

func (b *builder) join(from, to, colour, about string) {
	b.Wires = append(b.Wires, Wire{Name: fmt.Sprintf("W%d", len(b.Wires)+1), From: from, To: to, Colour: colour, About: about})
}

func (b *builder) addWires(relays []Relay) {
	of := func(terminal string) string { return pointName(b.unit, terminal) }
	at := func(terminal string) string { return pointName(RigPart, terminal) }
	b.join(pointName(SupplyPart, "+"), of("+"), "red", "supply, plus")
	b.join(pointName(SupplyPart, "-"), of(zeroVolts), "black", "supply, minus")
	for i, o := range b.rig.Outputs {
		b.join(of(o.Name), at(o.Name), colours[i%len(colours)], "sense wire of "+o.Name)
	}
	for i, r := range relays {
		if r.Output != "" {
			b.relayWires(r, "white-"+colours[i%len(colours)])
		}
	}
	n := 0
	striped := func() string { n++; return "black-" + colours[(n-1)%len(colours)] }
	for _, in := range b.inputs {
		for _, d := range in.drives {
			b.join(at(d), of(in.terminal), striped(), "drive "+d)
		}
		for _, r := range in.refs {
			b.join(of(in.terminal), at(r), striped(), "reference "+r)
		}
	}
	for _, d := range b.rig.Drives {
		if d.Coil {
			b.join(at(d.Name), of(d.Name), striped(), "drive "+d.Name)
		}
	}
	if len(b.inputs) > 0 {
		b.join(at(common), of(zeroVolts), "black", "common of the drives")
	}
	b.join(at(zeroVolts), of(zeroVolts), "black", "0 V of rig and "+string(b.unit))
}

func (b *builder) relayWires(r Relay, colour string) {
	at := func(terminal string) string { return relayPoint(r.Name, terminal) }
	b.join(pointName(b.unit, r.Output), at(coilPlus), colour, "coil wire of "+r.Name)
	b.join(at(coilMinus), pointName(b.unit, zeroVolts), "black", "coil return of "+r.Name)
	if r.Make != "" || r.Break != "" {
		b.join(at(common), pointName(RigPart, wetting(b.rig, r)), "black", "common of "+r.Name)
	}
	if r.Make != "" {
		b.join(at(makes), pointName(RigPart, r.Make), "white", "make contact of "+r.Name)
	}
	if r.Break != "" {
		b.join(at(breaks), pointName(RigPart, r.Break), "grey", "break contact of "+r.Name)
	}
}

// wetting is the terminal that a relay's common wire goes to: 0 V, or 3.3 V where its lines
// are pulled down.
func wetting(rig *wiring.Rig, r Relay) string {
	for _, name := range []string{r.Make, r.Break} {
		if c := rig.Contact(name); c != nil && pulledDown(c) {
			return logic
		}
	}
	return zeroVolts
}

func pulledDown(c *line.Line) bool { return c.Pull == line.PullDown }
