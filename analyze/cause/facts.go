package cause

import (
	"math"
	"slices"

	"makebreak/analyze"
	"makebreak/analyze/tally"
	"makebreak/rig/capture"
)

// fact is what an observation of one place shows. What a run does not show has no fact: it is
// unknown, not absent.
type fact struct {
	kind   *kind
	signal string // output or relay; empty: the whole run
	value  string
}

// place is an output with the relay behind it, where there is one, or a converter of the rig.
type place struct{ output, relay, converter string }

// shows reports whether a fact is seen of the place.
func (p place) shows(x fact) bool {
	if x.kind.of == OfConverter {
		return x.signal == p.converter
	}
	return x.signal == p.output || x.signal == p.relay
}

// facts are all facts of a run.
type facts struct {
	places  []place
	all     []fact
	watched bool // all outputs were
	// unreferenced says that no line reports the instant of an event.
	unreferenced bool
	cycles       int
}

// unusual reports whether any fact is not as it should be. How a run was planned is no fault.
func (f *facts) unusual() bool {
	return slices.ContainsFunc(f.all, func(x fact) bool { return x.value != usual && !planned(x) })
}

// planned reports whether a fact says only how the run was planned, or that somebody ended it.
func planned(x fact) bool {
	return x.kind.name == "others" || x.kind.name == "end" && x.value == "early"
}

// telling reports whether any fact is one that a bench without a fault seldom shows.
func (f *facts) telling() bool {
	return slices.ContainsFunc(f.all, func(x fact) bool {
		return x.value != usual && !planned(x) && !slices.Contains([]string{"edge", "load", "operate", "course", "coil"}, x.kind.name) &&
			!(x.kind.name == "off-level" && slices.Contains([]string{"none", "zero", "raised"}, x.value))
	})
}

// examiner derives facts from evidence.
type examiner struct {
	*Evidence
	facts facts
	rail  float64 // the unit's supply, as a multiple of 12 V
}

// factsOf derives the facts.
func factsOf(e *Evidence) *facts {
	x := &examiner{Evidence: e, facts: facts{watched: e.plan.OthersUnmoved, cycles: e.Cycles, unreferenced: e.Unreferenced}}
	x.findPlaces()
	x.converters()
	x.rail = x.railOf()
	for _, p := range x.facts.places {
		if p.output != "" {
			x.output(p)
		}
		if p.relay != "" {
			x.relay(p)
		}
	}
	x.run()
	x.maskLoads()
	x.mask()
	if !x.facts.telling() {
		x.nearLimits()
		x.unjudged()
	}
	return &x.facts
}

// masks are facts that leave nothing to say of others of the same place: those follow from
// them. So they are not counted a second time.
var masks = []struct {
	name   string
	values []string
	hidden []string
	only   []string // values that are hidden; none: all
	// fleeting says that they come and go with it: what is seen as a rule does not follow from it.
	fleeting bool
}{
	{"steadiness", []string{"drops"}, []string{"follow"}, []string{"still", "sometimes", "held", "open", "alone"}, true},
	{"steadiness", []string{"drops"}, []string{"rise", "fall", "on-level", "delay", "pulse", "edge", "operate", "release", "bounce", "overlap", "course", "stray", "load"}, nil, true},
	{"follow", []string{"both-unsteady"}, []string{"operate", "bounce", "overlap"}, nil, false},
	{"follow", []string{"chatters", "unsteady", "comes-and-goes", "break-unsteady", "swapped"}, []string{"operate", "bounce", "overlap", "course"}, nil, false},
	{"follow", []string{"stays-in", "stays-in-at-last"}, []string{"operate", "overlap"}, nil, false},
	{"follow", []string{"stays-in", "stays-in-at-last"}, []string{"course"}, []string{"operate", "bounce"}, false},
	{"follow", []string{"open"}, []string{"bounce", "course"}, nil, false},
	{"rise", []string{"falls-back", "stays-on", "inverted", "ahead", "behind"}, []string{"steadiness", "stray"}, nil, false},
	{"on-level", []string{"heavy"}, []string{"off-level"}, nil, false},
	{"steadiness", []string{"droop"}, []string{"on-level"}, []string{"sags", "low", "low-or-sags", "lower"}, false},
	{"steadiness", []string{"droop"}, []string{"off-level", "stray", "edge"}, nil, false},
	{"on-level", []string{"lowest"}, []string{"off-level"}, []string{"high", "higher", "far"}, false},
	{"steadiness", []string{"hum", "flutters", "droop", "leaves"}, []string{"load"}, nil, false},
	{"rise", []string{"inverted", "ahead", "behind"}, []string{"on-level", "off-level"}, nil, false},
	{"stray", []string{"joined"}, []string{"off-level", "on-level", "load"}, nil, false},
	{"company", []string{"joined"}, []string{"off-level", "on-level", "load", "rise", "fall"}, nil, false},
	{"follow", []string{"held"}, []string{"load"}, nil, false},
}

// maskLoads takes out what outputs show of loads where any output does not keep its level: all
// have one supply.
func (x *examiner) maskLoads() {
	uneven := slices.ContainsFunc(x.facts.all, func(f fact) bool {
		return f.kind.name == "steadiness" && slices.Contains([]string{"hum", "droop", "flutters"}, f.value)
	})
	x.facts.all = slices.DeleteFunc(x.facts.all, func(f fact) bool { return uneven && f.kind.name == "load" && f.value != usual })
}

// mask takes out the unusual facts that follow from others. One that is taken out masks none.
func (x *examiner) mask() {
	place := func(signal string) int {
		return slices.IndexFunc(x.facts.places, func(p place) bool { return p.output == signal || p.relay == signal })
	}
	for _, m := range masks {
		at := map[int]bool{}
		for _, f := range x.facts.all {
			if f.kind.name == m.name && slices.Contains(m.values, f.value) {
				at[place(f.signal)] = true
			}
		}
		x.facts.all = slices.DeleteFunc(x.facts.all, func(f fact) bool {
			return f.value != usual && slices.Contains(m.hidden, f.kind.name) && at[place(f.signal)] &&
				(m.only == nil || slices.Contains(m.only, f.value)) && !(m.fleeting && x.regular(f))
		})
	}
}

// regularly are the symptoms behind facts that a wire which is off now and then makes now and then, and
// not each time.
var regularly = map[string][]analyze.Kind{
	"follow":  {analyze.RelayStill, analyze.CommonOpen, analyze.HeldIn, analyze.UnsteadyMake},
	"bounce":  {analyze.LongBounce},
	"operate": {analyze.SlowOperate},
	"release": {analyze.SlowRelease},
	"overlap": {analyze.Overlap},
}

