package sim

import "math"

// coil is a relay's coil on an output. Its current is, from one change to the
// next, c + a·exp(-(t-at)/tau) + b·exp(-(t-at)/tauB) + slope·(t-at) in amperes and
// nanoseconds.
type coil struct {
	ohms, henries float64
	pullIn        float64 // A: the armature starts towards the core above it
	dropOut       float64 // A: and falls back below it
	made          float64 // ohms as it was made, without faults
	across        float64 // ohms of resistors across it; 0: none

	// Planted faults.
	open     bool    // no current can flow
	joint    float64 // ohms in its wire
	shunt    float64 // siemens of shorted turns, as seen across the inductance
	reversed bool    // its diode is the wrong way round
	undamped bool    // its diode is missing

	at    int64
	until int64 // how long the law holds; never: until the next change
	c, a  float64
	tau   float64 // ns
	slope float64 // A/ns
	b     float64 // A: what a supply that settles adds
	tauB  float64 // ns
}

// flybackVolts is what stands at a diode that carries a coil's current.
const flybackVolts = 0.7

// flyback returns the volts below 0 V at which the coil's current finds a way: the diode's
// forward voltage, or where no diode takes it the breakdown of the output's transistor.
func (k *coil) flyback() float64 {
	if k.undamped || k.reversed {
		return avalancheVolts
	}
	return flybackVolts
}

// current returns the coil's current in amperes.
func (k *coil) current(at int64) float64 {
	dt := float64(at - k.at)
	i := k.c + k.slope*dt
	if k.a != 0 {
		i += k.a * math.Exp(-dt/k.tau)
	}
	if k.b != 0 {
		i += k.b * math.Exp(-dt/k.tauB)
	}
	return i
}

// source is what drives an output: a voltage behind a resistance, in volts, ohms and
// volts a nanosecond. Where a supply is settling, gap·exp(-t/tau) comes to the volts.
type source struct {
	volts, ohms, slope float64
	gap, tau           float64 // V, ns
}

// connect puts the coil on the source at an instant and returns the unit's terminal's
// voltage from then on.
func (k *coil) connect(at int64, src source) segment {
	return k.terminal(k.onto(at, k.seen(src)), src)
}

// onto connects the coil to what it sees, and returns the voltage across it. Source and coil
// are a series circuit, so with R = ohms + source.ohms and tau = L/R, a voltage V + s·t
// drives
//
//	i = (V - s·tau + s·t)/R + B·exp(-t/tauB) + A·exp(-t/tau)
//
// where B = gap/(R·(1 - tau/tauB)) comes of the voltage's own exponential, with A from the
// current at the start, and the coil stands at V - ohms·i. Turns that are shorted are a
// conductance g across the inductance, which makes tau = L·(1/R + g); it takes g·L·di/dt
// beside the inductance's current i. Where the voltage would be below the diode's forward
// voltage the diode carries the current instead, see freewheel.
func (k *coil) onto(at int64, src source) segment {
	i0 := k.current(at)
	if src.volts+src.gap-src.ohms*k.taken(i0, src) < -k.flyback()-1e-12 {
		return k.freewheel(at, src, i0)
	}
	r := k.ohms + src.ohms
	tau := k.henries / r * 1e9 * (1 + r*k.shunt)
	k.at, k.until, k.tau, k.slope = at, never, tau, src.slope/r
	k.c = (src.volts - src.slope*tau) / r
	k.b, k.tauB = 0, src.tau
	if src.gap != 0 {
		k.tauB = apart(src.tau, tau)
		k.b = src.gap / (r * (1 - tau/k.tauB))
	}
	k.a = i0 - k.c - k.b
	s := segment{
		at: at, tau: tau,
		c:     src.volts - src.ohms*k.c,
		a:     -src.ohms * k.a,
		b:     src.gap - src.ohms*k.b,
		tauB:  k.tauB,
		slope: src.slope - src.ohms*k.slope,
	}
	if k.shunt > 0 {
		beside := src.ohms * k.shunt * k.henries * 1e9 // V per A/ns
		s.c -= beside * k.slope
		s.a += beside * k.a / tau
		if k.b != 0 {
			s.b += beside * k.b / k.tauB
		}
	}
	return s
}

