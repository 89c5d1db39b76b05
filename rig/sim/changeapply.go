package sim

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"makebreak/rig/circuit"
	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// change does what was changed on the bench, in order, before anything moves. A change that
// the bench cannot have is bad usage.
func (w *World) change(all []Change) error {
	for i, c := range all {
		f := formOf(c.Kind)
		if f == nil {
			return problem.Of(problem.Internal, fmt.Errorf("change %q is not known", c.Kind))
		}
		w.dangers = append(w.dangers, nil)
		if err := f.apply(w, c); err != nil {
			return problem.Of(problem.Usage, fmt.Errorf("change %d, %s: %w", i+1, c, err))
		}
	}
	return nil
}

// Dangers returns what each of the changes makes dangerous, by its index in the options.
func (w *World) Dangers(change int) []circuit.Danger {
	if change < 0 || change >= len(w.dangers) {
		return nil
	}
	return w.dangers[change]
}

// endanger notes a danger of the change that is being done.
func (w *World) endanger(d circuit.Danger) {
	last := &w.dangers[len(w.dangers)-1]
	*last = append(*last, d)
}

// remaining leaves the faults out whose cause the changes take away.
func (w *World) remaining(faults []Fault, changes []Change) []Fault {
	left := slices.Clone(faults)
	for _, c := range changes {
		left = slices.DeleteFunc(left, func(f Fault) bool { return w.cures(c, f) })
	}
	return left
}

// cures reports whether the change takes a fault's cause away. What cures by what it does to
// the bench, as wires that change places, is no matter of this.
func (w *World) cures(c Change, f Fault) bool {
	p := lookUp(f.Name)
	if p == nil {
		return false
	}
	o, err := w.victim(p, f.Place)
	if err != nil {
		return false
	}
	switch c.Kind {
	case NewBoard:
		k := w.relayAt(o)
		return (p.group == InRelay || p.group == InContacts) && k != nil && strings.EqualFold(k.name, c.A)
	case Programme:
		// Only what is a matter of programming.
		return p.group == InPanel && f.Name != "missed-cycle" && (p.place == WholeBench || strings.EqualFold(o.name, w.outputTyped(c.A)))
	case SetSupply:
		return p.group == InSupply
	case ReplaceWire, JoinPoints:
		return w.wireOf(f, o) != nil && w.sameWire(c, w.wireOf(f, o))
	}
	return false
}

// relayAt returns the relay that a fault at the output is in.
func (w *World) relayAt(o *output) *relay {
	if o.relay == nil && len(w.relays) > 0 {
		return w.relays[0]
	}
	return o.relay
}

// wireOf returns the wire in which a fault sits, or nil.
func (w *World) wireOf(f Fault, o *output) *Wire {
	unit := w.layout.Unit()
	k := w.relayAt(o)
	switch {
	case f.Name == "loose-wire":
		return w.layout.Wire(pointName(unit, o.name), pointName(RigPart, o.name))
	case f.Name == "ground-open":
		return w.layout.Wire(pointName(unit, zeroVolts), pointName(RigPart, zeroVolts))
	case f.Name == "coil-joint" && k != nil:
		return w.layout.Wire(pointName(unit, k.out.name), relayPoint(k.name, coilPlus))
	case f.Name == "common-open" && k != nil:
		for i := range w.layout.Wires {
			if x := &w.layout.Wires[i]; x.From == relayPoint(k.name, common) {
				return x
			}
		}
	}
	return nil
}

// sameWire reports whether a change is about the wire between two points.
func (w *World) sameWire(c Change, wire *Wire) bool {
	a, b, err := w.twoPoints(c)
	return err == nil && w.layout.Wire(a.Name, b.Name) == wire
}

// twoPoints returns the two points that a change names.
func (w *World) twoPoints(c Change) (a, b *Point, err error) {
	if a, err = w.layout.Point(c.A); err != nil {
		return nil, nil, err
	}
	if b, err = w.layout.Point(c.B); err != nil {
		return nil, nil, err
	}
	return a, b, nil
}

