package cause

import (
	"math"
	"slices"

	"makebreak/analyze"
)

// fact is what an observation of one place shows. What a run does not show has no fact: it is
// unknown, not absent.
type fact struct {
	kind   *kind
	signal string // output or relay; empty: the whole run
	value  string
}

// place is an output with the relay behind it, where there is one.
type place struct{ output, relay string }

// facts are all facts of a run.
type facts struct {
	places []place
	all    []fact
}

// unusual reports whether any fact is not as it should be.
func (f *facts) unusual() bool {
	return slices.ContainsFunc(f.all, func(x fact) bool { return x.value != usual && x.kind.name != "end" })
}

// examiner derives facts from evidence.
type examiner struct {
	*Evidence
	facts facts
}

// factsOf derives the facts.
func factsOf(e *Evidence) *facts {
	x := &examiner{Evidence: e}
	x.findPlaces()
	for _, p := range x.facts.places {
		if p.output != "" {
			x.output(p)
		}
		if p.relay != "" {
			x.relay(p)
		}
	}
	x.run()
	x.mask()
	return &x.facts
}

// masks are facts that leave nothing to say of others of the same place: those follow from
// them. So they are not counted a second time.
var masks = []struct {
	name   string
	values []string
	hidden []string
}{
	{"steadiness", []string{"drops"}, []string{"rise", "fall", "on-level", "delay", "pulse", "edge", "follow", "operate", "release", "bounce", "overlap", "course"}},
	{"follow", []string{"chatters", "unsteady", "swapped", "stays-in"}, []string{"operate", "bounce", "overlap"}},
	{"rise", []string{"falls-back"}, []string{"steadiness"}},
	{"stray", []string{"joined"}, []string{"off-level", "on-level"}},
	{"company", []string{"joined"}, []string{"off-level", "on-level"}},
}

// mask takes out the unusual facts that follow from others.
func (x *examiner) mask() {
	place := func(signal string) int {
		return slices.IndexFunc(x.facts.places, func(p place) bool { return p.output == signal || p.relay == signal })
	}
	var left []fact
	for _, f := range x.facts.all {
		masked := false
		for _, m := range masks {
			if f.value == usual || !slices.Contains(m.hidden, f.kind.name) {
				continue
			}
			masked = masked || slices.ContainsFunc(x.facts.all, func(g fact) bool {
				return g.kind.name == m.name && slices.Contains(m.values, g.value) && place(g.signal) == place(f.signal)
			})
		}
		if !masked {
			left = append(left, f)
		}
	}
	x.facts.all = left
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
		add(place{o.Signal, o.Relay})
	}
	for i := range x.plan.Relays {
		add(place{"", x.plan.Relays[i].Signal})
	}
	for _, f := range x.rows {
		if d, known := f.Quantity.Definition(); known && d.Of == analyze.OfOutput {
			add(place{f.Signal, ""})
		}
	}
	for _, k := range x.order { // outputs that have no figures, as of a run that ended early
		if k.kind == analyze.MovedUnasked || k.kind == analyze.MovedTogether {
			add(place{k.signal, ""})
		}
	}
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
		choice{x.times(p.output, analyze.MovedTogether) > 0, "joined"},
		choice{x.asOther(p.output, analyze.MovedInstead), "takes-over"},
		choice{x.times(p.output, analyze.MovedUnasked) > 0, "moves"}))
	x.add("company", p.output, choose(true, choice{x.asOther(p.output, analyze.MovedTogether), "joined"}))
	x.add("steadiness", p.output, x.steadiness(p.output))
	if o == nil {
		return
	}
	rise := x.rise(o)
	x.add("rise", p.output, rise)
	x.add("fall", p.output, x.fall(o))
	x.add("still-level", p.output, x.stillLevel(o, rise))
	goes := rise != "never" && rise != ""
	x.add("on-level", p.output, choose(goes && x.measured(p.output, analyze.HighLevel),
		choice{x.times(p.output, analyze.Reversed) > 0, "negative"},
		choice{x.times(p.output, analyze.LowWhenOn) > 0 || goes && x.times(p.relay, analyze.WeakPullIn) > 0, "low"},
		choice{x.times(p.output, analyze.HighWhenOn) > 0, "high"}))
	x.add("off-level", p.output, choose(x.measured(p.output, analyze.LowLevel),
		choice{x.off(p.output) > dropOutVolts, "far"},
		choice{x.times(p.output, analyze.HighWhenOff) > 0 || p.relay != "" && x.times(p.relay, analyze.OffMayHold, analyze.HeldIn) > 0, "high"}))
	x.add("delay", p.output, choose(x.measured(p.output, analyze.SwitchingDelay),
		choice{x.times(p.output, analyze.SlowSwitching) > 0, "late"},
		choice{x.times(p.output, analyze.EarlySwitching) > 0, "early"}))
	x.add("pulse", p.output, choose(x.measured(p.output, analyze.PulseDuration),
		choice{x.times(p.output, analyze.NoPulse) > 0, "none"},
		choice{x.times(p.output, analyze.MorePulses) > 0, "more"},
		choice{x.times(p.output, analyze.PulseLength) > 0, "wrong"}))
	x.add("edge", p.output, choose(x.measured(p.output, analyze.SwitchingDelay),
		choice{x.times(p.output, analyze.Undershoots) > 0, "undershoot"},
		choice{x.times(p.output, analyze.Overshoots) > 0, "overshoot"}))
}

