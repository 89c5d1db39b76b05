package sim

import (
	"math"
	"time"
)

// output is one switched voltage: the unit's terminal, the load behind it, and the
// sense wire to the divider. Its name is the rig's for what is wired to that divider.
type output struct {
	name  string
	index int32
	relay *relay // nil: nothing behind it but the divider
	terminal

	// turn counts the switchings. Events scheduled for an earlier turn are void.
	turn    uint32
	fed     source  // what drives the terminal
	fedAt   int64   // since when
	present segment // at the terminal
	sense   signal  // behind the sense wire
	loose   bool    // the sense wire is off
	parts   divider
	share   float64 // volts at the converter's pin per volt at the terminal
	lift    float64 // volts that the converter's input current adds at its pin
	// edge is the time constant, in ns, with which the terminal of an output with a relay
	// goes to another level, for the capacitor across its coil. 0: at once.
	edge float64
	// swings is what an edge still has before it: swing·exp(-(t-swungAt)/edge) volts of
	// the source that drives it.
	swing   float64
	swungAt int64
	ring    ringing

	// joined is a planted fault: another output whose terminal is shorted to this one's.
	joined *output
}

// terminal is what of an output is the unit's: all of it goes along where the wires at two
// terminals change places.
type terminal struct {
	label   string // as it is printed beside the terminal
	on, off source // what drives the terminal in either state
	// With a programmable supply the volts of both are shares of it. drawn is the
	// voltage when on as it was drawn, before faults.
	onShare, offShare, drawn float64
	high                     bool
	// orders counts what the panel decided for the output, which voids what it had
	// decided before (an exit delay cut short).
	orders uint32
	train  train // the one that it is in, where it is
	skew   int64 // ns after the panel's first output
	// programmed says that the panel switches it, whatever faults make of that.
	programmed bool

	// Planted faults.
	stuck    bool
	inverted bool
	miss     uint64 // every miss-th switching on is ignored; 0: none
	turnedOn uint64
	falls    int64    // ns after which it falls back; 0: never
	droop    float64  // V/ns
	hum      float64  // V, amplitude
	battery  *battery // nil: the supply has no resistance of its own
}

// droopFloor is how far a drooping output falls, a share of its full voltage.
const droopFloor = 0.6

// setup gives the output its sources. An output's low level is what stands at
// its terminal, so the leakage's open voltage depends on the coil.
func (o *output) setup(p UnitParams, d draws) {
	o.on = source{
		volts: d.about(p.HighVolts, typical.HighVolts, spreads.supply/4),
		ohms:  d.about(p.OnOhms, typical.OnOhms, spreads.onOhms),
	}
	o.off = source{
		volts: d.about(p.LowVolts, typical.LowVolts, spreads.low),
		ohms:  d.about(p.OffOhms, typical.OffOhms, spreads.offOhms),
	}
	o.drawn = o.on.volts
	o.skew = d.between(0, 200*time.Microsecond)
	if o.edge = d.about(float64(p.Edge), float64(typical.Edge), 1); d.exact {
		o.edge = 0
	}
}

// loadOff takes the slow edge from an output with nothing behind it, and turns the low
// level wanted at the terminal of another into the leakage's open
// voltage. Called once, when relay and faults are known.
func (o *output) loadOff() {
	if o.relay == nil {
		o.edge = 0
		return
	}
	o.off.volts *= 1 + o.off.ohms/o.relay.coil.made
}

// begin puts the output in its first state, settled long ago. All outputs' states are known
// by then.
func (o *output) begin(at int64) {
	if k := o.load(); k != nil {
		k.at, k.until, k.a, k.slope = at, never, 0, 0
		k.c = k.rest(o.settledSource())
	}
	o.fed, o.fedAt = o.settledSource(), at
	o.present = constant(at, o.settled())
	if o.high {
		o.present.hum = o.hum
	}
	o.present.settle()
	o.sense = signalFrom(o.present)
}

// show puts a new stretch of voltage on the terminal, and on that of an output joined to it.
func (o *output) show(s segment) {
	o.put(s)
	if m := o.joined; m != nil {
		m.put(s)
	}
}

func (o *output) put(s segment) {
	s.settle()
	o.present = s
	if !o.loose {
		o.sense.push(o.clamped(s))
	}
}

// The converter's input conducts below its ground by this much, so that it reads no less
// (TI SBAS444, absolute maximum ratings). The divider's upper resistor bears the rest.
const inputClamp = 0.3 // V

// clamped is what the converter's input leaves of a straight stretch far below zero, such
// as a coil without a diode makes.
func (o *output) clamped(s segment) segment {
	if s.a != 0 || s.b != 0 || o.share == 0 {
		return s
	}
	least := -inputClamp / o.share
	if k := o.load(); s.slope != 0 && k != nil && k.undamped {
		ns := float64(ringStep)
		from, to := max(s.c, least), max(s.c+s.slope*ns, least)
		s.c, s.slope = from, (to-from)/ns
		return s
	}
	s.c = max(s.c, least)
	return s
}

// command is what the panel, or a drive, tells the output to do.
func (w *World) command(o *output, high bool) {
	if o.stuck {
		return
	}
	if o.inverted {
		high = !high
	}
	if high == o.high {
		return
	}
	if high {
		o.turnedOn++
		if o.miss > 0 && o.turnedOn%o.miss == 0 {
			return
		}
	}
	w.switchOutput(o, high)
}

