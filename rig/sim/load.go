package sim

import "math"

// What stands between a unit's terminal and a coil, where faults have put something there:
// another output that is joined to it, the resistance of a tired battery, a joint in the
// coil's wire, a diode the wrong way round. Each turns what drives the coil into another
// source of a voltage behind a resistance (Thévenin's theorem).

// load returns the coil that the output's terminal feeds; nil: none.
func (o *output) load() *coil {
	if o.relay == nil || o.relay.coil.open {
		return nil
	}
	return &o.relay.coil
}

// carrier returns the output whose coil, law and edges stand for both where two are joined.
func (o *output) carrier() *output {
	m := o.joined
	switch {
	case m == nil, o.relay != nil && (m.relay == nil || o.index < m.index):
		return o
	case m.relay != nil || o.index > m.index:
		return m
	}
	return o
}

// settled returns the settled voltage at the terminal in the present state.
func (o *output) settled() float64 {
	c := o.carrier()
	return c.stands(c.settledSource())
}

// level returns the settled voltage at the terminal in either state.
func (o *output) level(high bool) float64 {
	is := o.high
	o.high = high
	v := o.settled()
	o.high = is
	return v
}

// settledSource is what drives the output's coil when settled, or that of the output that
// carries it.
func (o *output) settledSource() source {
	src := o.own()
	if o.joined != nil {
		src = o.withMate(src, o.joined.own())
	}
	return src
}

// own is what the unit drives the output's own terminal with when settled.
func (o *output) own() source {
	if o.high {
		return o.drained(o.battery.behind(o, o.on))
	}
	return o.drained(o.off)
}

// drained is what a source is to the rest where a resistor lies across a coil that is open.
func (o *output) drained(src source) source {
	if o.relay == nil || !o.relay.coil.open || o.relay.coil.across == 0 {
		return src
	}
	return src.beside(o.relay.coil.joint + o.relay.coil.across)
}

// loaded is what the coil is to a source that has settled, with a resistor across it, in ohms.
func (k *coil) loaded() float64 { return k.joint + parallel(k.ohms, k.across) }

// withMate is what drives an output's coil where another output is joined to it.
func (o *output) withMate(own, its source) source {
	both := own.joinedTo(its)
	if k := o.joined.load(); k != nil && o.load() != nil {
		both = both.beside(k.loaded()) // its inductance counts for nothing beside the resistances
	}
	return both
}

// joinedTo is what two sources make whose terminals are joined.
func (s source) joinedTo(t source) source {
	sum := s.ohms + t.ohms
	mine, its := t.ohms/sum, s.ohms/sum
	x := source{volts: mine*s.volts + its*t.volts, ohms: s.ohms * t.ohms / sum, slope: mine*s.slope + its*t.slope}
	x.gap, x.tau = mine*s.gap+its*t.gap, math.Max(s.tau, t.tau)
	return x
}

// stands returns the settled voltage at the terminal of an output that the source drives.
func (o *output) stands(src source) float64 {
	k := o.load()
	if k == nil {
		return src.volts
	}
	if k.joint == 0 && k.across == 0 && !k.reversed {
		return src.volts * k.ohms / (k.ohms + src.ohms)
	}
	return src.volts - src.ohms*k.drawn(src)
}

// drawn returns the current, in amperes, that a settled source gives at the output's terminal,
// and rests the coil's own.
func (k *coil) drawn(src source) float64 {
	seen := k.seen(src)
	node := seen.volts * k.ohms / (k.ohms + seen.ohms)
	return (src.volts - node) / (src.ohms + k.joint)
}

// rest returns the coil's settled current in amperes.
func (k *coil) rest(src source) float64 {
	seen := k.seen(src)
	return seen.volts / (k.ohms + seen.ohms)
}

// A silicon diode the wrong way round takes the current of the output: its threshold and its
// slope make 0.95 V at 1 A, where data sheets of 1 A rectifiers allow 1.1 V. The unit's
// output is taken to bear that: one with an electronic fuse would read as low.
const (
	diodeVolts = 0.75
	diodeOhms  = 0.2
)

// seen is the source that the coil sees: behind a joint in its wire, and with a diode
// the wrong way round across it where that conducts.
func (k *coil) seen(src source) source {
	src.ohms += k.joint
	if k.across > 0 {
		src = src.beside(k.across)
	}
	if k.reversed && src.volts*k.ohms/(k.ohms+src.ohms) > diodeVolts {
		return src.joinedTo(source{volts: diodeVolts, ohms: diodeOhms})
	}
	return src
}

// terminal returns the voltage at the unit's terminal where the coil's own is v: a share of it
// and a share of the source's.
func (k *coil) terminal(v segment, src source) segment {
	if k.joint == 0 {
		return v
	}
	near := src.ohms / (src.ohms + k.joint)
	far := 1 - near
	v.c = near*v.c + far*src.volts
	v.a *= near
	v.b = near*v.b + far*src.gap
	v.tauB = math.Max(v.tauB, src.tau)
	v.slope = near*v.slope + far*src.slope
	return v
}

// followMate lets the coil of an output follow that is joined to one with a coil of its own.
func (w *World) followMate(o *output, src source) {
	m := o.joined
	if m == nil || m.load() == nil || o.load() == nil || o.carrier() != o {
		return
	}
	its := m.withMate(w.feeds(m), w.feeds(o))
	its.gap, its.tau = src.gap, src.tau
	m.load().connect(w.now, its)
	if until := m.load().until; until != never {
		w.plan(happening{at: until, kind: outputPhase, index: o.index, turn: o.turn})
	}
	w.watchArmature(m.relay)
}

// battery is the resistance of a tired battery or supply, which all outputs that are on share.
type battery struct {
	ohms    float64
	outputs []*output
}

// behind is what an output that is on has behind it: the battery's voltage, less what the
// other outputs' coils draw through its resistance when settled. What the unit itself draws is
// in the voltage already.
func (b *battery) behind(o *output, src source) source {
	if b == nil {
		return src
	}
	others := 0.0 // siemens
	for _, x := range b.outputs {
		if k := x.load(); x != o && x.high && k != nil {
			others += 1 / (x.on.ohms + k.loaded())
		}
	}
	share := 1 / (1 + b.ohms*others)
	src.volts, src.gap, src.slope = share*src.volts, share*src.gap, share*src.slope
	src.ohms += b.ohms * share
	return src
}

// sag lets the other outputs that are on follow what one draws from the battery, or no longer does.
func (w *World) sag(o *output) {
	if o.battery == nil {
		return
	}
	for _, x := range o.battery.outputs {
		if c := x.carrier(); x != o && x.high && c != o.carrier() {
			w.apply(c, w.source(c))
		}
	}
}