// dropOutVolts is above what a relay of 12 V drops out at, in volts (common practice, no source).
const dropOutVolts = 2.3

// off is the highest level, in volts, that an output had when off; NaN: not known. One that
// stays on has none.
func (x *examiner) off(signal string) float64 {
	level := math.NaN()
	for _, f := range x.figuresOf(signal, analyze.LowLevel) {
		if f.fails > 0 && !(f.high <= level) && f.high < onVolts {
			level = f.high
		}
	}
	return level
}

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
	known := x.measured(o.Signal, analyze.SwitchingDelay) || x.measured(o.Signal, analyze.HighLevel)
	return choose(known,
		choice{x.times(o.Signal, analyze.Inverted) > 0, "inverted"},
		choice{x.times(o.Signal, analyze.MovedInstead) > 0, "elsewhere"},
		choice{each(still, atLeast(always)) && x.stoodAt(o.Signal) > onVolts, "stays-on"},
		choice{each(still, atLeast(always)), "never"},
		choice{some(still, atLeast(always)) && some(still, atMost(rarely)), "one-way"},
		choice{some(still, above(0)), "sometimes"},
		choice{some(falls, atLeast(0.5)) || some(long, atLeast(0.5)), "falls-back"})
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

// fall is what an output does where it must go off.
func (x *examiner) fall(o *analyze.OutputPlan) string {
	events := x.demanding(o, false)
	if len(events) == 0 {
		return ""
	}
	still := x.shares(o.Signal, events, analyze.DidNotMove, analyze.MovedInstead)
	return choose(x.measured(o.Signal, analyze.LowLevel),
		choice{each(still, atLeast(always)), "never"},
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

// steadiness is whether an output keeps its level.
func (x *examiner) steadiness(signal string) string {
	o := x.plan.Output(signal)
	return choose(o != nil && (x.measured(signal, analyze.HighLevel)) && (x.measured(signal, analyze.Hold) || x.measured(signal, analyze.Ripple)),
		choice{x.times(signal, analyze.LooseWire) > 0, "drops"},
		choice{x.times(signal, analyze.Drooping) > 0, "droop"},
		choice{x.times(signal, analyze.Rippling) > 0, "hum"},
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
		choice{of(analyze.UnsteadyMake) > 0, "unsteady"},
		choice{of(analyze.Welded) > 0, "stays-in"},
		choice{of(analyze.HeldIn) > 0, "held"},
		choice{of(analyze.RelayStill) > 0 && moved, "sometimes"},
		choice{of(analyze.RelayStill) > 0, "still"},
		choice{of(analyze.RelayAlone) > 0, "alone"}))
	x.add("rest", p.relay, x.rest(r))
	x.add("operate", p.relay, choose(x.judged(r.Signal, analyze.OperateTime), choice{of(analyze.SlowOperate) > 0, "slow"}))
	x.add("release", p.relay, choose(x.judged(r.Signal, analyze.ReleaseTime), choice{of(analyze.SlowRelease) > 0, "slow"}))
	x.add("bounce", p.relay, choose(x.judged(r.Make, analyze.BounceTime) || x.judged(r.Break, analyze.BounceTime), choice{of(analyze.LongBounce) > 0, "long"}))
	x.add("overlap", p.relay, choose(x.judged(r.Signal, analyze.TransferTime), choice{of(analyze.Overlap) > 0, "both"}))
	x.add("edges", p.relay, choose(moved, choice{x.merged(r), "merged"}, choice{of(analyze.EdgesLost) > 0, "lost"}, choice{of(analyze.EdgesSuspect) > 0, "doubtful"}))
	x.add("course", p.relay, x.course(r))
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
	return choose(known, choice{opens > 0 && closes > 0 && !known, "neither"})
}

// grown is how many standard deviations from zero the slope of a time is that grows.
const grown = 5

// course is which of a relay's times grows over the cycles.
func (x *examiner) course(r *analyze.RelayPlan) string {
	grows := func(signal string, q analyze.Quantity) (grows, known bool) {
		for _, f := range x.figuresOf(signal, q) {
			_, deviate := f.line.slope()
			known = known || f.line.n >= 6 || !math.IsNaN(f.drift)
			grows = grows || deviate > grown || f.drifts && f.drift > 0
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
	x.add("bus", "", choose(true, choice{float64(c.BusErrors) > float64(max(1, x.Cycles)), "errors"}, choice{c.BusErrors > 0, "few"}))
	x.add("resets", "", choose(true, choice{c.ChipResets > 0, "some"}))
	x.add("supply", "", choose(len(x.plan.Moves) > 0, choice{x.times("supply", analyze.SupplyLost) > 0, "lost"}))
	x.add("end", "", choose(true, choice{!x.Complete, "early"}))
}
