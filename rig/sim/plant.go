package sim

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"makebreak/rig/capture"
	"makebreak/rig/problem"
	"makebreak/rig/words"
)

// plant puts the faults into the bench, before anything moves. A fault that the bench
// cannot have is bad usage.
func (w *World) plant(all []Fault) error {
	for _, f := range all {
		if err := w.plantOne(f); err != nil {
			return problem.Of(problem.Usage, err)
		}
	}
	return nil
}

func (w *World) plantOne(f Fault) error {
	p := lookUp(f.Name)
	if p == nil {
		return unknownFault(f.Name)
	}
	if f.Value == 0 {
		f.Value = p.preset
	}
	if err := p.kind.check(p.name, f.Value, p.most); err != nil {
		return err
	}
	if p.plant == nil {
		return nil // the chips were made with it
	}
	victim, err := w.victim(p, f.Place)
	if err == nil {
		err = p.plant(w, victim, f)
	}
	if err != nil {
		return fmt.Errorf("fault %s: %w", f.Name, err)
	}
	return nil
}

// victim returns the output that a fault is about, or behind which its relay is.
func (w *World) victim(p *plantable, place string) (*output, error) {
	switch {
	case len(w.outputs) == 0:
		return nil, errors.New("the rig has no outputs")
	case place == "":
		return w.programmed(), nil
	case p.place == AtRelay:
		return w.outputOfRelay(place)
	}
	o, err := w.outputNamed(place)
	if err == nil && p.programmed && !o.programmed && !w.driven(o) {
		return nil, w.notProgrammed(o)
	}
	return o, err
}

// outputOfRelay returns the output that has the relay.
func (w *World) outputOfRelay(name string) (*output, error) {
	for _, k := range w.relays {
		if k.name == name {
			return k.out, nil
		}
	}
	return nil, w.noRelay(name)
}

// noRelay says which relays the bench has in place of the one named.
func (w *World) noRelay(name string) error {
	if len(w.relays) == 0 {
		return errNoRelay
	}
	return fmt.Errorf("the bench has no relay %q: %s", name, words.UseOneOf(name, words.Texts(w.relays, func(k *relay) string { return k.name })))
}

var errNoRelay = errors.New("there is no relay on the bench")

// notProgrammed says which outputs the panel switches, for a fault of its programming.
func (w *World) notProgrammed(o *output) error {
	var names []string
	for _, x := range w.outputs {
		if x.programmed {
			names = append(names, x.name)
		}
	}
	if names == nil {
		return fmt.Errorf("%s is not switched by the panel, and no other output is", o.name)
	}
	return fmt.Errorf("%s is not switched by the panel: %s", o.name, words.UseOneOf(o.name, names))
}

// programmed returns the output that faults are about: the first one programmed,
// else the first one that a drive switches, else the first one of all.
func (w *World) programmed() *output {
	if w.firstRule != nil {
		return w.firstRule
	}
	for _, d := range w.drives {
		if d.coil != nil {
			return d.coil
		}
	}
	if len(w.outputs) > 0 {
		return w.outputs[0]
	}
	return nil
}

func nanoseconds(seconds float64) int64 { return int64(math.Round(seconds * 1e9)) }

// outputNamed returns the output named.
func (w *World) outputNamed(name string) (*output, error) {
	if o := w.output(name); o != nil {
		return o, nil
	}
	return nil, fmt.Errorf("the rig has no output %q: %s", name, words.UseOneOf(name, words.Texts(w.outputs, func(o *output) string { return o.name })))
}

// plantAddress moves what the panel does with the victim to another output.
func plantAddress(w *World, victim *output, f Fault) error {
	if len(w.outputs) < 2 {
		return errors.New("the rig has one output only")
	}
	other, err := w.other(victim, f.Output)
	if err != nil {
		return err
	}
	if w.driven(victim) {
		return fmt.Errorf("%s is switched by a drive and not by the panel", victim.name)
	}
	for _, rules := range w.panel.rules {
		for i := range rules {
			if rules[i].out == victim {
				rules[i].out = other
			}
		}
	}
	if victim.high {
		other.high, victim.high = true, false
	}
	return nil
}

// other returns the output that is named beside the victim, or the next one.
func (w *World) other(victim *output, name string) (*output, error) {
	if name == "" {
		return w.outputs[(int(victim.index)+1)%len(w.outputs)], nil
	}
	o, err := w.outputNamed(name)
	if err == nil && o == victim {
		return nil, fmt.Errorf("%s is the output that has the fault; name another", o.name)
	}
	return o, err
}