// outputTyped returns the output's name that a person means: OUT3, or panel.OUT3.
func (w *World) outputTyped(text string) string {
	if p, err := w.layout.Point(text); err == nil {
		return p.Terminal
	}
	return text
}

// outputAt returns the output that is wired to a terminal of the unit.
func (w *World) outputAt(terminal string) *output {
	for _, o := range w.outputs {
		if strings.EqualFold(o.label, terminal) {
			return o
		}
	}
	return nil
}

// terminalTyped returns the output at the terminal that a person means.
func (w *World) terminalTyped(text string) (*output, error) {
	if o := w.outputAt(w.outputTyped(text)); o != nil {
		return o, nil
	}
	names := words.Texts(w.outputs, func(o *output) string { return o.label })
	return nil, fmt.Errorf("the %s has no output %q: %s", w.layout.Unit(), text, words.UseOneOf(text, names))
}

// relayTyped returns the relay that a person means: K1, or one of its terminals.
func (w *World) relayTyped(text string) (*relay, error) {
	name, _, _ := strings.Cut(text, ".")
	for _, k := range w.relays {
		if strings.EqualFold(k.name, name) {
			return k, nil
		}
	}
	return nil, w.noRelay(name)
}

// swap lets the wires at two terminals change places.
func (w *World) swap(c Change) error {
	a, b, err := w.twoPoints(c)
	if err != nil {
		return err
	}
	x, y := w.outputAt(a.Terminal), w.outputAt(b.Terminal)
	switch {
	case a == b:
		return errors.New("must name two terminals")
	case a.Part == w.layout.Unit() && b.Part == a.Part && x != nil && y != nil:
		w.exchange(x, y)
		return nil
	case a.Part == RelayPart && a.Relay == b.Relay && contactTerminal(a.Terminal) && contactTerminal(b.Terminal):
		k, err := w.relayTyped(a.Relay)
		if err != nil {
			return err
		}
		k.swapEnds(a.Terminal, b.Terminal)
		return nil
	case a.Part == RelayPart && a.Relay == b.Relay && !contactTerminal(a.Terminal) && !contactTerminal(b.Terminal):
		return w.turnCoil(a.Relay)
	}
	return errors.New("must name two outputs of the unit, or two contacts or both ends of the coil of one relay")
}

// turnCoil lets the two wires at a coil change places, which turns the diode across it round.
func (w *World) turnCoil(relay string) error {
	k, err := w.relayTyped(relay)
	if err != nil {
		return err
	}
	k.turned = !k.turned
	c := &k.coil
	if c.undamped {
		return nil
	}
	if c.reversed = !c.reversed; c.reversed {
		w.checkCurrent(k.out, (k.out.on.volts-k.out.stands(k.out.on))/k.out.on.ohms)
	}
	return nil
}

// checkCurrent notes a current, in amperes, above what an output is made for.
func (w *World) checkCurrent(o *output, amperes float64) {
	if amperes > outputAmperes {
		w.endanger(circuit.Danger{Code: circuit.Shorted, Place: o.label, Value: amperes, Limit: outputAmperes})
	}
}

func contactTerminal(t string) bool { return t == common || t == makes || t == breaks }

// exchange lets the wires at two terminals change places: what is the unit's goes the
// other way.
func (w *World) exchange(x, y *output) {
	x.terminal, y.terminal = y.terminal, x.terminal
	other := func(o *output) *output {
		switch o {
		case x:
			return y
		case y:
			return x
		}
		return o
	}
	for _, rules := range w.panel.rules {
		for i := range rules {
			rules[i].out = other(rules[i].out)
		}
	}
	for _, d := range w.drives {
		d.coil = other(d.coil)
	}
	// What joins two terminals stays where it is.
	if x.joined == y {
		return
	}
	x.joined, y.joined = y.joined, x.joined
	for _, o := range []*output{x, y} {
		if o.joined != nil {
			o.joined.joined = o
		}
	}
}

// ends are the wires at a relay's contacts, by its terminals.
type ends map[string]end

