package diagnose

import (
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/measure"
)

// belowOff is how far under its own off level, in volts, an output must read for
// its wire to be the suspect: a switched-off output still leaks a little, an open
// wire reads nothing.
const belowOff = 0.3

// examination names what is wrong in one state.
type examination struct {
	*measure.State
	found []analyze.Symptom
	// explained are the signals of which nothing more need be said.
	explained map[string]bool
}

// Symptoms names what is wrong in a state: first whether the right outputs
// moved, then the relays, then figures out of their limits. A symptom that explains
// others silences them.
func Symptoms(s *measure.State) []analyze.Symptom {
	x := &examination{State: s, explained: map[string]bool{}}
	if s.SupplyLost {
		x.add(supplySignal, analyze.SupplyLost, "", math.NaN(), math.NaN())
		return x.found
	}
	if s.Inverted != "" {
		x.add(s.Inverted, analyze.RefInverted, "", math.NaN(), math.NaN())
		return x.found
	}
	if s.Floating != 0 {
		x.add(zeroSignal, analyze.ZeroNotJoined, "", s.Floating, math.NaN())
		return x.found
	}
	x.unsampled()
	x.stillOnRamps()
	x.moves()
	for i := range s.Relays {
		r := &s.Relays[i]
		if r.Output == nil || x.explained[r.Output.Signal] || x.relay(r) {
			x.explained[r.Plan.Signal], x.explained[r.Plan.Make], x.explained[r.Plan.Break] = true, true, true
		}
	}
	x.figures()
	for i := range s.Outputs {
		if o := &s.Outputs[i]; !x.explained[o.Signal] {
			x.aberration(o)
		}
	}
	return x.found
}

// relayBehind is the relay behind an output, or empty.
func (x *examination) relayBehind(o *measure.OutputState) string {
	for i := range x.Relays {
		if r := &x.Relays[i]; r.Output == o {
			return r.Plan.Signal
		}
	}
	return ""
}

// supplySignal stands for the unit's supply where a signal is named, zeroSignal for what its
// voltages are counted from.
const (
	supplySignal = "supply"
	zeroSignal   = "0 V"
)

func (x *examination) add(signal string, k analyze.Kind, other string, value, limit float64) {
	x.found = append(x.found, analyze.Symptom{Cycle: x.Cycle, Event: x.Event, Signal: signal, Kind: k, Other: other, Value: value, Limit: limit})
}

// unsampled says which outputs have no samples.
func (x *examination) unsampled() {
	for i := range x.Outputs {
		o := &x.Outputs[i]
		switch briefest := measure.ShortestWatch.Seconds(); {
		case o.Samples > 0:
		case o.Lasted < briefest:
			x.add(o.Signal, analyze.WatchedShort, "", o.Lasted, briefest)
		default:
			x.add(o.Signal, analyze.NotSampled, "", math.NaN(), math.NaN())
		}
	}
}

// stillOnRamps says which relays a ramp of the supply did not make change over though it
// gave them what they need.
func (x *examination) stillOnRamps() {
	for i := range x.Rows {
		m := &x.Rows[i]
		if m.Verdict != analyze.Fail || !m.Has(analyze.DidNotCloseTill) && !m.Has(analyze.DidNotOpenTill) || m.Limit.None() {
			continue
		}
		for k := range x.Relays {
			r := &x.Relays[k]
			switch {
			case r.Plan.Signal != m.Signal:
			case m.Quantity == analyze.DropOutVoltage:
				x.add(r.Plan.Make, analyze.Welded, r.Output.Signal, r.Output.Rest, m.Limit.Upper)
			default:
				x.add(r.Plan.Signal, analyze.RelayStill, r.Output.Signal, r.Output.Rest, m.Limit.Upper)
			}
		}
	}
}

// A transition is told of that goes beyond its level by this share of its amplitude, and
// by this many volts, at least. The diode across a coil lets the terminal go 0.7 V below
// zero, and a supply sags less than that under it (common practice, no source).
const (
	farBeyond       = 0.25
	leastAberration = 2.0
)

// aberration notes a transition that went far beyond the level where it settled. A fall
// counts from zero where it settled above that: so far the diode across a coil lets it go
// in any case.
func (x *examination) aberration(o *measure.OutputState) {
	far := math.Max(leastAberration, farBeyond*math.Abs(o.Level-o.Before))
	switch {
	case !o.Named || !o.Placed:
	case o.Transient-o.Level >= far:
		x.add(o.Signal, analyze.Overshoots, "", o.Transient, o.Level)
	case math.Min(o.Level, 0)-o.Transient >= far:
		x.add(o.Signal, analyze.Undershoots, "", o.Transient, o.Level)
	case o.Transient <= -belowDiode && x.relayBehind(o) != "":
		x.add(o.Signal, analyze.NoDiode, x.relayBehind(o), o.Transient, o.Level)
	}
}