// regular reports whether a fact of a relay is seen as a rule at one of the events.
func (x *examiner) regular(f fact) bool {
	kinds := regularly[f.kind.name]
	r := x.plan.Relay(f.signal)
	return r != nil && kinds != nil && slices.ContainsFunc(x.ofRelay(r, kinds...), func(k symptomKey) bool {
		n := x.symptoms[k].n
		return n >= 3 && 5*n >= 3*x.occasions(k.event)
	})
}

func (x *examiner) findPlaces() {
	add := func(p place) {
		if !slices.ContainsFunc(x.facts.places, func(q place) bool {
			return q.output == p.output && p.output != "" || q.relay == p.relay && p.relay != ""
		}) {
			x.facts.places = append(x.facts.places, p)
		}
	}
	for i := range x.plan.Outputs {
		o := &x.plan.Outputs[i]
		add(place{output: o.Signal, relay: o.Relay})
	}
	for i := range x.plan.Relays {
		add(place{relay: x.plan.Relays[i].Signal})
	}
	for _, f := range x.rows {
		if d, known := f.Quantity.Definition(); known && d.Of == analyze.OfOutput {
			add(place{output: f.Signal})
		}
	}
	for _, k := range x.order { // outputs that have no figures, as of a run that ended early
		if k.kind == analyze.MovedUnasked || k.kind == analyze.MovedTogether {
			add(place{output: k.signal})
		}
	}
}

// converters adds the converters of which anything is counted, or which ended the run.
func (x *examiner) converters() {
	ended := ""
	if endOf(x.Ending.Code) == "converter" {
		ended = x.Ending.Place
	}
	names := []string{}
	if ended != "" {
		names = append(names, ended)
	}
	counted := map[string]capture.Counts{}
	for _, c := range x.Converters {
		counted[c.Converter] = c.Counts
		if c.Counts != (capture.Counts{}) && c.Converter != ended {
			names = append(names, c.Converter)
		}
	}
	slices.Sort(names)
	for _, name := range names {
		x.facts.places = append(x.facts.places, place{converter: name})
		n := counted[name]
		x.add("converter", name, choose(true,
			choice{name == ended && x.Ending.Code == capture.ConverterNoEdges, "no-edges"},
			choice{name == ended && x.Ending.Code != capture.ConverterReset, "silent"},
			choice{n.ChipResets > 0 || name == ended, "resets"},
			choice{n.BusErrors > 0, "errors"}))
	}
}

// disturbed is of how many converters transfers failed, of those known.
func (x *examiner) disturbed() (n int) {
	for _, c := range x.Converters {
		if c.BusErrors > 0 {
			n++
		}
	}
	return n
}

// add adds a fact where its value is known.
func (x *examiner) add(name, signal, value string) {
	if value != "" {
		x.facts.all = append(x.facts.all, fact{kindNamed(name), signal, value})
	}
}

// choose returns the first value whose condition holds, usual where none does and it is known
// that none does.
func choose(known bool, all ...choice) string {
	for _, c := range all {
		if c.holds {
			return c.value
		}
	}
	if known {
		return usual
	}
	return ""
}

type choice struct {
	holds bool
	value string
}

// times is how often a symptom was seen of a signal, at any event and with any other signal.
func (x *examiner) times(signal string, kinds ...analyze.Kind) int {
	n := 0
	for _, k := range x.order {
		if k.signal == signal && slices.Contains(kinds, k.kind) {
			n += x.symptoms[k].n
		}
	}
	return n
}

// seen reports whether a symptom was seen at all.
func (x *examiner) seen(kind analyze.Kind) bool {
	return slices.ContainsFunc(x.order, func(k symptomKey) bool { return k.kind == kind })
}

// timesAt is how often a symptom was seen of a signal at an event.
func (x *examiner) timesAt(signal, event string, kinds ...analyze.Kind) int {
	n := 0
	for _, k := range x.order {
		if k.signal == signal && k.event == event && slices.Contains(kinds, k.kind) {
			n += x.symptoms[k].n
		}
	}
	return n
}

// occasions is how often an event came.
func (x *examiner) occasions(event string) int {
	n := 0
	for _, s := range x.plan.Steps {
		if s == event {
			n++
		}
	}
	return max(1, n) * max(1, x.Cycles)
}

// figuresOf are those of a quantity of a signal at all events.
func (x *examiner) figuresOf(signal string, q analyze.Quantity) []*figure {
	var all []*figure
	for _, f := range x.rows {
		if f.Signal == signal && f.Quantity == q {
			all = append(all, f)
		}
	}
	return all
}

// measured reports whether a quantity of a signal has values.
func (x *examiner) measured(signal string, q analyze.Quantity) bool {
	return slices.ContainsFunc(x.figuresOf(signal, q), func(f *figure) bool { return f.values > 0 })
}

// judged reports whether a quantity of a signal has values, and a limit.
func (x *examiner) judged(signal string, q analyze.Quantity) bool {
	return slices.ContainsFunc(x.figuresOf(signal, q), func(f *figure) bool { return f.values > 0 && !f.limit.None() })
}

// demanding are the events at which an output must go on, or off.
func (x *examiner) demanding(o *analyze.OutputPlan, high bool) []string {
	var all []string
	for _, e := range x.plan.Steps {
		if want, named := o.At(e).Demand.State(); named && want == high && !slices.Contains(all, e) {
			all = append(all, e)
		}
	}
	return all
}

// share of its occasions at which a symptom was seen, at each of the events.
func (x *examiner) shares(signal string, events []string, kinds ...analyze.Kind) []float64 {
	all := make([]float64, len(events))
	for i, e := range events {
		all[i] = math.Min(1, float64(x.timesAt(signal, e, kinds...))/float64(x.occasions(e)))
	}
	return all
}

const (
	always = 0.95 // of the occasions, at least
	rarely = 0.05 // at most
)

func each(all []float64, holds func(float64) bool) bool {
	return len(all) > 0 && !slices.ContainsFunc(all, func(s float64) bool { return !holds(s) })
}

func some(all []float64, holds func(float64) bool) bool { return slices.ContainsFunc(all, holds) }

func atLeast(least float64) func(float64) bool { return func(s float64) bool { return s >= least } }
func atMost(most float64) func(float64) bool   { return func(s float64) bool { return s <= most } }
func above(least float64) func(float64) bool   { return func(s float64) bool { return s > least } }

