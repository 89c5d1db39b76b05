package sim

import (
	"math"

	"makebreak/rig/circuit"
)

// Power says whether the bench's supplies are on.
type Power bool

// The states of the supplies.
const (
	SupplyOff Power = false
	SupplyOn  Power = true
)

// Figures of the bench that the measuring does not see: common practice, no source.
const (
	supplyOhms  = 0.05 // inner resistance of the unit's supply
	seriesDrop  = 0.25 // V from the supply to an output that is on, without load
	panelOhms   = 150  // what the panel itself takes from its supply
	inputOhms   = 4700 // pull-up of a panel's input to its supply
	driveOhms   = 100  // an optocoupler that conducts
	keyStep     = 1000 // ohms by which the positions of one key-switch differ
	logicVolts  = 3.3  // the rig's own supply
	logicOhms   = 0.1  // its inner resistance
	pullOhms    = 50e3 // a line's pull-up or pull-down in the Pi
	lineOhms    = 10e3 // behind a reference's optocoupler
	pinOhms     = 50   // a pin that drives
	coilInput   = 10e3 // the input of a coil's driver
	contactOhms = 0.05 // a closed contact
)

// Network is the bench as it is at this instant, with all its faults and changes: between
// any two points of its layout a meter can be put. A coil is its wire's resistance, as when
// its current has settled. With the supplies off all relays have dropped out that can.
func (w *World) Network(power Power) *circuit.Network {
	n := &networker{w: w, power: power, unit: w.layout.Unit()}
	n.supply()
	for _, o := range w.outputs {
		n.output(o)
	}
	for _, k := range w.relays {
		n.relay(k)
	}
	n.lines()
	n.inputs()
	n.wire(pointName(RigPart, zeroVolts), n.at(zeroVolts), w.floating)
	return &n.Network
}

type networker struct {
	circuit.Network
	w     *World
	power Power
	unit  Part
}

// at names a terminal of the unit.
func (n *networker) at(terminal string) string { return pointName(n.unit, terminal) }

func (n *networker) wire(from, to string, open bool) {
	n.Wires = append(n.Wires, circuit.Wire{From: from, To: to, Open: open})
}

func (n *networker) resistor(from, to string, ohms float64) {
	n.Resistors = append(n.Resistors, circuit.Resistor{From: from, To: to, Ohms: ohms})
}

// source adds a source, which has no voltage while the supplies are off.
func (n *networker) source(name, plus, minus string, volts, ohms float64) *circuit.Source {
	if n.power == SupplyOff {
		volts = 0
	}
	n.Sources = append(n.Sources, circuit.Source{Name: name, Plus: plus, Minus: minus, Volts: volts, Ohms: ohms})
	return &n.Sources[len(n.Sources)-1]
}

// supply is the unit's. What the outputs take from it stands in their own sources, which
// were drawn with it.
func (n *networker) supply() {
	plus, minus := pointName(SupplyPart, "+"), pointName(SupplyPart, "-")
	volts := n.w.supplyVolts()
	n.source("supply", plus, minus, volts*(1+supplyOhms/panelOhms), supplyOhms)
	n.wire(plus, n.at("+"), false)
	n.wire(minus, n.at(zeroVolts), false)
	n.resistor(n.at("+"), n.at(zeroVolts), panelOhms)
}

// supplyVolts is what stands at the unit's supply.
func (w *World) supplyVolts() float64 {
	if w.supply != nil {
		return w.supply.volts(w.now)
	}
	highest := 0.0
	for _, o := range w.outputs {
		v := o.on.volts
		if o.high {
			v = o.fedVolts(w.now)
		}
		highest = max(highest, v)
	}
	return highest + seriesDrop - w.sagged()
}

// sagged is what a tired battery loses at its resistance to the coils that it feeds, in volts.
func (w *World) sagged() float64 {
	amperes, ohms := 0.0, 0.0
	for _, o := range w.outputs {
		if k := o.load(); o.battery != nil && o.high && k != nil {
			ohms = o.battery.ohms
			amperes += k.drawn(o.settledSource())
		}
	}
	return ohms * amperes
}

