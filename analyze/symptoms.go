package analyze

import (
	"math"

	"makebreak/rig/capture"
)

// The kinds of symptoms.
const (
	NotSampled     Kind = "not-sampled"
	DidNotMove     Kind = "did-not-move"
	MovedInstead   Kind = "moved-instead"
	MovedUnasked   Kind = "moved-unasked"
	Inverted       Kind = "inverted"
	FellBack       Kind = "fell-back"
	NoPulse        Kind = "no-pulse"
	PulseLength    Kind = "pulse-length"
	LowWhenOn      Kind = "low-when-on"
	HighWhenOn     Kind = "high-when-on"
	HighWhenOff    Kind = "high-when-off"
	OffMayHold     Kind = "off-may-hold"
	WeakPullIn     Kind = "weak-pull-in"
	Rippling       Kind = "rippling"
	Drooping       Kind = "drooping"
	LeftState      Kind = "left-state"
	LooseWire      Kind = "loose-wire"
	SlowSwitching  Kind = "slow-switching"
	EarlySwitching Kind = "early-switching"
	SlowTransition Kind = "slow-transition"
	RelayStill     Kind = "relay-still"
	RelayAlone     Kind = "relay-alone"
	HeldIn         Kind = "held-in"
	ContactsSwap   Kind = "contacts-swapped"
	Welded         Kind = "welded"
	UnsteadyMake   Kind = "unsteady-contact"
	Chattering     Kind = "chattering"
	LongBounce     Kind = "long-bounce"
	SlowOperate    Kind = "slow-operate"
	SlowRelease    Kind = "slow-release"
	Overlap        Kind = "overlap"
	OffLimit       Kind = "off-limit"
	NearLimit      Kind = "near-limit"
)

// verdict is what a symptom means for the unit.
func (k Kind) verdict() Verdict {
	switch k {
	case NotSampled, NearLimit:
		return Undecided
	}
	return Fail
}

// belowOff is how far under its own off level, in volts, an output must read for
// its wire to be the suspect: a switched-off output still leaks a little, an open
// wire reads nothing.
const belowOff = 0.3

func (m *Meter) symptom(e capture.Event, signal string, k Kind, other string, value, limit float64) {
	m.out.Symptoms = append(m.out.Symptoms, Symptom{Cycle: m.cycle, Event: e.Name, Signal: signal,
		Kind: k, Other: other, Value: value, Limit: limit})
}

// diagnose turns what was seen in one state into symptoms: first whether the
// right outputs moved, then the relays, then figures out of their limits.
// A symptom that explains others silences them.
func (m *Meter) diagnose(e capture.Event, changes []contacts) {
	if m.free {
		return
	}
	wrong := m.diagnoseMoves(e)
	for i, r := range m.relays {
		if r.output == nil || wrong[r.output.signal] {
			wrong[r.plan.Signal], wrong[r.plan.Make], wrong[r.plan.Break] = true, true, true
			continue
		}
		if m.diagnoseRelay(e, r, changes[i]) {
			wrong[r.plan.Signal], wrong[r.plan.Make], wrong[r.plan.Break] = true, true, true
		}
	}
	m.diagnoseFigures(e, wrong)
}

// diagnoseMoves compares which outputs moved with which should have. It returns
// the signals of which nothing more need be said.
func (m *Meter) diagnoseMoves(e capture.Event) map[string]bool {
	wrong := map[string]bool{"": false}
	var still, strays []*outputMeter
	for _, o := range m.outputs {
		s := &o.now
		if s.o.n == 0 {
			wrong[o.signal] = true
			continue
		}
		want, named := wanted(s.expect.Demand)
		last := s.o.last().high
		switch {
		case s.expect.Demand == Any:
		case s.expect.Demand == Pulse:
			if s.moved && s.was && s.wasSure {
				m.symptom(e, o.signal, Inverted, "", math.NaN(), math.NaN())
				wrong[o.signal] = true
			} else if !s.moved {
				still = append(still, o)
			} else if last {
				m.symptom(e, o.signal, NoPulse, "", math.NaN(), math.NaN())
				wrong[o.signal] = true
			}
		case !named:
			if s.moved && last != s.was || s.moved && s.o.crossings() == 2 && o.plan == nil {
				strays = append(strays, o)
			}
		case last == want:
		case s.moved && s.wasSure && s.was == want:
			m.symptom(e, o.signal, Inverted, "", s.state.volts, math.NaN())
			wrong[o.signal] = true
		case s.moved && entered(s.o, want):
			m.symptom(e, o.signal, FellBack, "", s.held, math.NaN())
			wrong[o.signal] = true
		default:
			still = append(still, o)
		}
	}
	m.pairMoves(e, still, strays, wrong)
	return wrong
}

