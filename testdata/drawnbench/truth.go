package drawnbench

import (
	"fmt"
	"math"
	"slices"
	"time"

	"makebreak/analyze"
	"makebreak/rig/capture"
	"makebreak/rig/sim"
	"makebreak/sequences"
)

// Broken lists what the simulator knows to break an expectation or a limit of the sequence, at
// most one line for each kind of it. It names only what is beyond doubt: levels, times and
// states by their definitions, whatever was measured. A sequence that moves the supply has
// expectations that the simulator has no truth of; its relays' times are looked at all the same.
func (b *Bench) Broken(r *Run) []string {
	x := &truth{b: b, r: r, plan: &b.Seq.Plan, high: map[string]bool{}, known: map[string]bool{}, closed: map[string]bool{}, said: map[string]bool{}}
	x.states()
	for i := range r.Events {
		x.event(i)
	}
	return x.broken
}

// truth goes through what really happened.
type truth struct {
	b    *Bench
	r    *Run
	plan *analyze.Plan

	high, known map[string]bool // outputs, before the event
	closed      map[string]bool // contacts, before the event
	seen        map[string]bool // contacts that changed at all
	said        map[string]bool
	broken      []string
}

func (x *truth) add(what, format string, args ...any) {
	if !x.said[what] {
		x.said[what] = true
		x.broken = append(x.broken, what+": "+fmt.Sprintf(format, args...))
	}
}

// states finds the outputs' and contacts' states at the start, where their first change shows it.
func (x *truth) states() {
	x.seen = map[string]bool{}
	for _, e := range x.r.Events {
		for _, c := range e.Crossings {
			if !x.known[c.Output] {
				x.known[c.Output], x.high[c.Output] = true, !c.High
			}
		}
		for _, c := range e.Edges {
			if !x.seen[c.Contact] {
				x.seen[c.Contact], x.closed[c.Contact] = true, !c.Closed
			}
		}
	}
}

// event looks at one event and the state after it.
func (x *truth) event(i int) {
	e := &x.r.Events[i]
	act := x.act(i)
	name, end := act.Event, e.At.Add(act.Hold)
	if i+1 < len(x.r.Events) {
		end = x.r.Events[i+1].At
	}
	for j := range x.r.Truth.Outputs {
		out := &x.r.Truth.Outputs[j]
		plan := x.plan.Output(out.Name)
		crossings := crossingsOf(e, out.Name)
		switch {
		case plan != nil:
			x.output(e, name, plan, out, crossings, end)
		case x.plan.OthersUnmoved && len(crossings) > 0:
			x.add(out.Name+" moved", "at %s", name)
		}
		for _, c := range crossings {
			x.high[out.Name] = c.High
		}
	}
	for j := range x.plan.Relays {
		x.relay(e, name, &x.plan.Relays[j])
	}
	for _, c := range e.Edges {
		x.closed[c.Contact] = c.Closed
	}
}

// act is the step of the event.
func (x *truth) act(i int) sequences.Step {
	var acts []sequences.Step
	for _, s := range x.b.Seq.Steps {
		if s.Supply == nil {
			acts = append(acts, s)
		}
	}
	return acts[i%len(acts)]
}

func crossingsOf(e *sim.TruthEvent, output string) []sim.Crossing {
	var all []sim.Crossing
	for _, c := range e.Crossings {
		if c.Output == output {
			all = append(all, c)
		}
	}
	return all
}

// output compares what an output did at an event with what it had to do.
func (x *truth) output(e *sim.TruthEvent, name string, plan *analyze.OutputPlan, out *sim.TruthOutput, crossings []sim.Crossing, end capture.Instant) {
	want := plan.At(name)
	high := x.high[plan.Signal]
	if len(crossings) > 0 {
		high = crossings[len(crossings)-1].High
	}
	state, named := want.Demand.State()
	since := func(k int) float64 { return crossings[k].At.Sub(e.At).Seconds() }
	switch {
	case want.Demand == analyze.Unmoved && len(crossings) > 0:
		x.add(plan.Signal+" moved", "at %s", name)
	case want.Demand == analyze.Pulse:
		if len(crossings) != 2 || !crossings[0].High {
			x.add(plan.Signal+" did not pulse", "at %s", name)
		} else if s := want.Span(); outside(since(1)-since(0), s) {
			x.add(plan.Signal+" pulsed for another time", "%g s at %s", since(1)-since(0), name)
		}
	case named && x.known[plan.Signal] && high != state:
		x.add(plan.Signal+" ended in the wrong state", "at %s", name)
	case named && !x.known[plan.Signal] && x.bothDemanded(plan):
		x.add(plan.Signal+" never moved", "at %s", name)
	case named && len(crossings) > 1:
		x.add(plan.Signal+" left its state", "at %s", name)
	case named && len(crossings) == 1:
		limit := plan.Limits.Of(analyze.SwitchingDelay)
		if want.After > 0 {
			limit = want.Span()
		}
		if outside(since(0), limit) {
			x.add(plan.Signal+" was late or early", "%g s at %s", since(0), name)
		}
	}
	if named && want.Demand != analyze.Pulse && high == state && x.known[plan.Signal] && len(x.plan.Moves) == 0 {
		x.level(plan, out, high)
		if len(crossings) == 1 {
			x.ripple(plan, high, end.Sub(crossings[0].At))
		}
	}
	x.wire(e, name, plan, high, crossings, end)
}

// bothDemanded reports whether the output has to be in either state at some event.
func (x *truth) bothDemanded(plan *analyze.OutputPlan) bool {
	var up, down bool
	for _, want := range plan.Expect {
		if state, named := want.Demand.State(); named {
			up, down = up || state, down || !state
		}
	}
	return up && down
}