// fedVolts is the open voltage of what drives the terminal at an instant.
func (o *output) fedVolts(at int64) float64 {
	dt := float64(at - o.fedAt)
	v := o.fed.volts + o.fed.slope*dt
	if o.fed.gap != 0 {
		v += o.fed.gap * math.Exp(-dt/o.fed.tau)
	}
	return v
}

// output is a terminal of the unit with its sense wire and divider. The simulated bench's
// sources stand for a terminal with its divider on it, so the divider is taken out of them.
func (n *networker) output(o *output) {
	terminal, zero := n.at(o.label), n.at(zeroVolts)
	volts, ohms := o.fedVolts(n.w.now), o.fed.ohms
	if m := o.joined; m != nil { // each has its own source, and a wire joins them
		own := o.own()
		volts, ohms = own.volts, own.ohms
		if o.index < m.index {
			n.wire(terminal, n.at(m.label), false)
		}
	}
	if n.power == SupplyOff {
		ohms = o.off.ohms
	}
	if k := o.relay; k != nil && k.coil.open && k.coil.across != 0 && n.power == SupplyOn {
		volts, ohms = without(volts, ohms, 0, k.coil.joint+k.coil.across)
	}
	if d := o.parts; d.upper != 0 {
		behind, branch := d.thevenin(o.lift, o.share)
		volts, ohms = without(volts, ohms, behind, branch)
	}
	s := n.source("output "+o.label, terminal, zero, volts, ohms)
	if o.high && n.power == SupplyOn {
		s.Hum = o.hum
	}
	n.wire(terminal, pointName(RigPart, o.name), o.loose)
	n.divider(o)
}

// without takes a branch out of a source that stands for both: a voltage behind a resistance.
func without(volts, ohms, behind, branch float64) (float64, float64) {
	g := 1/ohms - 1/branch
	return (volts/ohms - behind/branch) / g, 1 / g
}

// thevenin is what a divider is to its terminal: a voltage behind a resistance.
func (v divider) thevenin(lift, share float64) (volts, ohms float64) {
	// Unloaded, the pin stands at lift with the terminal at 0 V; turned round, at
	// lift/(1-share) with the terminal open.
	return lift / (1 - share), v.upper + v.below()
}

func (n *networker) divider(o *output) {
	at, pin, zero := pointName(RigPart, o.name), pinName(o.name), pointName(RigPart, zeroVolts)
	d := o.parts
	if d.upper == 0 {
		n.wire(at, pin, false)
		return
	}
	n.resistor(at, pin, d.upper)
	n.resistor(pin, zero, d.lower)
	if d.load > 0 {
		// With the terminal at 0 V the input's current alone lifts the pin.
		back := o.lift * d.load / (o.share * d.upper)
		n.source("input "+o.name, pin, zero, back, d.load)
	}
}

// relay is a relay board with its wires.
func (n *networker) relay(k *relay) {
	at := func(terminal string) string { return relayPoint(k.name, terminal) }
	fed, back := coilPlus, coilMinus
	if k.turned {
		fed, back = back, fed
	}
	n.coilWire(n.at(k.out.label), at(fed), k.coil.joint)
	n.wire(at(back), n.at(zeroVolts), false)
	if !k.coil.open {
		n.resistor(at(coilPlus), at(coilMinus), k.coil.ohms)
	}
	if k.coil.across != 0 {
		n.resistor(at(coilPlus), at(coilMinus), k.coil.across)
	}
	switch diode := "diode " + k.name; {
	case k.coil.reversed:
		d := circuit.Silicon(diode, at(fed), at(back))
		d.Forward, d.Ohms = diodeVolts, diodeOhms
		n.Diodes = append(n.Diodes, d)
	case !k.coil.undamped:
		n.Diodes = append(n.Diodes, circuit.Silicon(diode, at(back), at(fed)))
	}
	if !n.w.layout.has(at(common)) {
		return
	}
	made, broken := k.closed(n.power)
	n.contact(at(common), at(makes), made, k.makes)
	n.contact(at(common), at(breaks), broken, k.breaks)
	wires := k.wired()
	for _, terminal := range []string{common, makes, breaks} {
		switch e := wires[terminal]; {
		case e.common:
			n.wire(at(terminal), n.wetting(k), k.makes.cut() || k.breaks.cut())
		case e.line != nil:
			n.wire(at(terminal), pointName(RigPart, e.line.name), false)
		}
	}
}