// output derives what one output shows.
func (x *examiner) output(p place) {
	o := x.plan.Output(p.output)
	x.add("stray", p.output, choose(x.measured(p.output, analyze.Hold) || o != nil,
		choice{x.times(p.output, analyze.MovedTogether) > 0 && !x.against(p.output), "joined"},
		choice{x.asOther(p.output, analyze.MovedInstead), "takes-over"},
		choice{x.times(p.output, analyze.MovedUnasked) > 0 && x.sinks(p.output), "sinks"},
		choice{x.times(p.output, analyze.MovedUnasked) > 0, "moves"}))
	x.add("company", p.output, choose(true, choice{x.ledAlong(p.output) || x.shared(p.output) || x.pulsesAlong(p.output), "joined"}))
	x.add("steadiness", p.output, x.steadiness(p.output))
	if o == nil {
		return
	}
	rise := x.rise(o)
	x.add("rise", p.output, rise)
	x.add("fall", p.output, x.fall(o))
	x.add("still-level", p.output, x.stillLevel(o, rise))
	goes := rise != "never" && rise != "pulled-down" && rise != ""
	low := x.times(p.output, analyze.LowWhenOn) > 0
	x.add("on-level", p.output, choose(goes && x.measured(p.output, analyze.HighLevel),
		choice{x.times(p.output, analyze.Reversed) > 0, "negative"},
		choice{x.times(p.output, analyze.HeavyLoad) > 0, "heavy"},
		choice{x.times(p.output, analyze.SagsOnLoad) > 0, "sags"},
		choice{low && x.onLevel(p.output) < x.rail*lowestVolts, "lowest"},
		choice{low && p.relay != "" && x.coarse(p.output), "low-or-sags"},
		choice{low && x.onLevel(p.output) < x.rail*lowerVolts, "lower"},
		choice{low || goes && x.times(p.relay, analyze.WeakPullIn) > 0, "low"},
		choice{x.times(p.output, analyze.HighWhenOn) > 0, "high"}))
	x.add("load", p.output, x.load(p.output))
	x.add("off-level", p.output, choose(x.measured(p.output, analyze.LowLevel),
		choice{x.leak(p) > farLeak, "far"},
		choice{x.leak(p) > higherLeak, "higher"},
		choice{x.leak(p) > highLeak || x.leak(p) > 0 && x.times(p.output, analyze.HighWhenOff) > 0 ||
			p.relay != "" && x.times(p.relay, analyze.OffMayHold, analyze.HeldIn) > 0, "high"},
		choice{x.leak(p) > raisedLeak, "raised"},
		choice{x.least(p.output) < -x.rail*belowZero, "negative"},
		choice{x.lowest(p.output) < x.rail*zeroVolts, "zero"},
		choice{x.lowest(p.output) < x.rail*noVolts, "none"}))
	x.add("delay", p.output, choose(x.measured(p.output, analyze.SwitchingDelay),
		choice{x.times(p.output, analyze.SlowSwitching) > 0, "late"},
		choice{x.times(p.output, analyze.EarlySwitching) > 0, "early"},
		choice{x.lags(o), "late"}))
	x.add("pulse", p.output, choose(x.measured(p.output, analyze.PulseDuration),
		choice{x.times(p.output, analyze.NoPulse) > 0, "none"},
		choice{x.times(p.output, analyze.MorePulses) > 0, "more"},
		choice{x.times(p.output, analyze.PulseLength) > 0, "wrong"}))
	x.add("train", p.output, choose(x.measured(p.output, analyze.PulseCount) || x.measured(p.output, analyze.OnTime),
		choice{x.times(p.output, analyze.DoesNotFlash) > 0, "steady"},
		choice{x.times(p.output, analyze.StopsEarly, analyze.FlashesBriefly) > 0, "stops"},
		choice{x.times(p.output, analyze.FlashesOn) > 0, "goes-on"},
		choice{x.times(p.output, analyze.FewerPulses) > 0, "fewer"},
		choice{x.times(p.output, analyze.LongOff) > 0 && x.times(p.output, analyze.LongOn, analyze.ShortOn) == 0, "gaps"},
		choice{x.times(p.output, analyze.LongOn, analyze.ShortOn, analyze.LongOff, analyze.ShortOff) > 0, "times"}))
	x.add("edge", p.output, choose(x.measured(p.output, analyze.SwitchingDelay),
		choice{x.times(p.output, analyze.NoDiode) > 0, "no-diode"},
		choice{x.times(p.output, analyze.Undershoots) > 0, "undershoot"},
		choice{x.times(p.output, analyze.Overshoots) > 0, "overshoot"}))
}

// longest is how long a unit takes at most, in seconds, to switch an output that is not to wait
// (common practice, no source).
const longest = 0.6

// sinks reports whether an output that moved where it must not went to a level that is neither on
// nor off.
func (x *examiner) sinks(signal string) bool {
	return slices.ContainsFunc(x.order, func(k symptomKey) bool {
		s := x.symptoms[k]
		return k.signal == signal && k.kind == analyze.MovedUnasked && s.low > x.rail*sunkVolts && s.high < x.rail*lowestVolts
	})
}

// sunkVolts is what no output that is off leaks, in volts (common practice, no source).
const sunkVolts = 4

// lags reports whether an output that is not to wait switches later than any unit takes, where no
// limit says how late it may.
func (x *examiner) lags(o *analyze.OutputPlan) bool {
	return slices.ContainsFunc(x.figuresOf(o.Signal, analyze.SwitchingDelay), func(f *figure) bool {
		return f.values > 0 && f.limit.None() && o.At(f.Event).After == 0 && f.low > longest
	})
}

// Levels of outputs that are low when on, in volts (common practice, no source): a battery that
// is weak under the load of a relay seldom loses more than down to lowestVolts.
const (
	lowerVolts  = 10.4
	lowestVolts = 9.6
)

// onLevel is the lowest level, in volts, that an output had when on; NaN: not known.
func (x *examiner) onLevel(signal string) float64 {
	level := math.NaN()
	for _, f := range x.figuresOf(signal, analyze.HighLevel) {
		if f.values > 0 && !(f.low >= level) {
			level = f.low
		}
	}
	return level
}

// coilRises is within how many seconds a coil's current comes: samples that place an edge less well
// than that do not show the level before it (common practice, no source).
const coilRises = 1e-3

// coarse reports whether the samples of an output are too far apart to show what it does as a coil's
// current comes.
func (x *examiner) coarse(signal string) bool {
	return !slices.ContainsFunc(x.figuresOf(signal, analyze.SwitchingDelay), func(f *figure) bool { return !(f.unsure > coilRises) })
}