func entered(o observed, high bool) bool {
	_, ok := o.entry(high)
	return ok
}

// pairMoves says of an output that did not move which other one moved instead.
func (m *Meter) pairMoves(e capture.Event, still, strays []*outputMeter, wrong map[string]bool) {
	for _, o := range still {
		wrong[o.signal] = true
		if len(strays) > 0 {
			m.symptom(e, o.signal, MovedInstead, strays[0].signal, math.NaN(), math.NaN())
			wrong[strays[0].signal] = true
			strays = strays[1:]
			continue
		}
		kind := DidNotMove
		m.symptom(e, o.signal, kind, "", o.now.state.volts, math.NaN())
	}
	for _, o := range strays {
		wrong[o.signal] = true
		m.symptom(e, o.signal, MovedUnasked, "", o.now.state.volts, math.NaN())
	}
}

// diagnoseRelay compares what a relay's contacts did with what its output told
// it, and returns whether that explains figures of the relay out of their limits.
func (m *Meter) diagnoseRelay(e capture.Event, r *relayMeter, x contacts) bool {
	s := &r.output.now
	name := r.plan.Signal
	moved := len(x.make.edges)+len(x.brk.edges) > 0
	if !s.moved {
		return m.diagnoseResting(e, r, x)
	}
	up := s.o.last().high
	if s.expect.Demand == Pulse {
		up = true
	}
	nan := math.NaN()
	switch {
	case up && !moved:
		m.symptom(e, name, RelayStill, r.output.signal, s.state.volts, r.plan.MustOperate)
	case up && x.make.opens() && x.brk.closes(), !up && x.make.closes() && x.brk.opens():
		m.symptom(e, name, ContactsSwap, "", nan, nan)
	case !up && !moved:
		if !x.make.end && r.make >= 0 {
			return true // it had not operated either, which has been said
		}
		if s.state.volts > r.plan.MustRelease {
			m.symptom(e, name, HeldIn, r.output.signal, s.state.volts, r.plan.MustRelease)
		} else {
			m.symptom(e, r.plan.Make, Welded, "", nan, nan)
		}
	case x.make.later > 0 && x.brk.later > 0 || unsettled(x.make) && unsettled(x.brk):
		m.symptom(e, name, Chattering, "", nan, nan)
	case up && x.brk.opens() && unsteady(x.make):
		m.symptom(e, r.plan.Make, UnsteadyMake, "", nan, nan)
	case !up && x.make.opens() && unsteady(x.brk):
		m.symptom(e, r.plan.Break, UnsteadyMake, "", nan, nan)
	case !up && x.brk.closes() && x.make.end:
		m.symptom(e, r.plan.Make, Welded, "", nan, nan)
	default:
		return false
	}
	return true
}

// unsettled reports whether a contact was still changing when the state ended.
func unsettled(x change) bool { return !x.rests }

// unsteady reports whether a contact that should have closed did not, or would not
// stay closed.
func unsteady(x change) bool { return x.known && (!x.end || x.later > 0 || !x.rests) }