func plantStuck(high bool) func(*World, *output, Fault) error {
	return func(w *World, o *output, f Fault) (err error) {
		if f.Output != "" {
			if o, err = w.outputNamed(f.Output); err != nil {
				return err
			}
		}
		// Inverting must not turn the state at the start.
		o.stuck, o.high, o.inverted = true, high, false
		return nil
	}
}

func plantInverted(_ *World, victim *output, _ Fault) error {
	victim.inverted = !victim.stuck
	return nil
}

func plantDelay(w *World, _ *output, f Fault) error {
	w.panel.delay += f.Value * 1e9
	return nil
}

func plantMissed(_ *World, victim *output, f Fault) error {
	victim.miss = uint64(f.Value)
	return nil
}

func plantEarlyFall(_ *World, victim *output, f Fault) error {
	victim.falls = nanoseconds(f.Value)
	return nil
}

func plantSupply(w *World, _ *output, f Fault) error {
	for _, o := range w.outputs {
		o.on.volts = f.Value
	}
	return nil
}

func plantHum(w *World, _ *output, f Fault) error {
	for _, o := range w.outputs {
		o.hum = f.Value / 2
	}
	return nil
}

func plantDroop(w *World, _ *output, f Fault) error {
	for _, o := range w.outputs {
		o.droop = f.Value * 1e-9
	}
	return nil
}

func plantLow(_ *World, victim *output, f Fault) error {
	victim.off.volts = f.Value
	return nil
}

func plantLoose(w *World, victim *output, _ Fault) error {
	w.plan(happening{at: w.now + w.wire.between(shortestGap, longestGap), kind: wireChanges, index: victim.index, flag: true})
	return nil
}

// onRelay plants a fault in the relay behind the victim, or in the first relay
// where there is none behind it.
func onRelay(do func(k *relay, value float64)) func(*World, *output, Fault) error {
	return func(w *World, victim *output, f Fault) error {
		k := victim.relay
		if k == nil && len(w.relays) > 0 {
			k = w.relays[0]
		}
		if k == nil {
			return errNoRelay
		}
		do(k, f.Value)
		return nil
	}
}

func plantSwapped(w *World, victim *output, f Fault) error {
	return onRelay(func(k *relay, _ float64) { k.makes, k.breaks = k.breaks, k.makes })(w, victim, f)
}

// perThousand is what the values of faults that get worse are given for.
const perThousand = 1000

// onWear plants a fault that gets worse in a relay, and gives it draws of its own.
func onWear(do func(k *relay, value float64)) func(*World, *output, Fault) error {
	return func(w *World, victim *output, f Fault) error {
		return onRelay(func(k *relay, v float64) {
			if k.worn.drawn.Rand == nil {
				k.worn.drawn = w.opts.noise("wear "+k.name, k.draw.exact)
			}
			do(k, v)
		})(w, victim, f)
	}
}

// sever opens a contact's circuit.
func (c *contact) sever() {
	if c != nil {
		c.severed = true
	}
}

func plantFilm(w *World, victim *output, f Fault) error {
	var c *contact
	err := onRelay(func(k *relay, _ float64) { c = k.makes })(w, victim, f)
	if err == nil && c == nil {
		err = errors.New("the relay's make contact is not wired")
	}
	if err == nil {
		c.film, c.filmed = f.Value, w.opts.noise("film "+c.name, false)
	}
	return err
}

// plantOneArming takes from the victim's programming all events that bring it out of its state
// at rest, but one.
func plantOneArming(w *World, victim *output, f Fault) error {
	ways := w.panel.ways(victim)
	if len(ways) == 0 {
		return fmt.Errorf("%s is not switched by the panel; the sequence armed-high has two ways of arming", victim.name)
	}
	if len(ways) < 2 {
		return fmt.Errorf("%s is switched by %s only; the sequence armed-high has two ways of arming", victim.name, words.List(ways))
	}
	only := ways[0]
	if f.Event != "" {
		only = f.Event
	}
	if !slices.Contains(ways, only) {
		return fmt.Errorf("%s does not follow the event %q: %s", victim.name, only, words.UseOneOf(only, ways))
	}
	for e, rules := range w.panel.rules {
		if slices.Contains(ways, w.panel.events[e]) && w.panel.events[e] != only {
			w.panel.rules[e] = slices.DeleteFunc(rules, func(r order) bool { return r.out == victim })
		}
	}
	return nil
}