// against reports whether an output went off along with another one where it must go on itself.
// One that is shorted to that would be held on by its own switch.
func (x *examiner) against(signal string) bool {
	o := x.plan.Output(signal)
	return o != nil && slices.ContainsFunc(x.order, func(k symptomKey) bool {
		return k.kind == analyze.MovedTogether && k.signal == signal && o.At(k.event).Demand == analyze.High
	})
}

// ledAlong reports whether another output went along with this one, and not against what that
// one does by itself.
func (x *examiner) ledAlong(signal string) bool {
	return slices.ContainsFunc(x.order, func(k symptomKey) bool {
		return k.kind == analyze.MovedTogether && k.other == signal && !x.against(k.signal)
	})
}

// leastSag is by how many volts an output's level when on must depend on the event to count.
const leastSag = 0.15

// load is whether an output's level when on depends on the event.
func (x *examiner) load(signal string) string {
	if len(x.plan.Moves) > 0 {
		return ""
	}
	low, high := math.NaN(), math.NaN()
	for _, f := range x.figuresOf(signal, analyze.HighLevel) {
		if f.values == 0 || f.low < x.rail*onVolts {
			continue
		}
		if !(f.line.mean >= low) {
			low = f.line.mean
		}
		if !(f.line.mean <= high) {
			high = f.line.mean
		}
	}
	return choose(!math.IsNaN(low), choice{high-low > x.rail*leastSag, "sags"})
}

// Levels of outputs that are off (common practice, no source): below noVolts hardly anything
// leaks. The others are multiples of what the unit's other outputs have. A coil that is open
// lets its output rise to what leaks without a load, some three times as high; a relay stays in
// from some four times on; a joint in its wire lets it rise less.
const (
	noVolts    = 0.3
	zeroVolts  = 0.1
	usualLeak  = 0.65 // V, where no other output says what is usual
	raisedLeak = 1.25
	highLeak   = 1.6
	higherLeak = 2.55
	farLeak    = 3.45
	mostLeak   = 9 // V; what is higher is on
)

// belowZero is how far below zero, in volts, an output that is off does not read: a converter's
// offset is some millivolts.
const belowZero = 0.1

// least is the lowest level, in volts, of an output when off; NaN: not known.
func (x *examiner) least(signal string) float64 {
	level := math.NaN()
	for _, f := range x.figuresOf(signal, analyze.LowLevel) {
		if f.values > 0 && !(f.low >= level) {
			level = f.low
		}
	}
	return level
}

// leak is how many times as high as usual on this bench an output stands when off; NaN: not
// known, or it is on.
func (x *examiner) leak(p place) float64 {
	level := x.lowest(p.output)
	if !(level < x.rail*mostLeak) {
		return math.NaN()
	}
	if own := level / (x.rail * usualLeak); p.relay == "" && own > higherLeak {
		return own // what would hold a relay in is a voltage, whatever others leak
	}
	return level / x.usualLeakFor(p)
}

// usualLeakFor is the median level, in volts, of the other outputs that are off: of those that
// have relays, where there are any, for an output with one.
func (x *examiner) usualLeakFor(p place) float64 {
	var loaded, all []float64
	for _, q := range x.facts.places {
		level := x.lowest(q.output)
		if q.output == "" || q.output == p.output || !(level < x.rail*mostLeak) {
			continue
		}
		all = append(all, level)
		if q.relay != "" {
			loaded = append(loaded, level)
		}
	}
	if p.relay != "" && len(loaded) > 1 {
		all = loaded
	}
	usual := x.rail * usualLeak
	if len(all) == 0 {
		return usual
	}
	slices.Sort(all)
	// A single other one may be the odd one.
	return math.Min(math.Max(all[len(all)/2], usual*0.7), usual*2)
}

// rails are the supplies that units have, as multiples of 12 V.
var rails = []float64{0.5, 1, 2, 4}

// railOf is the unit's supply as a multiple of 12 V, by what its limits, its relays or its
// levels are nearest to.
func (x *examiner) railOf() float64 {
	volts := math.NaN()
	for _, f := range x.rows {
		if f.Quantity == analyze.HighLevel && f.limit.Lower > 0 && !(f.limit.Lower <= volts) {
			volts = f.limit.Lower
		}
	}
	for i := range x.plan.Relays {
		if v := float64(x.plan.Relays[i].MustOperate) / 0.75; math.IsNaN(volts) && v > 0 {
			volts = v
		}
	}
	for _, f := range x.rows {
		if math.IsNaN(volts) && f.Quantity == analyze.HighLevel && f.values > 0 {
			volts = f.high * 0.9
		}
	}
	nearest := 1.0
	for _, r := range rails {
		if !math.IsNaN(volts) && math.Abs(math.Log(volts/(12*r))) < math.Abs(math.Log(volts/(12*nearest))) {
			nearest = r
		}
	}
	return nearest
}

// lowest is the highest level, in volts, of an output when off, whatever the limits say; NaN: not
// known.
func (x *examiner) lowest(signal string) float64 {
	level := math.NaN()
	for _, f := range x.figuresOf(signal, analyze.LowLevel) {
		if f.values > 0 && !(f.high <= level) && x.timesAt(signal, f.Event, analyze.MovedUnasked) == 0 {
			level = f.high
		}
	}
	return level
}

// shared reports whether an output is on wherever another one must be, and the other way round.
func (x *examiner) shared(signal string) bool {
	a := x.plan.Output(signal)
	if a == nil {
		return false
	}
	for i := range x.plan.Outputs {
		if b := &x.plan.Outputs[i]; b != a && x.draws(a, b) && x.draws(b, a) {
			return true
		}
	}
	return false
}

// alikeSeconds is by how much the pulses of two outputs at one terminal differ at most.
const alikeSeconds = 2e-3

// pulsesAlong reports whether an output whose pulse is of a wrong length has that of another one, of
// which another length is demanded.
func (x *examiner) pulsesAlong(signal string) bool {
	a := x.plan.Output(signal)
	return a != nil && slices.ContainsFunc(x.order, func(k symptomKey) bool {
		if k.kind != analyze.PulseLength || k.signal != signal {
			return false
		}
		own := x.figures[tally.Key{Signal: signal, Quantity: analyze.PulseDuration, Event: k.event}]
		return own != nil && slices.ContainsFunc(x.rows, func(f *figure) bool {
			b := x.plan.Output(f.Signal)
			return f.Quantity == analyze.PulseDuration && f.Event == k.event && f.Signal != signal && f.values > 0 && b != nil &&
				math.Abs(f.low-own.low) < alikeSeconds && math.Abs(f.high-own.high) < alikeSeconds &&
				a.At(k.event).After != b.At(k.event).After
		})
	})
}