func (w *World) switchOutput(o *output, high bool) {
	c := o.carrier()
	before, was := c.present.value(w.now), c.settled()
	o.high = high
	o.turn++
	if c != o {
		c.turn++
	}
	c.swing = 0
	src := w.source(c)
	if c.edge > 0 && src.gap == 0 {
		// The terminal goes on from where it stands.
		c.swing, c.swungAt = before-src.volts, w.now
		if k := c.load(); k != nil {
			c.swing += src.ohms * k.current(w.now)
		}
	}
	w.applyEdge(c, before)
	w.tellCrossing(o, was)
	w.sag(o)
	if !high {
		return
	}
	if o.falls > 0 {
		w.plan(happening{at: w.now + o.falls, kind: outputFalls, index: o.index, turn: o.turn})
	}
	if o.droop > 0 {
		lasts := o.on.volts * (1 - droopFloor) / o.droop
		w.plan(happening{at: w.now + int64(lasts), kind: outputFloor, index: o.index, turn: o.turn})
	}
}

// tellCrossing tells the truth of an output's switching, and of that of one joined to it.
func (w *World) tellCrossing(o *output, was float64) {
	c, is := o.carrier(), o.settled()
	up := o.high
	if o.joined != nil {
		if up = is > was; math.Abs(is-was) < o.on.volts/2 {
			return // the other one had it there already
		}
	}
	way := func(share float64) int64 { return c.passes(w.now, was+share*(is-was), up) }
	w.truth.crossing(o, way(0.5), way(0.9)-way(0.1), up)
	if o.joined != nil {
		w.truth.crossing(o.joined, way(0.5), way(0.9)-way(0.1), up)
	}
}

// feeds is what the unit drives an output's own terminal with from now on.
func (w *World) feeds(o *output) source {
	src := o.off
	share := o.offShare
	if o.high {
		src, share = o.on, o.onShare
		src.slope = -o.droop
	}
	if s := w.supply; s != nil {
		src.gap, src.tau = share*(s.volts(w.now)-s.to), s.tau
	}
	if o.high {
		src = o.battery.behind(o, src)
	}
	return o.drained(src)
}

// source returns what drives the terminal from now on, where the output carries it.
func (w *World) source(o *output) source {
	src := w.feeds(o)
	if o.joined != nil {
		src = o.withMate(src, w.feeds(o.joined))
	}
	if math.Abs(src.gap) > settledVolts {
		return src
	}
	src.gap, src.tau = 0, 0
	if remainder := o.swing * math.Exp(-float64(w.now-o.swungAt)/o.edge); o.swing != 0 && math.Abs(remainder) > settledVolts {
		src.gap, src.tau = remainder, o.edge
	}
	return src
}

// settledVolts is what may be left of an exponential that counts as settled.
const settledVolts = 1e-7

// applyEdge connects the source of a state that an output has just gone to. A coil
// keeps its current, so where the diode across it will take that over, the terminal
// falls to the diode's level.
func (w *World) applyEdge(o *output, before float64) {
	src := w.source(o)
	switch k := o.load(); {
	case k != nil && k.undamped && !o.high && src.gap != 0:
		w.beginRinging(o, before)
	case k == nil || src.gap == 0 || !k.takenOver(w.now, src):
		w.apply(o, src)
	default:
		o.swing = 0
		o.fed, o.fedAt = src, w.now
		o.show(k.fall(w.now, source{volts: src.volts, ohms: src.ohms}, before, o.edge))
		w.plan(happening{at: k.until, kind: outputPhase, index: o.index, turn: o.turn})
		w.watchArmature(o.relay)
	}
}

// passes is when the terminal, on its way to a state, passes a voltage.
func (o *output) passes(from int64, volts float64, rising bool) int64 {
	past := func(t int64) bool { return (o.present.value(t) >= volts) == rising }
	lo, hi := from, from+int64(settledAfter*o.edge)
	if o.edge == 0 || past(lo) || !past(hi) {
		return from
	}
	for lo < hi {
		mid := lo + (hi-lo)/2
		if past(mid) {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

// apply connects the source to whatever load there is.
func (w *World) apply(o *output, src source) {
	o.fed, o.fedAt = src, w.now
	var s segment
	if k := o.load(); k == nil {
		s = constant(w.now, src.volts)
		s.slope, s.b, s.tauB = src.slope, src.gap, src.tau
	} else {
		s = k.connect(w.now, src)
		if k.until != never {
			w.plan(happening{at: k.until, kind: outputPhase, index: o.index, turn: o.turn})
		}
		w.watchArmature(o.relay)
	}
	if o.high {
		s.hum = o.hum
	}
	o.show(s)
	w.followMate(o, src)
}

// A loose wire drops out for a spell, and holds for a gap.
const (
	shortestGone = 20 * time.Millisecond
	longestGone  = 200 * time.Millisecond
	shortestGap  = 400 * time.Millisecond
	longestGap   = 3 * time.Second
)

// setWire takes the sense wire off or puts it back. Behind a wire that is off
// the divider's lower resistor pulls the input to ground.
func (w *World) setWire(o *output, off bool) {
	o.loose = off
	w.truth.wire(o, w.now, off)
	if off {
		o.sense.push(constant(w.now, 0))
		w.plan(happening{at: w.now + w.wire.between(shortestGone, longestGone), kind: wireChanges, index: o.index})
		return
	}
	w.rejoin(o)
	w.plan(happening{at: w.now + w.wire.between(shortestGap, longestGap), kind: wireChanges, index: o.index, flag: true})
}

// rejoin lets the sense wire see the present stretch again, from its middle: the
// law is the same, counted from now.
func (w *World) rejoin(o *output) {
	s := o.present
	s.c = s.c + s.slope*float64(w.now-s.at)
	gone := float64(w.now - s.at)
	if s.a != 0 {
		s.a *= math.Exp(-gone / s.tau)
	}
	if s.b != 0 {
		s.b *= math.Exp(-gone / s.tauB)
	}
	s.at = w.now
	o.sense.push(s)
}