// taken is the current that the coil takes from a source when its inductance carries so
// much: shorted turns take more.
func (k *coil) taken(current float64, src source) float64 {
	if k.shunt == 0 {
		return current
	}
	r := k.ohms + src.ohms
	return current + k.shunt*(src.volts+src.gap-r*current)/(1+r*k.shunt)
}

// apart keeps two time constants from being the same, for which the law above has
// another form: a millionth is less than either is known by.
func apart(a, b float64) float64 {
	const millionth = 1e-6
	if math.Abs(a-b) < millionth*b {
		return (1 + millionth) * b
	}
	return a
}

// freewheel lets the diode conduct: the coil's current falls towards -Vd/R with
// L/R, until the source alone can carry it.
func (k *coil) freewheel(at int64, src source, i0 float64) segment {
	until := (src.volts + src.gap + k.flyback()) / src.ohms
	k.at, k.slope, k.b = at, 0, 0
	k.tau = k.henries / k.ohms * 1e9 * (1 + k.ohms*k.shunt)
	k.c = -k.flyback() / k.ohms
	k.a = i0 - k.c
	wait := k.tau * math.Log(k.a/(1+k.ohms*k.shunt)/(until-k.c))
	k.until = at + max(1, int64(math.Ceil(wait)))
	return constant(at, -k.flyback())
}

// takenOver reports whether the diode takes the coil's current over once the source
// has settled.
func (k *coil) takenOver(at int64, src source) bool {
	src.gap = 0
	src = k.seen(src)
	return src.volts-src.ohms*k.taken(k.current(at), src) < -k.flyback()-1e-12
}

// fall is freewheel with a terminal that takes its time: it goes from a voltage to the
// diode's level with a time constant, and the coil's current follows.
func (k *coil) fall(at int64, src source, from, tau float64) segment {
	across := from - k.joint*k.current(at)
	s := k.onto(at, source{volts: -k.flyback(), gap: across + k.flyback(), tau: tau})
	k.until = never
	// The current that the source alone can carry is reached, since it falls below 0.
	seen := k.seen(src)
	level := (seen.volts + k.flyback()) / seen.ohms
	if k.shunt > 0 { // shorted turns carry some of it
		level = (level+k.flyback()/k.ohms)*(1+k.ohms*k.shunt) - k.flyback()/k.ohms
	}
	k.until, _ = k.crossing(at, level, false)
	k.until = max(k.until, at+1)
	return k.terminal(s, src)
}

// crossing returns the first instant from at on, while the present law holds, at
// which the current passes the level upwards (or downwards).
func (k *coil) crossing(at int64, level float64, up bool) (int64, bool) {
	past := func(t int64) bool {
		if up {
			return k.current(t) >= level
		}
		return k.current(t) <= level
	}
	if past(at) {
		return at, true
	}
	if k.slope == 0 && k.b == 0 {
		return k.crossingFlat(at, level)
	}
	// A sloping supply is a slow thing beside the coil's own law, and one that settles
	// pulls the current one way, so within the law's course the current passes the level
	// at most once.
	lo, hi := at, min(k.until, at+int64(settledAfter*longer(1, k.tau, k.b, k.tauB)))
	if !past(hi) {
		return 0, false
	}
	for lo < hi {
		mid := lo + (hi-lo)/2
		if past(mid) {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo, true
}

func (k *coil) crossingFlat(at int64, level float64) (int64, bool) {
	ratio := k.a / (level - k.c)
	if !(ratio > 0) || math.IsInf(ratio, 0) {
		return 0, false
	}
	t := k.at + int64(math.Ceil(k.tau*math.Log(ratio)))
	if t < at || t >= k.until {
		return 0, false
	}
	return t, true
}