// draws reports whether an output is on, at the level of another, where only that one must be.
func (x *examiner) draws(a, b *analyze.OutputPlan) bool {
	for _, e := range x.plan.Steps {
		if b.At(e).Demand != analyze.High || a.At(e).Demand != analyze.Low {
			continue
		}
		on, level := x.figures[tally.Key{Signal: b.Signal, Quantity: analyze.HighLevel, Event: e}], x.stoodWhenOff(a.Signal, e)
		if on != nil && on.low > x.rail*onVolts && math.Abs(on.low-level) < joinedShare*on.low {
			return true
		}
	}
	return false
}

// stoodWhenOff is the level, in volts, of an output at an event where it must be off; NaN: not
// known.
func (x *examiner) stoodWhenOff(signal, event string) float64 {
	if s := x.symptoms[symptomKey{kind: analyze.DidNotMove, signal: signal, event: event}]; s != nil {
		return s.high
	}
	if f := x.figures[tally.Key{Signal: signal, Quantity: analyze.LowLevel, Event: event}]; f != nil {
		return f.low
	}
	return math.NaN()
}

// joinedShare is by which share the readings of two dividers at one terminal differ at most.
const joinedShare = 0.04

// asOther reports whether a signal is the other one of a symptom.
func (x *examiner) asOther(signal string, kinds ...analyze.Kind) bool {
	return slices.ContainsFunc(x.order, func(k symptomKey) bool { return k.other == signal && slices.Contains(kinds, k.kind) })
}

// rise is what an output does where it must go on.
func (x *examiner) rise(o *analyze.OutputPlan) string {
	events := x.demanding(o, true)
	if len(events) == 0 {
		return ""
	}
	still := x.shares(o.Signal, events, analyze.DidNotMove, analyze.MovedInstead)
	falls := x.shares(o.Signal, events, analyze.FellBack)
	long := x.long(o.Signal, events, analyze.LeftState)
	hums := x.times(o.Signal, analyze.Rippling) > 0
	known := x.measured(o.Signal, analyze.SwitchingDelay) || x.measured(o.Signal, analyze.HighLevel)
	return choose(known,
		choice{x.times(o.Signal, analyze.Inverted) > 0 && x.behind(o.Signal), "behind"},
		choice{x.times(o.Signal, analyze.Inverted, analyze.FellBack) > 0 && x.ahead(o.Signal) && some(falls, atLeast(0.5)) || x.times(o.Signal, analyze.Inverted) > 0 && x.ahead(o.Signal), "ahead"},
		choice{x.times(o.Signal, analyze.Inverted) > 0 || x.against(o.Signal), "inverted"},
		choice{x.times(o.Signal, analyze.MovedInstead) > 0, "elsewhere"},
		choice{x.times(o.Signal, analyze.PulledDown) > 0, "pulled-down"},
		choice{each(still, atLeast(always)) && x.stoodAt(o.Signal) > x.rail*onVolts, "stays-on"},
		choice{each(still, atLeast(always)), "never"},
		choice{x.oneWay(o.Signal, events, still), "one-way"},
		choice{some(still, above(0)), "sometimes"},
		choice{some(falls, above(0)) && !some(falls, atLeast(0.5)), "lapses"},
		choice{some(falls, atLeast(0.5)) || !hums && some(long, atLeast(0.5)), "falls-back"})
}

// keyPulse is for how long, in seconds, a key is held at most.
const keyPulse = 0.6

// ahead reports whether an output that seems inverted is out of its state only at the ends of
// its states, for no longer than a key is held: then its events are taken for later than they
// were. Where the rig switches the coils, no key is held.
func (x *examiner) ahead(signal string) bool {
	if x.plan.Coils {
		return false
	}
	away := math.NaN()
	for _, f := range x.figuresOf(signal, analyze.Hold) {
		if f.values > 0 && !(f.high <= away) {
			away = f.high
		}
	}
	return away < keyPulse
}

// behind reports whether an output that seems inverted did not move at first: then it does what
// it should have done in the state before.
func (x *examiner) behind(signal string) bool {
	return slices.ContainsFunc(x.order, func(k symptomKey) bool {
		s := x.symptoms[k]
		return k.signal == signal && k.kind == analyze.DidNotMove && s.n == 1 && s.first == 1 && x.Cycles > 1
	})
}

// onVolts is above what an output that is off can have, in volts.
const onVolts = 6.0

// stoodAt is the highest level, in volts, at which an output stood that did not move; NaN: it
// moved always.
func (x *examiner) stoodAt(signal string) float64 {
	level := math.NaN()
	for _, k := range x.order {
		if v := x.symptoms[k].high; k.signal == signal && k.kind == analyze.DidNotMove && !(v <= level) {
			level = v
		}
	}
	return level
}

// awayLong is for how many seconds an output is out of its state that does not only swing, as
// one that hums does.
const awayLong = 0.05

// long is at which share of its occasions a symptom came whose times were long.
func (x *examiner) long(signal string, events []string, kinds ...analyze.Kind) []float64 {
	all := x.shares(signal, events, kinds...)
	for i, e := range events {
		for _, k := range x.order {
			if k.signal == signal && k.event == e && slices.Contains(kinds, k.kind) && x.symptoms[k].high < awayLong {
				all[i] = 0
			}
		}
	}
	return all
}

// oneWay reports whether an output stands still at some of the steps in each cycle, and at the
// others never: events of one name may come several times in a cycle.
func (x *examiner) oneWay(signal string, events []string, still []float64) bool {
	if some(still, atLeast(always)) && some(still, atMost(rarely)) {
		return true
	}
	for _, e := range events {
		steps := x.occasions(e) / max(1, x.Cycles)
		n := x.timesAt(signal, e, analyze.DidNotMove)
		if x.Cycles > 1 && steps > 1 && n > 0 && n%x.Cycles == 0 && n/x.Cycles < steps {
			return true
		}
	}
	return false
}

// fall is what an output does where it must go off.
func (x *examiner) fall(o *analyze.OutputPlan) string {
	events := x.demanding(o, false)
	if len(events) == 0 {
		return ""
	}
	still := x.shares(o.Signal, events, analyze.DidNotMove, analyze.MovedInstead)
	return choose(x.measured(o.Signal, analyze.LowLevel),
		choice{each(still, atLeast(always)), "never"},
		choice{x.oneWay(o.Signal, events, still), "one-way"},
		choice{some(still, above(0)), "sometimes"})
}

// leastStep is by how many volts, at least, a level must move to count: more than noise does.
const leastStep = 0.05