// level compares an output's settled level with its limits, unless it hangs on what else is on:
// the simulator tells of levels as they are at the end.
func (x *truth) level(plan *analyze.OutputPlan, out *sim.TruthOutput, high bool) {
	if slices.ContainsFunc(x.r.Faults, func(f sim.Fault) bool { return f.Name == "weak-battery" || f.Name == "joined-outputs" }) {
		return
	}
	q, volts := analyze.LowLevel, out.Low
	if high {
		q, volts = analyze.HighLevel, out.High
	}
	if outside(volts, plan.Limits.Of(q)) {
		x.add(plan.Signal+" "+string(q), "%g V", volts)
	}
	r := x.plan.Relay(plan.Relay)
	if r == nil {
		return
	}
	if high && outside(volts-float64(r.MustOperate), r.Limits.Of(analyze.PullInMargin)) {
		x.add(r.Signal+" pull-in margin", "%g V", volts-float64(r.MustOperate))
	}
	if !high && outside(float64(r.MustRelease)-volts, r.Limits.Of(analyze.DropOutMargin)) {
		x.add(r.Signal+" drop-out margin", "%g V", float64(r.MustRelease)-volts)
	}
}

// ripple compares an output's hum and droop while it is on with its limit of ripple, where
// conversions are short against the hum.
func (x *truth) ripple(plan *analyze.OutputPlan, high bool, lasts time.Duration) {
	const clearly = 1.05
	peaks := 0.0
	for _, f := range x.r.Faults {
		switch f.Name {
		case "hum":
			peaks += f.Value
		case "droop":
			peaks += f.Value * (lasts.Seconds() - 0.6)
		}
	}
	limit := plan.Limits.Of(analyze.Ripple)
	if high && x.b.layout.interval(x.b.output(plan.Signal)) < 0.006 && peaks > clearly*limit.Upper {
		x.add(plan.Signal+" ripples", "%g V", peaks)
	}
}

// wire looks for a sense wire that was off for long while the output, settled, was on.
func (x *truth) wire(e *sim.TruthEvent, name string, plan *analyze.OutputPlan, high bool, crossings []sim.Crossing, end capture.Instant) {
	if _, named := plan.At(name).Demand.State(); !named || !high || plan.At(name).Demand == analyze.Pulse {
		return
	}
	from := e.At
	if len(crossings) > 0 {
		from = crossings[len(crossings)-1].At
	}
	from = from.Add(300 * time.Millisecond)
	interval := x.b.layout.interval(x.b.output(plan.Signal))
	for _, w := range e.WireOff {
		to := w.To
		if to == 0 {
			to = end
		}
		if w.Output == plan.Signal && w.From > from && w.From.Add(time.Duration(3e9*interval)) < min(to, end) {
			x.add(plan.Signal+"'s wire was off", "at %s", name)
		}
	}
}

// settled is when contacts have come to rest after an output's crossing.
const settled = 150 * time.Millisecond

// relay compares what a relay's contacts did at an event with what they had to do.
func (x *truth) relay(e *sim.TruthEvent, name string, plan *analyze.RelayPlan) {
	var out *analyze.OutputPlan
	for i := range x.plan.Outputs {
		if x.plan.Outputs[i].Relay == plan.Signal {
			out = &x.plan.Outputs[i]
		}
	}
	if out == nil {
		return
	}
	crossings := crossingsOf(e, out.Signal)
	x.change(e, name, plan)
	if out.At(name).Demand != analyze.High && out.At(name).Demand != analyze.Low || len(crossings) > 1 {
		return
	}
	high, from := x.high[out.Signal], e.At
	if len(crossings) == 1 {
		high, from = crossings[0].High, crossings[0].At
	}
	closed := map[string]bool{plan.Make: x.closed[plan.Make], plan.Break: x.closed[plan.Break]}
	late := map[string]int{}
	for _, c := range e.Edges {
		closed[c.Contact] = c.Closed
		if c.At > from.Add(settled) {
			late[c.Contact]++
		}
	}
	for contact, want := range map[string]bool{plan.Make: high, plan.Break: !high} {
		switch {
		case contact == "":
		case late[contact] > 0:
			x.add(contact+" changed long after", "%d times at %s", late[contact], name)
		case x.known[out.Signal] && (!x.seen[contact] || closed[contact] != want):
			x.add(contact+" is in the wrong state", "at %s", name)
		}
	}
}

// change compares the times of a relay's travels with their limits.
func (x *truth) change(e *sim.TruthEvent, name string, plan *analyze.RelayPlan) {
	for _, c := range e.Changes {
		if c.Relay != plan.Signal {
			continue
		}
		q, contact := analyze.ReleaseTime, plan.Break
		if c.In {
			q, contact = analyze.OperateTime, plan.Make
		}
		if contact != "" && c.Closing.Contact == contact && c.Crossed != 0 && outside(c.Time.Seconds(), plan.Limits.Of(q)) {
			x.add(plan.Signal+" "+string(q), "%v at %s", c.Time, name)
		}
		for _, v := range []sim.Bounce{c.Opening, c.Closing} {
			if v.Contact != "" && outside(v.Time.Seconds(), plan.Limits.Of(analyze.BounceTime)) {
				x.add(v.Contact+" bounced", "%v at %s", v.Time, name)
			}
		}
	}
}

func outside(v float64, l analyze.Limit) bool {
	return v < l.Lower || v > l.Upper && !math.IsNaN(l.Upper)
}
