package sim

import "math"

// A coil without a diode swings with the capacitor across it when its output goes off. The
// capacitor's size follows from the edge that it makes with the switch (see
// typical.Edge), and the unit's output stage bears what comes: its transistor breaks down at
// avalancheVolts below 0 V, and conducts backwards into the supply above that. With no
// capacitor the voltage is at the breakdown until the current is gone. Invented,
// plausible figures, but for the law.
const (
	switchOhms     = 240.0 // ohms of a switch that opens or closes
	avalancheVolts = 36.0
	bodyVolts      = 0.7
	shortestEdge   = 2e3 // ns: a quicker one counts as none
)

// A swing is solved step by step (classical Runge-Kutta) and shown by straight stretches, which
// are off by some 20 mV at most.
const (
	ringStep    = int64(50e3) // ns
	ringParts   = 50          // of a step
	ringPart    = 1e-6        // s
	ringLongest = int64(60e6) // ns
	ringVolts   = 2e-3        // V from where it settles at which it has settled
)

// ringing is a swing that goes on.
type ringing struct {
	until int64   // it is cut off
	volts float64 // at the coil
}

// beginRinging lets the coil swing from an output's voltage.
func (w *World) beginRinging(o *output, before float64) {
	k := o.load()
	o.swing = 0
	if o.edge < shortestEdge {
		w.apply(o, w.source(o))
		return
	}
	o.ring = ringing{until: w.now + ringLongest, volts: before - k.joint*k.current(w.now)}
	w.goOnRinging(o)
}

// goOnRinging goes one step on, or connects the source again where the swing is over.
func (w *World) goOnRinging(o *output) {
	k, src := o.load(), w.source(o)
	seen := k.seen(src)
	i, v := k.current(w.now), o.ring.volts
	rest := seen.volts / (k.ohms + seen.ohms)
	if w.now >= o.ring.until || math.Abs(v-rest*k.ohms) < ringVolts && math.Abs(i-rest)*k.ohms < ringVolts {
		w.apply(o, src)
		return
	}
	farads := o.edge * 1e-9 / switchOhms
	most := o.on.volts + bodyVolts
	nextV, nextI := v, i
	for range ringParts {
		nextV, nextI = k.swing(nextV, nextI, seen, farads)
		nextV = min(max(nextV, -avalancheVolts), most)
	}
	o.ring.volts = nextV
	ns := float64(ringStep)
	k.at, k.until, k.c, k.a, k.b, k.slope = w.now, w.now+ringStep, i, 0, 0, (nextI-i)/ns
	near := func(v float64) float64 { // at the unit's terminal
		return v + (src.volts-v)*k.joint/(src.ohms+k.joint)
	}
	v, nextV = near(v), near(nextV)
	o.show(segment{at: w.now, c: v, slope: (nextV - v) / ns})
	w.plan(happening{at: w.now + ringStep, kind: coilRings, index: o.index, turn: o.turn})
	w.watchArmature(o.relay)
}

// swing goes ringPart on, from a voltage across the coil and a current in it.
func (k *coil) swing(v, i float64, src source, farads float64) (nextV, nextI float64) {
	rate := func(v, i float64) (dv, di float64) {
		return ((src.volts-v)/src.ohms - i) / farads, (v - k.ohms*i) / k.henries
	}
	const h = ringPart
	v1, i1 := rate(v, i)
	v2, i2 := rate(v+h/2*v1, i+h/2*i1)
	v3, i3 := rate(v+h/2*v2, i+h/2*i2)
	v4, i4 := rate(v+h*v3, i+h*i3)
	return v + h/6*(v1+2*v2+2*v3+v4), i + h/6*(i1+2*i2+2*i3+i4)
}