// ways are the events that bring an output out of its state at rest, as it is at the start.
func (p *panel) ways(o *output) (events []string) {
	for e, rules := range p.rules {
		for _, r := range rules {
			if r.out == o && (r.do == GoLow) == o.high {
				events = append(events, p.events[e])
			}
		}
	}
	return events
}

func plantPulse(w *World, victim *output, f Fault) error {
	pulses := 0
	for _, rules := range w.panel.rules {
		for i := range rules {
			if rules[i].out == victim && (rules[i].do == PulseHigh || rules[i].do == Train) {
				rules[i].lasts = nanoseconds(f.Value)
				rules[i].train.on = rules[i].lasts
				pulses++
			}
		}
	}
	if pulses == 0 {
		return fmt.Errorf("%s is not programmed as a pulse; the sequence armed-pulse has one", victim.name)
	}
	return nil
}

func plantReferences(w *World, _ *output, _ Fault) error {
	if len(w.references) == 0 {
		return errors.New("the rig has no reference line")
	}
	for _, r := range w.references {
		r.inverted = true
	}
	return nil
}

// onCoil plants a fault in the coil of a relay.
func onCoil(do func(k *coil, value float64)) func(*World, *output, Fault) error {
	return onRelay(func(k *relay, v float64) { do(&k.coil, v) })
}

// plantTurns shorts a share of a coil's turns. What is left has so much less resistance, and its
// inductance goes with the square of the turns, as does what the shorted ones look like
// from there: a transformer's winding across its own wire. The same ampere-turns
// move the armature.
func plantTurns(k *coil, share float64) {
	left := 1 - share
	k.shunt = share / (left * left * k.ohms)
	k.ohms *= left
	k.henries *= left * left
	k.pullIn /= left
	k.dropOut /= left
}

func plantBattery(w *World, _ *output, f Fault) error {
	b := &battery{ohms: f.Value, outputs: w.outputs}
	for _, o := range w.outputs {
		o.battery = b
	}
	return nil
}

func plantFloating(w *World, _ *output, _ Fault) error {
	w.floating = true
	return nil
}

func plantJoined(w *World, victim *output, f Fault) error {
	if len(w.outputs) < 2 {
		return errors.New("the rig has one output only")
	}
	other, err := w.other(victim, f.Output)
	if err != nil {
		return err
	}
	if victim.joined != nil || other.joined != nil {
		return errors.New("an output can be joined to one other only")
	}
	victim.joined, other.joined = other, victim
	return nil
}

func plantLostEdges(w *World, _ *output, f Fault) error {
	for _, c := range w.contacts {
		c.loses = uint64(f.Value)
	}
	return nil
}

func plantLostReadyEdges(w *World, _ *output, f Fault) error {
	for _, c := range w.chips {
		c.loses = uint64(f.Value)
	}
	return nil
}

func plantMergedEdges(w *World, _ *output, f Fault) error {
	for _, c := range w.contacts {
		c.latency = nanoseconds(f.Value)
	}
	return nil
}

func (w *World) chipOf(o *output) *chip { return w.chip(w.rig.Outputs[o.index].Chip) }

func plantLost(w *World, victim *output, f Fault) error {
	w.chipOf(victim).LoseAt(Start + capture.Instant(nanoseconds(f.Value)))
	return nil
}

func plantReset(w *World, victim *output, f Fault) error {
	w.chipOf(victim).ResetAt(Start + capture.Instant(nanoseconds(f.Value)))
	return nil
}

func plantSupplyReset(w *World, _ *output, f Fault) error {
	if w.SupplyChip() == nil {
		return errors.New("the rig has no converter that sets its supply")
	}
	w.plan(happening{at: int64(Start) + nanoseconds(f.Value), kind: supplyResets})
	return nil
}

func plantNoise(w *World, _ *output, f Fault) error {
	w.bus.NAKEvery(int(f.Value))
	return nil
}

// plantedOscillator returns the relative error of the conversion period that is
// planted, if one is.
func plantedOscillator(all []Fault) (float64, bool) {
	for _, f := range all {
		if f.Name != "slow-oscillator" && f.Name != "fast-oscillator" {
			continue
		}
		if f.Value == 0 {
			f.Value = lookUp(f.Name).preset
		}
		if f.Name == "fast-oscillator" {
			return -f.Value, true
		}
		return f.Value, true
	}
	return 0, false
}