// stillLevel is whether the level of an output that never goes on moves all the same.
func (x *examiner) stillLevel(o *analyze.OutputPlan, rise string) string {
	if rise != "never" {
		return ""
	}
	on, off := x.stoodAt(o.Signal), math.NaN()
	for _, f := range x.figuresOf(o.Signal, analyze.LowLevel) {
		if f.values > 0 {
			off = f.low
		}
	}
	return choose(!math.IsNaN(on) && !math.IsNaN(off),
		choice{math.Abs(on-off) > leastStep, "moves"},
		choice{math.Abs(on) < leastStep, "zero"})
}

// awayLong reports whether an output left its state for long.
func (x *examiner) awayLong(signal string) bool {
	return slices.ContainsFunc(x.order, func(k symptomKey) bool {
		return k.signal == signal && k.kind == analyze.LeftState && x.symptoms[k].high >= awayLong
	})
}

// often reports whether a symptom came at no less than half the occasions of one of its events.
func (x *examiner) often(signal string, kind analyze.Kind) bool {
	return slices.ContainsFunc(x.order, func(k symptomKey) bool {
		return k.signal == signal && k.kind == kind && 2*x.symptoms[k].n >= x.occasions(k.event)
	})
}

// ripplesOn reports whether an output ripples as a rule where it is on. One that is off has no supply
// that could hum.
func (x *examiner) ripplesOn(o *analyze.OutputPlan) bool {
	return slices.ContainsFunc(x.order, func(k symptomKey) bool {
		return k.signal == o.Signal && k.kind == analyze.Rippling && 2*x.symptoms[k].n >= x.occasions(k.event) && o.At(k.event).Demand != analyze.Low
	})
}

// steadiness is whether an output keeps its level.
func (x *examiner) steadiness(signal string) string {
	o := x.plan.Output(signal)
	return choose(o != nil && (x.measured(signal, analyze.HighLevel)) && (x.measured(signal, analyze.Hold) || x.measured(signal, analyze.Ripple)),
		choice{x.times(signal, analyze.LooseWire) > 0, "drops"},
		choice{x.often(signal, analyze.Drooping), "droop"},
		choice{o != nil && x.ripplesOn(o), "hum"},
		choice{x.times(signal, analyze.Rippling, analyze.Drooping) > 0, "odd"},
		choice{x.times(signal, analyze.LeftState) > 0 && !x.awayLong(signal), "flutters"},
		choice{x.times(signal, analyze.LeftState) > 0, "leaves"})
}

// relay derives what one relay shows.
func (x *examiner) relay(p place) {
	r := x.plan.Relay(p.relay)
	if r == nil {
		return
	}
	of := func(kinds ...analyze.Kind) int {
		return x.times(r.Signal, kinds...) + x.times(r.Make, kinds...) + x.times(r.Break, kinds...)
	}
	moved := x.measured(r.Signal, analyze.OperateTime) || x.measured(r.Signal, analyze.ReleaseTime)
	x.add("follow", p.relay, choose(moved,
		choice{of(analyze.ContactsSwap) > 0, "swapped"},
		choice{of(analyze.Chattering) > 0, "chatters"},
		choice{x.times(r.Make, analyze.UnsteadyMake) > 0 && x.times(r.Break, analyze.UnsteadyMake) > 0, "both-unsteady"},
		choice{x.times(r.Break, analyze.UnsteadyMake) > 0 && r.Make == "" && !moved, "never-closes"},
		choice{x.times(r.Break, analyze.UnsteadyMake) > 0 && r.Make == "", "break-unsteady"},
		choice{of(analyze.UnsteadyMake) > 0 && x.restless(r) && x.touches(r) > briefTouch, "comes-and-goes"},
		choice{of(analyze.UnsteadyMake) > 0 && x.restless(r), "unsteady"},
		choice{of(analyze.UnsteadyMake) > 0, "open"},
		choice{of(analyze.Welded) > 0 && (x.first(r, analyze.Welded) > x.firstCycles() || x.letGoBefore(r)), "stays-in-at-last"},
		choice{of(analyze.Welded) > 0, "stays-in"},
		choice{of(analyze.HeldIn) > 0, "held"},
		choice{of(analyze.RelayStill) > 0 && moved, "sometimes"},
		choice{of(analyze.RelayStill, analyze.CommonOpen) > 0, "still"},
		choice{of(analyze.RelayAlone) > 0, "alone"}))
	x.add("coil", p.relay, x.coil(r, p))
	x.add("onset", p.relay, x.onset(r))
	x.add("rest", p.relay, x.rest(r))
	x.add("operate", p.relay, choose(x.judged(r.Signal, analyze.OperateTime), choice{of(analyze.SlowOperate) > 0, "slow"}, choice{x.nearLimit(r.Signal, analyze.OperateTime), "rather"}))
	x.add("release", p.relay, choose(x.judged(r.Signal, analyze.ReleaseTime), choice{of(analyze.SlowRelease) > 0, "slow"}))
	x.add("bounce", p.relay, choose(x.judged(r.Make, analyze.BounceTime) || x.judged(r.Break, analyze.BounceTime), choice{of(analyze.LongBounce) > 0, "long"}))
	x.add("overlap", p.relay, choose(x.judged(r.Signal, analyze.TransferTime), choice{of(analyze.Overlap) > 0, "both"}))
	x.add("edges", p.relay, choose(moved, choice{x.merged(r), "merged"}, choice{of(analyze.EdgesLost) > 0 && x.together(r), "together"}, choice{of(analyze.EdgesLost) > 0, "lost"}, choice{of(analyze.EdgesSuspect) > 0, "doubtful"}))
	x.add("course", p.relay, x.course(r))
}

// briefTouch is for how many seconds a worn contact touches at most.
const briefTouch = 4e-3

// touches is for how many seconds at most a make contact was closed that is unsteady; NaN: not known.
func (x *examiner) touches(r *analyze.RelayPlan) float64 {
	longest := math.NaN()
	for _, k := range x.order {
		if s := x.symptoms[k]; k.signal == r.Make && k.kind == analyze.UnsteadyMake && !(s.high <= longest) {
			longest = s.high
		}
	}
	return longest
}

// ofRelay are the symptoms of a relay and its contacts, those of the kinds given; none: of all that
// fail.
func (x *examiner) ofRelay(r *analyze.RelayPlan, kinds ...analyze.Kind) []symptomKey {
	var all []symptomKey
	for _, k := range x.order {
		if k.signal != "" && (k.signal == r.Signal || k.signal == r.Make || k.signal == r.Break) &&
			(slices.Contains(kinds, k.kind) || len(kinds) == 0 && k.kind.Verdict() == analyze.Fail) {
			all = append(all, k)
		}
	}
	return all
}