// belowDiode is how far below zero, in volts, a coil's output goes that no diode holds: one of
// silicon conducts at some 0.7 V, and at less than 0.9 V with a small relay's current. A
// converter's input reads little below its own ground, so that it may be far more (common
// practice, no source).
const belowDiode = 1.1

// moves compares which outputs moved with which should have.
func (x *examination) moves() {
	var still, strays []*measure.OutputState
	for i := range x.Outputs {
		o := &x.Outputs[i]
		if p := x.joined(o); p != nil {
			x.add(o.Signal, analyze.MovedTogether, p.Signal, o.Rest, p.Rest)
			x.explained[o.Signal] = true
			continue
		}
		switch outcomeOf(o) {
		case asDemanded:
		case unseen:
			x.explained[o.Signal] = true
		case stood:
			still = append(still, o)
		case strayed:
			strays = append(strays, o)
		default:
			k, value := misbehaviour(o)
			x.add(o.Signal, k, "", value, math.NaN())
			x.explained[o.Signal] = true
		}
	}
	x.pairMoves(still, strays)
}

// joined returns an output that moved as it should, and that an output which should not
// have moved went along with; nil where there is none.
func (x *examination) joined(o *measure.OutputState) *measure.OutputState {
	if k, _ := misbehaviour(o); o.Samples == 0 || outcomeOf(o) != strayed && k != analyze.Inverted {
		return nil
	}
	for i := range x.Outputs {
		if p := &x.Outputs[i]; p != o && p.Samples > 0 && outcomeOf(p) == asDemanded && together(o, p) {
			return p
		}
	}
	return nil
}

// Two outputs that are joined differ by what a wire drops, and by what two dividers of 1 %
// read differently: this many volts and this share of the level, at most (common practice,
// no source). Their edges are one edge, and lie as far apart as the samples make them.
const (
	joinedVolts = 0.05
	joinedShare = 0.02
	joinedTime  = 1e-3 // seconds
)

// together reports whether two outputs crossed at the same time, between the same levels.
func together(o, p *measure.OutputState) bool {
	near := func(a, b float64) bool { return math.Abs(a-b) <= joinedVolts+joinedShare*math.Abs(b) }
	return o.Moved && p.Moved && o.HighAtEnd == p.HighAtEnd && near(o.Rest, p.Rest) && near(o.Before, p.Before) &&
		math.Abs(o.Entered-p.Entered) <= joinedTime+o.Interval+p.Interval
}

// outcome is how what an output did compares with what was demanded.
type outcome int

const (
	asDemanded outcome = iota
	unseen             // no samples
	stood              // did not go where it should
	strayed            // moved and should not have
	otherwise          // did something else, see misbehaviour
)

func outcomeOf(o *measure.OutputState) outcome {
	if o.Samples == 0 {
		return unseen
	}
	if k, _ := misbehaviour(o); k != "" {
		return otherwise
	}
	switch want, named := o.Demand.State(); {
	case o.Demand == analyze.Any:
	case o.Demand == analyze.Pulse || o.Demand == analyze.Train:
		if !o.Moved {
			return stood
		}
	case named:
		if o.HighAtEnd != want {
			return stood
		}
	case o.Moved && o.HighAtEnd != o.WasHigh, o.Moved && o.Crossings == 2 && !o.Named:
		return strayed
	}
	return asDemanded
}

// farTooMuch is how many times its usual voltage no output can have: its samples are not
// in volts.
const farTooMuch = 10

// belowZero is how far below zero, in volts, an output reads whose wires are swapped.
const belowZero = 2.0

