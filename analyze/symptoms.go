package analyze

import (
	"math"
	"strings"

	"makebreak/rig/capture"
)

// The kinds of symptoms.
const (
	NotSampled     Kind = "not-sampled"
	SamplesMissing Kind = "samples-missing"
	WatchedShort   Kind = "watched-short"
	Reversed       Kind = "reversed"
	DidNotMove     Kind = "did-not-move"
	MovedInstead   Kind = "moved-instead"
	MovedUnasked   Kind = "moved-unasked"
	Inverted       Kind = "inverted"
	FellBack       Kind = "fell-back"
	NoPulse        Kind = "no-pulse"
	MorePulses     Kind = "more-pulses"
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
	Doubtful       Kind = "doubtful"
	NotVolts       Kind = "not-volts"
	EdgesLost      Kind = "edges-lost"
	PullsInHigh    Kind = "pulls-in-high"
	LetsGoLow      Kind = "lets-go-low"
	SupplyLost     Kind = "supply-lost"
	Overshoots     Kind = "overshoots"
	Undershoots    Kind = "undershoots"
)

// verdict is what a symptom means for the unit.
func (k Kind) verdict() Verdict {
	switch k {
	case NotSampled, SamplesMissing, WatchedShort, NearLimit, Doubtful, NotVolts, EdgesLost, SupplyLost:
		return Undecided
	case Overshoots, Undershoots:
		return NoVerdict // no limit says how far a transition may go beyond its level
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
func (m *Meter) diagnose(e capture.Event, changes [][]contacts) {
	if m.free {
		return
	}
	wrong := m.diagnoseMoves(e)
	for i, r := range m.relays {
		if r.output == nil || wrong[r.output.signal] {
			wrong[r.plan.Signal], wrong[r.plan.Make], wrong[r.plan.Break] = true, true, true
			continue
		}
		for _, x := range changes[i] {
			if m.diagnoseRelay(e, r, x) {
				wrong[r.plan.Signal], wrong[r.plan.Make], wrong[r.plan.Break] = true, true, true
				break
			}
		}
	}
	m.diagnoseFigures(e, wrong)
	for _, o := range m.outputs {
		if !wrong[o.signal] {
			m.diagnoseAberration(e, o)
		}
	}
}

// diagnoseAberration notes a transition that went far beyond the level where it settled.
// A fall counts from zero where it settled above that: so far the diode across a coil lets
// it go in any case.
func (m *Meter) diagnoseAberration(e capture.Event, o *outputMeter) {
	s := &o.now
	far := math.Max(leastAberration, farBeyond*math.Abs(s.state.volts-s.before.volts))
	switch {
	case o.plan == nil || !s.placed:
	case s.aberration-s.state.volts >= far:
		m.symptom(e, o.signal, Overshoots, "", s.aberration, s.state.volts)
	case math.Min(s.state.volts, 0)-s.aberration >= far:
		m.symptom(e, o.signal, Undershoots, "", s.aberration, s.state.volts)
	}
}

// diagnoseMoves compares which outputs moved with which should have. It returns
// the signals of which nothing more need be said.
func (m *Meter) diagnoseMoves(e capture.Event) map[string]bool {
	wrong := map[string]bool{"": false}
	var still, strays []*outputMeter
	for _, o := range m.outputs {
		switch o.outcome() {
		case asDemanded:
		case unseen:
			wrong[o.signal] = true
		case stood:
			still = append(still, o)
		case strayed:
			strays = append(strays, o)
		default:
			k, value := o.misbehaved()
			m.symptom(e, o.signal, k, "", value, math.NaN())
			wrong[o.signal] = true
		}
	}
	m.pairMoves(e, still, strays, wrong)
	return wrong
}

// outcome is how what an output did compares with what was demanded.
type outcome int

const (
	asDemanded outcome = iota
	unseen             // no samples
	stood              // did not go where it should
	strayed            // moved and should not have
	otherwise          // did something else, see misbehaved
)

func (o *outputMeter) outcome() outcome {
	s := &o.now
	if s.o.n == 0 {
		return unseen
	}
	if k, _ := o.misbehaved(); k != "" {
		return otherwise
	}
	last := s.o.final().high
	switch want, named := wanted(s.expect.Demand); {
	case s.expect.Demand == Any:
	case s.expect.Demand == Pulse:
		if !s.moved {
			return stood
		}
	case named:
		if last != want {
			return stood
		}
	case s.moved && last != s.was, s.moved && s.o.crossings() == 2 && o.plan == nil:
		return strayed
	}
	return asDemanded
}

// misbehaved names what an output did instead of what was demanded, where that has
// a name of its own, and a figure for the text.
func (o *outputMeter) misbehaved() (Kind, float64) {
	s := &o.now
	want, named := wanted(s.expect.Demand)
	switch {
	case o.plan == nil || s.expect.Demand == Any:
		return "", 0
	case math.Max(math.Abs(s.o.hi), math.Abs(s.o.lo)) > farTooMuch*o.usual:
		return NotVolts, math.Max(math.Abs(s.o.hi), math.Abs(s.o.lo))
	case math.Min(s.state.volts, s.rest.volts) < -leastStep:
		return Reversed, math.Min(s.state.volts, s.rest.volts)
	case s.expect.Demand == Pulse:
		return o.mispulsed()
	case !named || s.o.final().high == want:
		return o.left()
	case s.moved && s.wasSure && s.was == want:
		return Inverted, s.state.volts
	case s.moved && entered(s.o, want):
		return FellBack, s.absent.seconds
	}
	return "", 0
}

// farTooMuch is how many times its usual voltage no output can have: its samples are not
// in volts.
const farTooMuch = 10

// mispulsed names what is wrong with an output that moved and should have pulsed.
func (o *outputMeter) mispulsed() (Kind, float64) {
	s := &o.now
	switch n := s.o.pulses(); {
	case s.moved && s.was && s.wasSure:
		return Inverted, math.NaN()
	case s.moved && s.o.final().high && n < 2:
		if s.watched < s.expect.span().Upper {
			return WatchedShort, s.watched
		}
		return NoPulse, math.NaN()
	case n > 1:
		return MorePulses, float64(n)
	}
	return "", 0
}

// left names an excursion to the other state where no limit of hold says how long
// one may last.
func (o *outputMeter) left() (Kind, float64) {
	s := &o.now
	if s.expect.Demand == Unmoved && s.wasSure && s.o.final().high != s.was {
		return "", 0 // it moved for good
	}
	away := math.Abs(s.absent.far - o.heldLevel())
	if !o.limitOf(Hold).None() || !s.moved || s.absent.samples == 0 || away < (s.o.hi-s.o.lo)/2 {
		return "", 0
	}
	return o.kindOfExcursion(), s.absent.seconds
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
		if o.tooSoon() {
			m.symptom(e, o.signal, WatchedShort, "", o.now.watched, o.allowed())
			continue
		}
		m.symptom(e, o.signal, DidNotMove, "", o.now.state.volts, math.NaN())
	}
	for _, o := range strays {
		wrong[o.signal] = true
		m.symptom(e, o.signal, MovedUnasked, "", o.now.state.volts, math.NaN())
	}
}

// diagnoseRelay compares what a relay's contacts did with what its output told
// it, and returns whether that explains figures of the relay out of their limits.
// Where edges were lost the contacts' story has holes, and nothing is said of it.
func (m *Meter) diagnoseRelay(e capture.Event, r *relayMeter, x contacts) bool {
	signal, k := r.symptomOf(x)
	if k == "" {
		return false
	}
	if x.lost() {
		m.symptom(e, r.plan.Signal, EdgesLost, "", math.NaN(), math.NaN())
		return true
	}
	value, limit := math.NaN(), math.NaN()
	switch k {
	case RelayStill:
		value, limit = r.output.now.state.volts, r.plan.MustOperate
	case HeldIn:
		value, limit = r.output.now.state.volts, r.plan.MustRelease
	case explained:
		return true
	}
	m.symptom(e, signal, k, r.output.signal, value, limit)
	return true
}

// explained stands for figures out of their limits that an earlier symptom has
// explained already.
const explained Kind = "explained"

// symptomOf names what is wrong with a relay's contacts, and at which signal;
// nothing where they did what the output told them.
func (r *relayMeter) symptomOf(x contacts) (string, Kind) {
	name := r.plan.Signal
	edges := len(x.make.edges) + len(x.brk.edges)
	switch {
	case x.make.restless() && x.brk.restless():
		return name, Chattering
	case x.make.restless():
		return r.plan.Make, UnsteadyMake
	case x.brk.restless():
		return r.plan.Break, UnsteadyMake
	case !x.told.due && edges > 0 && !x.late:
		return name, RelayAlone
	case !x.told.due:
		return "", ""
	}
	if x.told.rising {
		return r.symptomOfOperation(x, edges)
	}
	return r.symptomOfRelease(x, edges)
}

// symptomOfOperation names what is wrong with contacts that should have operated.
func (r *relayMeter) symptomOfOperation(x contacts, edges int) (string, Kind) {
	switch {
	case x.make.opens() && (x.brk.closes() || r.brk < 0), x.brk.closes() && r.make < 0:
		return r.plan.Signal, ContactsSwap
	case edges == 0 && (x.make.end || r.make < 0 && x.brk.known && !x.brk.end):
		return r.plan.Signal, explained // it had not released, which has been said
	case edges == 0 && x.soon:
		return r.plan.Signal, explained
	case edges == 0:
		return r.plan.Signal, RelayStill
	case x.brk.opens() && x.make.known && !x.make.end:
		return r.plan.Make, UnsteadyMake
	}
	return "", ""
}

// symptomOfRelease names what is wrong with contacts that should have released.
func (r *relayMeter) symptomOfRelease(x contacts, edges int) (string, Kind) {
	s := &r.output.now
	switch {
	case x.make.closes() && (x.brk.opens() || r.brk < 0), x.brk.opens() && r.make < 0:
		return r.plan.Signal, ContactsSwap
	case edges == 0 && (r.make >= 0 && !x.make.end || r.make < 0 && x.brk.end):
		return r.plan.Signal, explained // it had not operated either
	case edges == 0 && x.soon:
		return r.plan.Signal, explained
	case edges == 0 && s.state.volts > r.plan.MustRelease && s.expect.Demand != Pulse:
		return r.plan.Signal, HeldIn
	case edges == 0 && r.make < 0:
		return r.plan.Break, UnsteadyMake
	case edges == 0, x.brk.closes() && x.make.end:
		return r.plan.Make, Welded
	case x.make.opens() && x.brk.known && !x.brk.end:
		return r.plan.Break, UnsteadyMake
	}
	return "", ""
}

// diagnoseFigures turns this state's figures out of their limits into symptoms.
func (m *Meter) diagnoseFigures(e capture.Event, wrong map[string]bool) {
	said := map[Kind]bool{}
	for i := range m.out.Measurements[m.firstRow:] {
		x := &m.out.Measurements[m.firstRow+i]
		if x.Event != e.Name || wrong[x.Signal] || math.IsNaN(x.Value) {
			continue
		}
		if x.Verdict == Undecided {
			m.doubt(e, x)
		}
		if x.Verdict != Fail {
			continue
		}
		k := m.kindOf(x)
		if k == WeakPullIn && said[LowWhenOn] {
			continue
		}
		if k == Drooping {
			m.drooping(e, x.Signal)
			continue
		}
		said[k] = true
		m.symptom(e, x.Signal, k, string(x.Quantity), x.Value, nearer(x))
	}
}

// drooping says once of an output that it droops, whatever figures show it.
func (m *Meter) drooping(e capture.Event, signal string) {
	for _, s := range m.out.Symptoms[m.firstSymptom:] {
		if s.Kind == Drooping && s.Signal == signal {
			return
		}
	}
	m.symptom(e, signal, Drooping, "", math.NaN(), math.NaN())
}

// doubt says why a figure could not be decided.
func (m *Meter) doubt(e capture.Event, x *Measurement) {
	switch {
	case strings.HasSuffix(x.Reason, edgesWereLost):
		m.symptom(e, x.Signal, EdgesLost, "", math.NaN(), math.NaN())
	case strings.HasPrefix(x.Reason, samplesLeftOut):
		// Nothing is wrong with the unit or the rig.
	case strings.HasPrefix(x.Reason, samplesMissing):
		m.symptom(e, x.Signal, SamplesMissing, "", m.missingAt(x.Signal), math.NaN())
	case x.Bound() || !(math.Abs(x.Value-nearer(x)) <= x.Expanded):
		// Not for its nearness to the limit.
		m.symptom(e, x.Signal, Doubtful, string(x.Quantity), x.Value, math.NaN())
	default:
		m.symptom(e, x.Signal, NearLimit, string(x.Quantity), x.Value, nearer(x))
	}
}

// missingAt is for how long the samples of an output, or of the one before a relay,
// were missing.
func (m *Meter) missingAt(signal string) float64 {
	o := m.output(signal)
	for _, r := range m.relays {
		if r.plan.Signal == signal {
			o = r.output
		}
	}
	if o == nil {
		return math.NaN()
	}
	return math.Max(o.now.gap, o.now.crossGap)
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
		if o := m.output(x.Signal); o != nil && o.now.state.drifts() {
			return Drooping
		}
		return Rippling
	case Hold:
		if o := m.output(x.Signal); o != nil {
			return o.kindOfExcursion()
		}
		return LeftState
	case SwitchingDelay:
		if above {
			return SlowSwitching
		}
		return EarlySwitching
	case TransitionDuration:
		return SlowTransition
	case PulseDuration:
		return PulseLength
	case PullInVoltage:
		if above {
			return PullsInHigh
		}
	case DropOutVoltage:
		if !above {
			return LetsGoLow
		}
	case OperateTime:
		return SlowOperate
	case ReleaseTime:
		return SlowRelease
	case BounceTime, BounceCount:
		return LongBounce
	case TransferTime:
		if x.Value < 0 && !above {
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

// kindOfExcursion tells why an output left its state.
func (o *outputMeter) kindOfExcursion() Kind {
	if o.now.state.drifts() {
		return Drooping
	}
	off := o.lowLevel
	if s := &o.now; !s.high && s.state.known() {
		off = s.state.volts
	}
	if off-o.now.absent.far > belowOff {
		return LooseWire
	}
	return LeftState
}