// first is the first cycle with a symptom of a relay; 0: there is none.
func (x *examiner) first(r *analyze.RelayPlan, kinds ...analyze.Kind) int {
	first := 0
	for _, k := range x.ofRelay(r, kinds...) {
		if s := x.symptoms[k]; first == 0 || s.first < first {
			first = s.first
		}
	}
	return first
}

// firstCycles are those in which what is there from the beginning shows.
func (x *examiner) firstCycles() int { return max(2, x.Cycles/20) }

// fewestForOnset is with how many cycles, at least, a run shows when something began.
const fewestForOnset = 8

// letGoBefore reports whether a relay that welds has released late before: a weld that is there from
// the first closing on lets none go.
func (x *examiner) letGoBefore(r *analyze.RelayPlan) bool {
	late := x.first(r, analyze.SlowRelease)
	return late > 0 && late < x.first(r, analyze.Welded)
}

// onset is whether what is wrong with a relay was there from the first cycles on.
func (x *examiner) onset(r *analyze.RelayPlan) string {
	first := x.first(r)
	return choose(first > 0 && (x.Cycles >= fewestForOnset || first <= x.firstCycles() && x.Cycles >= 3), choice{first > x.firstCycles() && x.Cycles >= fewestForOnset, "later"})
}

// fewestFalls is how often an output must have gone off for a coil's silence to say much: samples may
// miss a swing of some milliseconds.
const fewestFalls = 4

// coil is whether the coil of a relay that does not move carries current.
func (x *examiner) coil(r *analyze.RelayPlan, p place) string {
	if x.times(r.Signal, analyze.RelayStill, analyze.CommonOpen) == 0 || p.output == "" {
		return ""
	}
	falls := 0
	if o := x.plan.Output(p.output); o != nil {
		for _, e := range x.demanding(o, false) {
			if f := x.figures[tally.Key{Signal: p.output, Quantity: analyze.SwitchingDelay, Event: e}]; f != nil {
				falls += f.values
			}
		}
		for _, f := range x.figuresOf(p.output, analyze.PulseDuration) {
			falls += f.values
		}
	}
	carries := x.times(r.Signal, analyze.CoilCarries)
	return choose(carries > 0 || falls > 1, choice{carries == 0 && falls >= fewestFalls, "silent"}, choice{carries == 0, "quiet"})
}

// undecided are the observations that say nothing where a figure of theirs is too near its limit:
// nobody knows then whether it is as it should be.
var undecided = map[string][]string{
	"on": {"on-level"}, "off": {"off-level"}, "ripple": {"steadiness"}, "delay": {"delay"}, "pulse": {"pulse"},
	"operate": {"operate"}, "release": {"release"}, "bounce": {"bounce"},
}

// unjudged takes out what is as it should be of observations that are not decided. What an output is
// too near to its limit for others may be as well, that have a little more room: a supply is that
// of all.
func (x *examiner) unjudged() {
	for _, f := range slices.Clone(x.facts.all) {
		if f.kind.name != "near" && f.kind.name != "near-time" || f.value == usual {
			continue
		}
		x.facts.all = slices.DeleteFunc(x.facts.all, func(g fact) bool {
			return (g.signal == f.signal || f.kind.name == "near") && g.value == usual && slices.Contains(undecided[f.value], g.kind.name)
		})
	}
}

// nearLimits adds which figures are too near their limits to be decided, as a rule and not once:
// then chance alone brings one there.
func (x *examiner) nearLimits() {
	of := func(signals ...string) func(quantities ...analyze.Quantity) bool {
		return func(quantities ...analyze.Quantity) bool {
			return slices.ContainsFunc(x.order, func(k symptomKey) bool {
				return k.kind == analyze.NearLimit && k.signal != "" && slices.Contains(signals, k.signal) && slices.Contains(quantities, analyze.Quantity(k.other)) &&
					(x.symptoms[k].n >= 3 || 3*x.symptoms[k].n >= x.occasions(k.event))
			})
		}
	}
	for _, p := range x.facts.places {
		if o := x.plan.Output(p.output); o != nil {
			near, at := of(p.output), of(p.output, p.relay)
			x.add("near", p.output, choose(true, choice{near(analyze.Ripple), "ripple"}, choice{near(analyze.SwitchingDelay) && x.highest(p.output, analyze.SwitchingDelay) > ratherLate, "delay"}, choice{near(analyze.PulseDuration), "pulse"},
				choice{at(analyze.LowLevel, analyze.DropOutMargin) && x.leak(p) > ratherLeak, "off"},
				choice{(at(analyze.PullInMargin) || near(analyze.HighLevel) && x.nearLower(p.output)) &&
					(x.onLevel(p.output) < x.rail*ratherLow || p.relay != "" && x.lowest(p.output) < x.rail*noVolts), "on"}))
		}
		if r := x.plan.Relay(p.relay); r != nil {
			near := of(r.Signal, r.Make, r.Break)
			x.add("near-time", p.relay, choose(true, choice{near(analyze.OperateTime) && x.odd(r, analyze.OperateTime), "operate"}, choice{near(analyze.ReleaseTime) && x.odd(r, analyze.ReleaseTime), "release"}, choice{near(analyze.BounceTime) && x.odd(r, analyze.BounceTime), "bounce"}))
		}
	}
}

// What is near its limit says something only where it is unlike what is usual as well: a limit may be
// set where units in order lie. In volts, shares of a usual leak, and seconds (common practice, no
// source).
const (
	ratherLow    = 12.1
	ratherLeak   = 1.15
	ratherLate   = 0.22
	ratherSlow   = 10e-3 // of a relay's operate and release time
	ratherBouncy = 4.5e-3
	oddShare     = 1.5  // of what the bench's other relays take
	nearShare    = 0.85 // of a limit: what is less is near it only for want of closer samples
)

// highest is the highest value of a quantity of a signal; NaN: not known.
func (x *examiner) highest(signal string, q analyze.Quantity) float64 {
	most := math.NaN()
	for _, f := range x.figuresOf(signal, q) {
		if f.values > 0 && !(f.high <= most) {
			most = f.high
		}
	}
	return most
}

// timeOf is the longest of a relay's times, in seconds; NaN: not known.
func (x *examiner) timeOf(r *analyze.RelayPlan, q analyze.Quantity) float64 {
	if q == analyze.BounceTime {
		a, b := x.highest(r.Make, q), x.highest(r.Break, q)
		if !(b <= a) {
			a = b
		}
		return a
	}
	return x.highest(r.Signal, q)
}