// misbehaviour names what an output did instead of what was demanded, where that has
// a name of its own, and a figure for the text.
func misbehaviour(o *measure.OutputState) (analyze.Kind, float64) {
	want, named := o.Demand.State()
	outermost := math.Max(math.Abs(o.Highest), math.Abs(o.Lowest))
	switch {
	case !o.Named || o.Demand == analyze.Any:
		return "", 0
	case outermost > farTooMuch*o.Nominal:
		return analyze.NotVolts, outermost
	case math.Min(o.Level, o.Rest) < -belowZero:
		return analyze.Reversed, math.Min(o.Level, o.Rest)
	case o.Demand == analyze.Pulse:
		return pulseMisbehaviour(o)
	case o.Demand == analyze.Train:
		return trainMisbehaviour(o)
	case o.FlashesOn:
		return analyze.FlashesOn, math.NaN()
	case !named || o.HighAtEnd == want:
		return excursion(o)
	case o.Moved && o.WasKnown && o.WasHigh == want:
		return analyze.Inverted, o.Level
	case o.Moved && (want && o.WentHigh || !want && o.WentLow):
		return analyze.FellBack, o.Away
	}
	return "", 0
}

// pulseMisbehaviour names what is wrong with an output that moved and should have pulsed.
func pulseMisbehaviour(o *measure.OutputState) (analyze.Kind, float64) {
	switch {
	case o.Moved && o.WasHigh && o.WasKnown:
		return analyze.Inverted, math.NaN()
	case o.Moved && o.HighAtEnd && o.Pulses < 2:
		if o.Watched < o.LastEnd {
			return analyze.WatchedShort, o.Watched
		}
		return analyze.NoPulse, math.NaN()
	case o.Pulses > 1:
		return analyze.MorePulses, float64(o.Pulses)
	}
	return "", 0
}

// steady is for how many times as long as it may an output that is to flash keeps a state, so that
// it flashes no longer.
const steady = 1.25

// trainMisbehaviour names what is wrong with an output that moved and should have pulsed or flashed.
// That its pulses are too many, too few or of another length its figures say.
func trainMisbehaviour(o *measure.OutputState) (analyze.Kind, float64) {
	x := o.Expect
	switch long := o.Quiet > steady*x.OnSpan().Upper; {
	case o.WasHigh && o.WasKnown && o.HighAtEnd && !x.Flashes():
		return analyze.Inverted, math.NaN()
	case o.Turned == 1 && o.HighAtEnd && long:
		return analyze.DoesNotFlash, o.Quiet
	case x.Flashes() && o.Turned > 0 && (o.HighAtEnd && long || !o.HighAtEnd && o.Quiet > steady*x.OffSpan().Upper):
		return analyze.StopsEarly, o.Watched - o.Quiet
	}
	return "", 0
}

// excursion names an excursion to the other state where no limit of hold says how long
// one may last.
func excursion(o *measure.OutputState) (analyze.Kind, float64) {
	if o.Demand == analyze.Unmoved && o.WasKnown && o.HighAtEnd != o.WasHigh {
		return "", 0 // it moved for good
	}
	far := math.Abs(o.AwayVolts - o.Held)
	if o.HoldLimited || !o.Moved || o.AwaySamples == 0 || far < (o.Highest-o.Lowest)/2 {
		return "", 0
	}
	return kindOfExcursion(o), o.Away
}

// kindOfExcursion tells why an output left its state.
func kindOfExcursion(o *measure.OutputState) analyze.Kind {
	if o.Drifts {
		return analyze.Drooping
	}
	off := o.OffLevel
	if !o.High && o.LevelKnown {
		off = o.Level
	}
	if off-o.AwayVolts > belowOff {
		return analyze.LooseWire
	}
	return analyze.LeftState
}

// pairMoves says of an output that did not move which other one moved instead.
func (x *examination) pairMoves(still, strays []*measure.OutputState) {
	for _, o := range still {
		x.explained[o.Signal] = true
		if len(strays) > 0 {
			x.add(o.Signal, analyze.MovedInstead, strays[0].Signal, math.NaN(), math.NaN())
			x.explained[strays[0].Signal] = true
			strays = strays[1:]
			continue
		}
		if o.TooBrief {
			x.add(o.Signal, analyze.WatchedShort, "", o.Watched, o.Allowed)
			continue
		}
		x.stayed(o)
	}
	for _, o := range strays {
		x.explained[o.Signal] = true
		x.add(o.Signal, analyze.MovedUnasked, "", o.Level, math.NaN())
	}
}

// pulledDown is how much higher, in volts, an output stands that was told to go on and is
// pulled down, as by a diode the wrong way round. One that does nothing stays where it is.
const pulledDown = 0.15

// stayed names an output that did not go where it should.
func (x *examination) stayed(o *measure.OutputState) {
	if o.Demand == analyze.High && o.WasKnown && !o.WasHigh && !o.Drifts && o.Level-o.Before >= pulledDown {
		x.add(o.Signal, analyze.PulledDown, "", o.Level, math.NaN())
		return
	}
	x.add(o.Signal, analyze.DidNotMove, "", o.Level, math.NaN())
}