// end is a wire's: the rig's common, a contact's line, or neither.
type end struct {
	common bool
	line   *contact
}

// wired returns the wires at the relay's contacts.
func (k *relay) wired() ends {
	if k.ends == nil {
		k.ends = ends{common: {common: true}, makes: {line: k.makes}, breaks: {line: k.breaks}}
	}
	return k.ends
}

// swapEnds lets the wires at two contacts change places. A line is then read as closed
// where the one contact between it and the rig's common is; where there are two, which are never
// closed together, it is never.
func (k *relay) swapEnds(a, b string) {
	e := k.wired()
	e[a], e[b] = e[b], e[a]
	k.makes, k.breaks = nil, nil
	switch {
	case e[common].common:
		k.makes, k.breaks = e[makes].line, e[breaks].line
	case e[makes].common:
		k.makes = e[common].line
	case e[breaks].common:
		k.breaks = e[common].line
	}
}

// address lets the panel's programming of an output act on the terminal of a number.
func (w *World) address(c Change) error {
	name, n := w.outputTyped(c.A), c.Number
	if n > len(w.rig.Outputs) {
		return fmt.Errorf("the %s has %s", w.layout.Unit(), words.Count(len(w.rig.Outputs), "output"))
	}
	return w.act(name, w.outputAt(w.rig.Outputs[n-1].Name))
}

// act lets what is programmed for an output act on a terminal.
func (w *World) act(name string, to *output) error {
	var from *output
	for _, rules := range w.panel.rules {
		for i := range rules {
			if strings.EqualFold(rules[i].named, name) {
				from, rules[i].out = rules[i].out, to
			}
		}
	}
	switch {
	case from == nil:
		return fmt.Errorf("%s is not programmed: no event switches it", name)
	case from != to && from.high && !from.stuck:
		from.high = false
		to.high = to.high || !to.stuck
	}
	return nil
}

// reprogramme enters an output's programming anew. What was wrong with it was taken away with
// the faults; what is left is its address.
func (w *World) reprogramme(c Change) error {
	name := w.outputTyped(c.A)
	o := w.output(name)
	if o == nil {
		_, err := w.outputNamed(c.A)
		return err
	}
	return w.act(name, w.outputAt(name))
}

// setUnitSupply feeds the unit from a bench supply, which does not sag or hum.
func (w *World) setUnitSupply(c Change) error {
	if w.rig.Supply != nil {
		return errors.New("the rig itself sets this unit's supply")
	}
	was := w.ownSupply()
	for _, o := range w.outputs {
		o.on.volts = max(0, o.on.volts+c.Value-was)
		o.off.volts *= c.Value / was
	}
	if most := w.highestSupply(); c.Value > most {
		w.endanger(circuit.Danger{Code: circuit.HighSupply, Place: string(w.layout.Unit()), Value: c.Value, Limit: most})
	}
	return nil
}

// ownSupply is what the unit's supply has without load, in volts, by what it makes of its outputs.
func (w *World) ownSupply() float64 {
	highest := 0.0
	for _, o := range w.outputs {
		highest = max(highest, o.on.volts)
	}
	return highest + seriesDrop
}

// highestSupply is what the rig's file says that the unit's outputs can reach at most, in volts.
func (w *World) highestSupply() float64 {
	most := 0.0
	for i := range w.rig.Outputs {
		most = max(most, w.rig.Outputs[i].Highest)
	}
	return most
}

// addResistor puts a resistor across a coil. To what drives the coil it is part of the source.
func (w *World) addResistor(c Change) error {
	k, err := w.relayTyped(c.A)
	if err != nil {
		return err
	}
	k.coil.across = parallel(k.coil.across, c.Value)
	rating := c.Rating
	if rating == 0 {
		rating = UsualRating
	}
	if watts := k.acrossVolts() * k.acrossVolts() / c.Value; watts > rating {
		w.endanger(circuit.Danger{Code: circuit.Burns, Place: k.name, Value: watts, Limit: rating})
	}
	amperes := k.acrossVolts() / k.coil.across
	if !k.coil.open {
		amperes += k.acrossVolts() / k.coil.ohms
	}
	w.checkCurrent(k.out, amperes)
	return nil
}