// diagnoseResting looks at a relay whose output kept its state.
func (m *Meter) diagnoseResting(e capture.Event, r *relayMeter, x contacts) bool {
	nMake, nBreak := len(x.make.edges)+x.make.later, len(x.brk.edges)+x.brk.later
	switch {
	case nMake == 0 && nBreak == 0:
		return false
	case nMake > 1 && nBreak > 1:
		m.symptom(e, r.plan.Signal, Chattering, "", math.NaN(), math.NaN())
	case nMake > 1 && nBreak == 0:
		m.symptom(e, r.plan.Make, UnsteadyMake, "", math.NaN(), math.NaN())
	case nBreak > 1 && nMake == 0:
		m.symptom(e, r.plan.Break, UnsteadyMake, "", math.NaN(), math.NaN())
	default:
		m.symptom(e, r.plan.Signal, RelayAlone, r.output.signal, math.NaN(), math.NaN())
	}
	return true
}

// diagnoseFigures turns this state's figures out of their limits into symptoms.
func (m *Meter) diagnoseFigures(e capture.Event, wrong map[string]bool) {
	said := map[Kind]bool{}
	for i := range m.out.Measurements {
		x := &m.out.Measurements[i]
		if x.Cycle != m.cycle || x.Event != e.Name || wrong[x.Signal] || math.IsNaN(x.Value) {
			continue
		}
		if x.Verdict == Undecided {
			m.symptom(e, x.Signal, NearLimit, string(x.Quantity), x.Value, nearer(x))
		}
		if x.Verdict != Fail {
			continue
		}
		k := m.kindOf(x)
		if k == WeakPullIn && said[LowWhenOn] {
			continue
		}
		said[k] = true
		m.symptom(e, x.Signal, k, string(x.Quantity), x.Value, nearer(x))
	}
}

// nearer is the limit that a value is nearer to.
func nearer(x *Measurement) float64 {
	lo, hi := x.Limit.Lower, x.Limit.Upper
	switch {
	case math.IsNaN(lo):
		return hi
	case math.IsNaN(hi) || math.Abs(x.Value-lo) < math.Abs(x.Value-hi):
		return lo
	}
	return hi
}

// kindOf names what a figure out of its limit is a symptom of.
func (m *Meter) kindOf(x *Measurement) Kind {
	above := x.Value > x.Limit.Upper
	switch x.Quantity {
	case HighLevel:
		if above {
			return HighWhenOn
		}
		return LowWhenOn
	case LowLevel:
		if above {
			return HighWhenOff
		}
	case DropOutMargin:
		return OffMayHold
	case PullInMargin:
		return WeakPullIn
	case Ripple:
		if o := m.output(x.Signal); o != nil && o.drifts(x.Limit.Upper) {
			return Drooping
		}
		return Rippling
	case Hold:
		return m.kindOfExcursion(x.Signal)
	case SwitchingDelay:
		if above {
			return SlowSwitching
		}
		return EarlySwitching
	case TransitionDuration:
		return SlowTransition
	case PulseDuration:
		return PulseLength
	case OperateTime:
		return SlowOperate
	case ReleaseTime:
		return SlowRelease
	case BounceTime, BounceCount:
		return LongBounce
	case TransferTime:
		if !above {
			return Overlap
		}
	}
	return OffLimit
}

func (m *Meter) output(signal string) *outputMeter {
	for _, o := range m.outputs {
		if o.signal == signal {
			return o
		}
	}
	return nil
}

// drifts reports whether most of a ripple beyond the limit is a steady drift.
func (o *outputMeter) drifts(limit float64) bool {
	l := o.now.state
	// The two halves' means of a straight slope differ by half its rise.
	return math.Abs(l.slope) > 0.35*l.peak && l.peak > limit
}

// kindOfExcursion tells why an output left its state.
func (m *Meter) kindOfExcursion(signal string) Kind {
	o := m.output(signal)
	if o == nil {
		return LeftState
	}
	if o.drifts(0) {
		return Drooping
	}
	off := o.lowLevel
	if s := &o.now; !s.high && s.state.known() {
		off = s.state.volts
	}
	if off-o.now.far > belowOff {
		return LooseWire
	}
	return LeftState
}