// relay compares what a relay's contacts did with what its output told it, and returns
// whether that explains figures of the relay out of their limits.
func (x *examination) relay(r *measure.RelayState) bool {
	named := false
	for i := range r.Changes {
		before := len(x.found)
		named = x.change(r, &r.Changes[i]) || named
		if len(x.found) > before {
			return true
		}
	}
	return named
}

// change does so for one change. Where edges were lost the contacts' story has holes, and
// nothing is said of it but that they do not rest: lost edges can only add to that.
func (x *examination) change(r *measure.RelayState, c *measure.RelayChange) bool {
	signal, k := symptomOf(r, c)
	if k == "" {
		return false
	}
	if c.EdgesLost && !c.Make.Restless && !c.Break.Restless {
		kind := analyze.EdgesLost
		if c.EdgesSuspect {
			kind = analyze.EdgesSuspect
		}
		x.add(r.Plan.Signal, kind, "", math.NaN(), math.NaN())
		return true
	}
	value, limit := math.NaN(), math.NaN()
	switch k {
	case analyze.RelayStill:
		value, limit = r.Output.Level, float64(r.Plan.MustOperate)
	case analyze.HeldIn:
		value, limit = r.Output.Level, float64(r.Plan.MustRelease)
	case analyze.WatchedShort:
		x.add(signal, k, "", c.Watched, measure.ShortestWatch.Seconds())
		return true
	case analyze.UnsteadyMake:
		if x := &c.Make; signal == r.Plan.Make && (x.Restless || x.LongestClosed > 0) {
			value = x.LongestClosed
		}
	case explained:
		x.coil(r, c)
		return true
	}
	x.add(signal, k, r.Output.Signal, value, limit)
	if k == analyze.RelayStill || k == analyze.CommonOpen {
		x.pulsedCoil(r)
	}
	return true
}

// coilSwing is by how many volts, at least, an output goes below its level as it switches off a
// coil that carries current: the diode across it lets it swing to some 0.7 V below zero (common
// practice, no source). A wire without a coil swings by what noise is.
const coilSwing = 0.25

// coil notes of a relay that does not move whether its coil carries current all the same: then
// the terminal swings as it is switched off.
func (x *examination) coil(r *measure.RelayState, c *measure.RelayChange) {
	o := r.Output
	if c.Rising || !still(c) || !o.Placed || o.HighAtEnd || !o.LevelKnown || o.Level-o.Transient < coilSwing {
		return
	}
	x.add(r.Plan.Signal, analyze.CoilCarries, o.Signal, o.Transient, o.Level)
}

// pulsedCoil does so where the output pulsed.
func (x *examination) pulsedCoil(r *measure.RelayState) {
	o := r.Output
	if o.Demand == analyze.Pulse && o.Pulses > 0 && !o.HighAtEnd && o.OffLevel-o.Lowest >= coilSwing {
		x.add(r.Plan.Signal, analyze.CoilCarries, o.Signal, o.Lowest, o.OffLevel)
	}
}

// explained stands for figures out of their limits that an earlier symptom has
// explained already.
const explained analyze.Kind = "explained"

// symptomOf names what is wrong with a relay's contacts, and at which signal;
// nothing where they did what the output told them.
func symptomOf(r *measure.RelayState, c *measure.RelayChange) (string, analyze.Kind) {
	switch edges := c.Make.Edges + c.Break.Edges; {
	case r.Output != nil && r.Output.Crossings > 1 && (r.Output.Demand == analyze.Any || r.Output.Demand == analyze.Low && c.Make.Restless && c.Break.Restless):
		return "", "" // the relay follows an output that may do anything, or that flashed until now
	case c.Make.Restless && c.Break.Restless:
		return r.Plan.Signal, analyze.Chattering
	case c.Make.Restless && !r.HasBreak && c.Told && c.Rising && c.Make.ClosedShare > mostlyClosed && c.Make.LongestClosed > longestBounce:
		return r.Plan.Make, analyze.Chattering
	case c.Make.Restless:
		return r.Plan.Make, analyze.UnsteadyMake
	case c.Break.Restless:
		return r.Plan.Break, analyze.UnsteadyMake
	case !c.Told && edges > 0 && !c.Late:
		return r.Plan.Signal, analyze.RelayAlone
	case !c.Told:
		return "", ""
	}
	if c.Rising {
		return symptomOfOperation(r, c)
	}
	return symptomOfRelease(r, c)
}