// acrossVolts is what stands at the relay's coil when its output is on, in volts.
func (k *relay) acrossVolts() float64 {
	seen := k.coil.seen(k.out.on)
	if k.coil.open {
		return seen.volts
	}
	return seen.volts * k.coil.ohms / (k.coil.ohms + seen.ohms)
}

// outputAmperes is what an output is made for: common practice, no source.
const outputAmperes = 0.5

// parallel returns two resistances side by side, in ohms; 0 is none.
func parallel(a, b float64) float64 {
	switch {
	case a == 0:
		return b
	case b == 0:
		return a
	}
	return a * b / (a + b)
}

// beside returns what a source with a resistor across it is to its load.
func (s source) beside(ohms float64) source {
	share := ohms / (ohms + s.ohms)
	s.volts, s.slope, s.gap = s.volts*share, s.slope*share, s.gap*share
	s.ohms *= share
	return s
}

// exchangeBoard puts another relay in. Its faults went with the old one.
func (w *World) exchangeBoard(c Change) error {
	k, err := w.relayTyped(c.A)
	if err != nil {
		return err
	}
	k.boards++
	k.setup(&w.opts, fmt.Sprintf("relay %s, board %d", k.name, k.boards+1))
	k.worn = wear{}
	return nil
}

// join joins the 0 V of rig and unit, or two outputs. Whether the 0 V was open was a fault,
// which has gone.
func (w *World) join(c Change) error {
	ground := w.layout.Wire(pointName(w.layout.Unit(), zeroVolts), pointName(RigPart, zeroVolts))
	if w.sameWire(c, ground) {
		return nil
	}
	x, y, err := w.twoOutputs(c)
	switch {
	case err != nil:
		return fmt.Errorf("must name the 0 V of rig and unit, or two outputs: %w", err)
	case x.joined == y:
		return nil
	case x.joined != nil || y.joined != nil:
		return errors.New("an output can be joined to one other only")
	}
	x.joined, y.joined = y, x
	// At the worst one is on while the other pulls to 0 V.
	w.checkCurrent(x, max(x.on.volts, y.on.volts)/(x.on.ohms+y.on.ohms))
	return nil
}

// part takes what joins two outputs away.
func (w *World) part(c Change) error {
	x, y, err := w.twoOutputs(c)
	if err == nil && x.joined == y {
		x.joined, y.joined = nil, nil
	}
	return err
}

// twoOutputs returns the outputs at the two terminals that a change names.
func (w *World) twoOutputs(c Change) (x, y *output, err error) {
	if x, err = w.terminalTyped(c.A); err != nil {
		return nil, nil, err
	}
	if y, err = w.terminalTyped(c.B); err != nil {
		return nil, nil, err
	}
	if x == y {
		return nil, nil, errors.New("must name two different outputs")
	}
	return x, y, nil
}

// replaceWire puts a new wire in. What was wrong with the old one went with the faults.
func (w *World) replaceWire(c Change) error {
	a, b, err := w.twoPoints(c)
	if err != nil {
		return err
	}
	if w.layout.Wire(a.Name, b.Name) == nil {
		return fmt.Errorf("no wire goes from %s to %s", a.Name, b.Name)
	}
	return nil
}

// setPolarity sets what level of a reference's line counts as active.
func (w *World) setPolarity(c Change) error {
	i := w.reference(w.outputTyped(c.A))
	if i < 0 {
		names := words.Texts(w.references, func(r *reference) string { return r.name })
		return fmt.Errorf("the rig has no reference %q: %s", c.A, words.UseOneOf(c.A, names))
	}
	if other := (c.B == activeLow) != w.rig.References[i].ActiveLow; other != w.references[i].other {
		r := w.references[i]
		r.other, r.inverted = other, !r.inverted
	}
	return nil
}