// reaches reports whether a relay's time is all but at its limit on the average.
func (x *examiner) reaches(r *analyze.RelayPlan, q analyze.Quantity) bool {
	return slices.ContainsFunc([]string{r.Signal, r.Make, r.Break}, func(signal string) bool {
		return slices.ContainsFunc(x.figuresOf(signal, q), func(f *figure) bool {
			return f.values > 0 && (f.line.mean > nearShare*f.limit.Upper || f.line.grows())
		})
	})
}

// odd reports whether a relay takes longer than others: of the bench, or, where there are none, than
// is usual.
func (x *examiner) odd(r *analyze.RelayPlan, q analyze.Quantity) bool {
	if !x.reaches(r, q) {
		return false
	}
	own, usual := x.timeOf(r, q), ratherSlow/oddShare
	if q == analyze.BounceTime {
		usual = ratherBouncy / oddShare
	}
	var others []float64
	for i := range x.plan.Relays {
		if o := &x.plan.Relays[i]; o.Signal != r.Signal && !math.IsNaN(x.timeOf(o, q)) {
			others = append(others, x.timeOf(o, q))
		}
	}
	if len(others) > 0 {
		slices.Sort(others)
		usual = others[len(others)/2]
	}
	return own > oddShare*usual
}

// nearLower reports whether an output's level when on is nearer to its lower limit than to its upper.
func (x *examiner) nearLower(signal string) bool {
	return slices.ContainsFunc(x.figuresOf(signal, analyze.HighLevel), func(f *figure) bool {
		return f.values > 0 && f.limit.Lower > 0 && !(f.low-f.limit.Lower > f.limit.Upper-f.high)
	})
}

// restless reports whether the make contact opens again and again.
func (x *examiner) restless(r *analyze.RelayPlan) bool {
	return x.touches(r) > 0 || slices.ContainsFunc(x.figuresOf(r.Make, analyze.BounceTime), func(f *figure) bool {
		return f.doubts[analyze.StillBouncing]+f.doubts[analyze.ChangedAgain] > 0
	})
}

// nearLimit reports whether a quantity is over half its upper limit on the average.
func (x *examiner) nearLimit(signal string, q analyze.Quantity) bool {
	return slices.ContainsFunc(x.figuresOf(signal, q), func(f *figure) bool {
		return f.values > 0 && f.line.mean > f.limit.Upper/2
	})
}

// together reports whether the times of a relay rest on lost edges wherever the bounce of the
// contact that closes does: edges that are taken for one have the last one's stamp, so that the
// first closing is late. Edges that are dropped anywhere leave some of the times alone.
func (x *examiner) together(r *analyze.RelayPlan) bool {
	times, bounces := 0, 0
	for _, f := range x.rows {
		contact := r.Make
		switch {
		case f.Signal != r.Signal:
			continue
		case f.Quantity == analyze.ReleaseTime:
			contact = r.Break
		case f.Quantity != analyze.OperateTime:
			continue
		}
		b := x.figures[tally.Key{Signal: contact, Quantity: analyze.BounceTime, Event: f.Event}]
		if b == nil {
			continue
		}
		times += f.doubts[analyze.EdgesMissing]
		bounces += b.doubts[analyze.EdgesMissing]
	}
	return bounces > 2 && float64(times) > 0.9*float64(bounces)
}

// merged reports whether figures of a relay's contacts may hide edges that came together.
func (x *examiner) merged(r *analyze.RelayPlan) bool {
	return slices.ContainsFunc(x.rows, func(f *figure) bool {
		return (f.Signal == r.Make || f.Signal == r.Break) && f.doubts[analyze.EdgesMayHide] > 0
	})
}

// rest is whether one of both contacts is closed at rest.
func (x *examiner) rest(r *analyze.RelayPlan) string {
	if r.Make == "" || r.Break == "" {
		return ""
	}
	did := func(q analyze.Quantity, codes ...analyze.DoubtCode) (n int) {
		for _, f := range x.figuresOf(r.Signal, q) {
			for _, c := range codes {
				n += f.doubts[c]
			}
		}
		return n
	}
	opens := did(analyze.OperateTime, analyze.DidNotClose)
	closes := did(analyze.ReleaseTime, analyze.DidNotClose)
	known := x.measured(r.Signal, analyze.OperateTime) || x.measured(r.Signal, analyze.ReleaseTime) || did(analyze.ReleaseTime, analyze.AlreadyClosed) > 0
	return choose(known, choice{x.times(r.Signal, analyze.CommonOpen) > 0 || opens > 0 && closes > 0 && !known, "neither"})
}

// course is which of a relay's times grows over the cycles.
func (x *examiner) course(r *analyze.RelayPlan) string {
	grows := func(signal string, q analyze.Quantity) (grows, known bool) {
		for _, f := range x.figuresOf(signal, q) {
			known = known || f.line.n >= fewest || !math.IsNaN(f.drift)
			grows = grows || f.line.grows() || f.drifts && f.drift > 0
		}
		return grows, known
	}
	makes, known := grows(r.Make, analyze.BounceTime)
	breaks, _ := grows(r.Break, analyze.BounceTime)
	operate, _ := grows(r.Signal, analyze.OperateTime)
	release, _ := grows(r.Signal, analyze.ReleaseTime)
	return choose(known, choice{operate, "operate"}, choice{release, "release"}, choice{makes || breaks, "bounce"})
}

// run derives what the whole run shows.
func (x *examiner) run() {
	c := x.Counts
	judged := float64(len(x.plan.Steps) * max(1, x.Cycles))
	x.add("lost-edges", "", choose(len(x.plan.Relays) > 0, choice{float64(c.LostEdges) > 0.5*judged, "many"}, choice{c.LostEdges > 0, "few"}))
	x.add("ready-edges", "", choose(true, choice{c.LostReadyEdges > 0, "lost"}))
	x.add("bus", "", choose(true, choice{len(x.Converters) > 1 && x.disturbed() == 1, "one"}, choice{float64(c.BusErrors) > float64(max(1, x.Cycles)), "errors"}, choice{c.BusErrors > 0, "few"}))
	x.add("resets", "", choose(true, choice{c.ChipResets > 0, "some"}))
	x.add("supply", "", choose(len(x.plan.Moves) > 0, choice{x.times("supply", analyze.SupplyLost) > 0, "lost"}))
	x.add("zero", "", choose(true, choice{x.seen(analyze.ZeroNotJoined), "floats"}))
	x.add("reference", "", choose(!x.Unreferenced, choice{x.seen(analyze.RefInverted), "inverted"}))
	x.add("others", "", choose(true, choice{!x.plan.OthersUnmoved, "unwatched"}))
	end := endOf(x.Ending.Code)
	x.add("end", "", choose(true, choice{!x.Complete && end != "", end}, choice{!x.Complete, "early"}))
}