// mostlyClosed is from which share of the time on a contact that keeps opening is closed but for
// moments: so does an armature that chatters. A worn contact is open for most of the time.
const mostlyClosed = 0.8

// longestBounce is for how many seconds at most a contact that bounces stays closed in between
// (common practice, no source).
const longestBounce = 5e-3

// still reports whether no contact has an edge.
func still(c *measure.RelayChange) bool { return c.Make.Edges+c.Break.Edges == 0 }

// symptomOfOperation names what is wrong with contacts that should have operated.
func symptomOfOperation(r *measure.RelayState, c *measure.RelayChange) (string, analyze.Kind) {
	switch {
	case c.Make.Opens && (c.Break.Closes || !r.HasBreak), c.Break.Closes && !r.HasMake:
		return r.Plan.Signal, analyze.ContactsSwap
	case still(c) && (c.Make.Closed || !r.HasMake && c.Break.Known && !c.Break.Closed):
		return r.Plan.Signal, explained // it had not released, which has been said
	case still(c) && c.TooBrief:
		return r.Plan.Signal, analyze.WatchedShort
	case still(c) && c.Make.Known && c.Break.Known && !c.Make.Closed && !c.Break.Closed:
		return r.Plan.Signal, analyze.CommonOpen
	case still(c):
		return r.Plan.Signal, analyze.RelayStill
	case c.Break.Opens && c.Make.Known && !c.Make.Closed:
		return r.Plan.Make, analyze.UnsteadyMake
	}
	return "", ""
}

// symptomOfRelease names what is wrong with contacts that should have released.
func symptomOfRelease(r *measure.RelayState, c *measure.RelayChange) (string, analyze.Kind) {
	if !still(c) {
		return symptomOfPartRelease(r, c)
	}
	switch {
	case r.HasMake && !c.Make.Closed, !r.HasMake && c.Break.Closed:
		return r.Plan.Signal, explained // it had not operated either
	case c.TooBrief:
		return r.Plan.Signal, analyze.WatchedShort
	case r.Output.Level > float64(r.Plan.MustRelease) && r.Output.Demand != analyze.Pulse && r.Output.Demand != analyze.Train:
		return r.Plan.Signal, analyze.HeldIn
	case !r.HasMake:
		return r.Plan.Break, analyze.UnsteadyMake
	}
	return r.Plan.Make, analyze.Welded
}

// symptomOfPartRelease does so where a contact moved.
func symptomOfPartRelease(r *measure.RelayState, c *measure.RelayChange) (string, analyze.Kind) {
	switch {
	case c.Make.Closes && (c.Break.Opens || !r.HasBreak), c.Break.Opens && !r.HasMake:
		return r.Plan.Signal, analyze.ContactsSwap
	case c.Break.Closes && c.Make.Closed:
		return r.Plan.Make, analyze.Welded
	case c.Make.Opens && c.Break.Known && !c.Break.Closed:
		return r.Plan.Break, analyze.UnsteadyMake
	}
	return "", ""
}

// figures turns this state's figures out of their limits into symptoms.
func (x *examination) figures() {
	said := map[analyze.Kind]bool{}
	for i := range x.Rows {
		m := &x.Rows[i]
		if m.Event != x.Event || x.explained[m.Signal] || math.IsNaN(m.Value) {
			continue
		}
		if m.Verdict == analyze.Undecided {
			x.doubt(m)
		}
		if m.Verdict != analyze.Fail {
			continue
		}
		k := x.lowKind(m, x.kindOf(m))
		if k == analyze.WeakPullIn && (said[analyze.LowWhenOn] || said[analyze.SagsOnLoad] || said[analyze.HeavyLoad]) {
			continue
		}
		if k == analyze.Drooping {
			x.drooping(m.Signal)
			continue
		}
		said[k] = true
		x.add(m.Signal, k, string(m.Quantity), m.Value, nearer(m))
	}
}

// An output whose load is more than a coil, or whose supply is weak under load, shows it
// beside its level. It rises to its open voltage for a moment and sags by sagsBy as the
// coil's current comes; what an output's own resistance does is less. A load that is too heavy
// also takes what leaks through an output that is off, to less than littleLeak. In
// volts; common practice, no source.
const (
	sagsBy     = 0.4
	littleLeak = 0.3
)