// wetting is the rig's terminal to which the relay's common wire goes.
func (n *networker) wetting(k *relay) string {
	for _, x := range n.w.layout.Wires {
		if x.From == relayPoint(k.name, common) {
			return x.To
		}
	}
	return pointName(RigPart, zeroVolts)
}

// coilWire is a wire to a coil, with a joint's resistance in it; 0: none.
func (n *networker) coilWire(from, to string, joint float64) {
	if joint > 0 {
		n.resistor(from, to, joint)
	} else {
		n.wire(from, to, false)
	}
}

// cut reports whether the contact's common is open.
func (c *contact) cut() bool { return c != nil && c.severed }

// contact is a relay's, with what has grown on it.
func (n *networker) contact(from, to string, closed bool, c *contact) {
	if closed {
		ohms := contactOhms
		if c != nil {
			ohms += c.film
		}
		n.resistor(from, to, ohms)
	} else {
		n.wire(from, to, true)
	}
}

// closed says whether the make and the break contact are closed. Without supply an armature
// drops out, unless it has welded.
func (k *relay) closed(power Power) (made, broken bool) {
	if power == SupplyOff && !(k.welded && k.in) {
		return false, true
	}
	made, broken = k.in, !k.in
	if k.makes != nil {
		made = k.makes.shut
	}
	if k.breaks != nil {
		broken = k.breaks.shut
	}
	return made, broken
}

// lines are the rig's supply and the lines of its contacts, with their pull-ups.
func (n *networker) lines() {
	three, zero := pointName(RigPart, logic), pointName(RigPart, zeroVolts)
	n.source("3.3 V", three, zero, logicVolts, logicOhms)
	for i := range n.w.rig.Contacts {
		c := &n.w.rig.Contacts[i]
		to := three
		if pulledDown(c) {
			to = zero
		}
		n.resistor(pointName(RigPart, c.Name), to, pullOhms)
	}
}

// inputs are those of the unit, with the drives that work them and the references that see them.
func (n *networker) inputs() {
	zero := pointName(RigPart, zeroVolts)
	for _, in := range n.w.layout.inputs {
		n.resistor(n.at(in.terminal), n.at("+"), inputOhms)
		for i, name := range in.drives {
			n.wire(pointName(RigPart, name), n.at(in.terminal), false)
			if d := n.w.drive(name); d.active && n.power == SupplyOn {
				n.resistor(pointName(RigPart, name), pointName(RigPart, common), driveOhms+float64(i)*keyStep)
			}
		}
		for _, r := range in.refs {
			n.wire(n.at(in.terminal), pointName(RigPart, r), false)
		}
	}
	if len(n.w.layout.inputs) > 0 {
		n.wire(pointName(RigPart, common), n.at(zeroVolts), false)
	}
	for i := range n.w.rig.References {
		n.reference(n.w.references[i], n.w.rig.References[i].ActiveLow)
	}
	for i := range n.w.rig.Drives {
		d := &n.w.rig.Drives[i]
		at := pointName(RigPart, d.Name)
		if d.Coil || stages(n.w.rig, d.Name) {
			n.source("drive "+d.Name, at, zero, n.level(n.w.drives[i].active, d.ActiveLow), pinOhms)
		}
		if d.Coil {
			n.wire(at, n.at(d.Name), false)
			n.resistor(n.at(d.Name), zero, coilInput) // its return is in the drive's cable
		}
	}
}

// level is what stands at a line of the rig.
func (n *networker) level(active, activeLow bool) float64 {
	if active != activeLow {
		return logicVolts
	}
	return 0
}

// reference is the line behind a reference's optocoupler.
func (n *networker) reference(r *reference, activeLow bool) {
	n.source("line "+r.name, pinName(r.name), pointName(RigPart, zeroVolts), n.level(r.active != (r.inverted != r.other), activeLow), lineOhms)
}