// lowKind tells why an output is low when on, where that shows.
func (x *examination) lowKind(m *analyze.Measurement, k analyze.Kind) analyze.Kind {
	if k != analyze.LowWhenOn {
		return k
	}
	for i := range x.Outputs {
		o := &x.Outputs[i]
		switch {
		case o.Signal != m.Signal || x.relayBehind(o) == "":
		case o.OffLevel > 0 && o.OffLevel < littleLeak:
			return analyze.HeavyLoad
		case o.Placed && o.Transient-o.Level >= sagsBy:
			return analyze.SagsOnLoad
		}
	}
	return k
}

// drooping says once of an output that it droops, whatever figures show it.
func (x *examination) drooping(signal string) {
	for _, s := range x.found {
		if s.Kind == analyze.Drooping && s.Signal == signal {
			return
		}
	}
	x.add(signal, analyze.Drooping, "", math.NaN(), math.NaN())
}

// calibration says once a state which output's calibration vouches for nothing, and whether
// the figure rests on one.
func (x *examination) calibration(m *analyze.Measurement) (rests bool) {
	for _, d := range m.Doubts {
		k := analyze.OverdueCalibration
		switch d.Code {
		case analyze.CalibrationOverdue:
		case analyze.CalibrationInFuture:
			k = analyze.FutureCalibration
		default:
			continue
		}
		output := d.Signal
		if output == "" {
			output = m.Signal
		}
		if !slices.ContainsFunc(x.found, func(s analyze.Symptom) bool { return s.Kind == k && s.Signal == output }) {
			x.add(output, k, "", math.NaN(), math.NaN())
		}
		rests = true
	}
	return rests
}

// doubt says why a figure could not be decided.
func (x *examination) doubt(m *analyze.Measurement) {
	rests := x.calibration(m)
	switch {
	case m.Has(analyze.EdgesMissing):
		x.add(x.relayOf(m.Signal), analyze.EdgesLost, "", math.NaN(), math.NaN())
	case m.Has(analyze.EdgesInDoubt):
		x.add(x.relayOf(m.Signal), analyze.EdgesSuspect, "", math.NaN(), math.NaN())
	case m.Has(analyze.SamplesLeftOut):
		// Nothing is wrong with the unit or the rig.
	case m.Has(analyze.SamplesAbsent):
		x.add(m.Signal, analyze.SamplesMissing, "", x.missingAt(m.Signal), math.NaN())
	case rests:
	case m.Bound() != analyze.NoBound || !(math.Abs(m.Value-nearer(m)) <= m.Expanded):
		// Not for its nearness to the limit.
		x.add(m.Signal, analyze.Doubtful, string(m.Quantity), m.Value, math.NaN())
	default:
		x.add(m.Signal, analyze.NearLimit, string(m.Quantity), m.Value, nearer(m))
	}
}

// relayOf is the relay that a contact belongs to; any other signal stands for itself.
func (x *examination) relayOf(signal string) string {
	for i := range x.Relays {
		if p := x.Relays[i].Plan; signal == p.Make || signal == p.Break {
			return p.Signal
		}
	}
	return signal
}

// missingAt is for how many seconds the samples of an output, or of the one before a
// relay, were missing.
func (x *examination) missingAt(signal string) float64 {
	o := x.output(signal)
	for i := range x.Relays {
		if r := &x.Relays[i]; r.Plan.Signal == signal {
			o = r.Output
		}
	}
	if o == nil {
		return math.NaN()
	}
	return o.Missing
}

func (x *examination) output(signal string) *measure.OutputState {
	for i := range x.Outputs {
		if x.Outputs[i].Signal == signal {
			return &x.Outputs[i]
		}
	}
	return nil
}

// nearer is the limit that a value is nearer to.
func nearer(m *analyze.Measurement) float64 {
	lo, hi := m.Limit.Lower, m.Limit.Upper
	switch {
	case math.IsNaN(lo):
		return hi
	case math.IsNaN(hi) || math.Abs(m.Value-lo) < math.Abs(m.Value-hi):
		return lo
	}
	return hi
}

// kindOf names what a figure out of its limit is a symptom of: what its quantity's row
// says, save where the output itself shows why.
func (x *examination) kindOf(m *analyze.Measurement) analyze.Kind {
	o := x.output(m.Signal)
	switch {
	case m.Quantity == analyze.Hold && o != nil:
		return kindOfExcursion(o)
	case m.Quantity == analyze.Ripple && o != nil && o.Drifts:
		return analyze.Drooping
	case m.Quantity == analyze.TransferTime && m.Value >= 0:
		return analyze.OffLimit // a gap that is too short or too long is no overlap
	}
	return m.Quantity.SymptomOf(m.Value > m.Limit.Upper)
}
