package drawnpanel

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"makebreak/rig/sim"
)

// Kind is what a person calls what an output does.
type Kind string

// The kinds.
const (
	NeverMoves      Kind = "never moves"
	AlwaysOn        Kind = "is always on"
	ArmedBoth       Kind = "follows arming in every way"
	ArmedOne        Kind = "follows one way of arming"
	InvertedBoth    Kind = "follows arming, inverted"
	InvertedOne     Kind = "follows one way of arming, inverted"
	ArmedPulse      Kind = "pulses at arming"
	DisarmedPulse   Kind = "pulses at disarming"
	ArmedTrain      Kind = "gives a train at arming"
	Chirps          Kind = "chirps once at arming and twice at disarming"
	ExitDelay       Kind = "follows arming after an exit delay"
	ArmedFlashing   Kind = "flashes while armed"
	LateOff         Kind = "goes off some time after disarming"
	DelayedPulse    Kind = "pulses some time after arming"
	LatchArmed      Kind = "latches at an alarm while armed until disarmed"
	LatchAlways     Kind = "latches at an alarm until disarmed"
	FollowsAlarm    Kind = "follows an alarm"
	EntryDelay      Kind = "latches some time after an alarm while armed until disarmed"
	Strobe          Kind = "flashes from an alarm while armed until disarmed"
	EntryBuzzer     Kind = "flashes for a time at an alarm while armed"
	BellTime        Kind = "gives one long pulse at an alarm while armed, unless disarmed"
	AlarmPulse      Kind = "pulses at an alarm"
	AlarmTrain      Kind = "gives a train at an alarm"
	ArmedAndAlarmed Kind = "goes on at arming and at an alarm, off at disarming"
)

// Behaviour is what an output does.
type Behaviour struct {
	Kind Kind
	Rest bool // on before anything happens
	Acts []Act
}

// Act is what an output does at an event.
type Act struct {
	Event string
	// While are the events of which one must have been the last that armed or disarmed. Empty:
	// always.
	While []string
	Does  Does
	After time.Duration // beyond the panel's own delay
	// On and Off are the times of a pulse or a train; Pulses how many, 0: until disarmed or for
	// For.
	On, Off, For time.Duration
	Pulses       int
}

// Does is what an act is.
type Does int

// What an output can do.
const (
	GoesOn Does = iota
	GoesOff
	Pulses
	Flashes
)

// Moves reports whether the output ever switches.
func (b *Behaviour) Moves() bool { return len(b.Acts) > 0 }

// String tells the behaviour with its figures.
func (b Behaviour) String() string {
	var acts []string
	for _, a := range b.Acts {
		acts = append(acts, a.String())
	}
	if len(acts) == 0 {
		return string(b.Kind)
	}
	return fmt.Sprintf("%s (%s)", b.Kind, strings.Join(acts, "; "))
}

func (a Act) String() string {
	text := a.Event + ": "
	switch a.Does {
	case GoesOn:
		text += "on"
	case GoesOff:
		text += "off"
	case Pulses:
		text += fmt.Sprintf("%d × %v/%v", a.Pulses, a.On, a.Off)
	case Flashes:
		text += fmt.Sprintf("flashes %v/%v for %v", a.On, a.Off, a.For)
	}
	if a.After > 0 {
		text += fmt.Sprintf(" after %v", a.After)
	}
	if len(a.While) > 0 {
		text += " while " + strings.Join(a.While, " or ")
	}
	return text
}

// The longest times that are programmed. A person who learns a unit waits longer than that.
const (
	LongestDelay = 12 * time.Second
	LongestPulse = 5 * time.Second
)

// drawOutput draws what an output does: each kind that the events allow as often as the others.
func drawOutput(d dice, e Events, name string) Output {
	k := kinds[d.IntN(len(kinds))]
	for !k.can(e) {
		k = kinds[d.IntN(len(kinds))]
	}
	o := Output{Name: name}
	o.Kind = k.kind
	o.Rest = k.kind == AlwaysOn || k.kind == InvertedBoth || k.kind == InvertedOne
	o.rules = k.rules(d, e)
	for i := range o.rules {
		o.rules[i].Output = name
		o.Acts = append(o.Acts, told(&o.rules[i]))
	}
	if k.kind == NeverMoves || k.kind == AlwaysOn {
		o.Acts = nil // nothing of what is programmed shows
	}
	return o
}

// told is what a rule shows.
func told(r *sim.Rule) Act {
	a := Act{Event: r.Event, While: r.While, After: r.After, On: r.For, Off: r.Off, Pulses: r.Pulses}
	switch r.Do {
	case sim.GoHigh:
		a.Does = GoesOn
	case sim.GoLow:
		a.Does = GoesOff
	case sim.PulseHigh:
		a.Does, a.Pulses = Pulses, 1
	case sim.Train:
		if a.Does = Pulses; r.Pulses == 0 {
			a.Does, a.For = Flashes, r.Until
		}
	}
	return a
}

// programming is how a kind is programmed, and what events it needs.
type programming struct {
	kind  Kind
	needs func(e Events) bool // nil: nothing but arming and disarming
	rules func(d dice, e Events) []sim.Rule
}

func (k *programming) can(e Events) bool { return k.needs == nil || k.needs(e) }

func twoWays(e Events) bool  { return len(e.Arms) > 1 }
func hasAlarm(e Events) bool { return e.AlarmBy != "" }
func hasEnd(e Events) bool   { return e.Ends != "" }

// at is a rule at each of some events.
func at(r sim.Rule, events ...string) []sim.Rule {
	var all []sim.Rule
	for _, e := range events {
		r.Event = e
		all = append(all, r)
	}
	return all
}

var (
	on  = sim.Rule{Do: sim.GoHigh}
	off = sim.Rule{Do: sim.GoLow}
)

func later(r sim.Rule, after time.Duration) sim.Rule {
	r.After = after
	return r
}

func while(r sim.Rule, events []string) sim.Rule {
	r.While = events
	return r
}

func pulse(d dice) sim.Rule {
	return sim.Rule{Do: sim.PulseHigh, For: d.time(100*time.Millisecond, LongestPulse)}
}

func train(d dice, pulses int) sim.Rule {
	return sim.Rule{Do: sim.Train, Pulses: pulses, For: d.time(80*time.Millisecond, time.Second), Off: d.time(80*time.Millisecond, time.Second)}
}

func (e Events) aWay(d dice) string { return oneOf(d, e.Arms...) }

// anAlarm draws one of the alarms.
func (e Events) anAlarm(d dice) string { return oneOf(d, e.Alarms...) }

func delay(d dice) time.Duration { return d.time(500*time.Millisecond, LongestDelay) }

// until is a rule at one of the events, and off at disarming.
func until(r sim.Rule, e Events, events ...string) []sim.Rule {
	return append(at(r, events...), at(off, e.Disarm)...)
}

var kinds = []programming{
	{kind: NeverMoves, rules: func(d dice, e Events) []sim.Rule {
		switch d.IntN(3) {
		case 0: // programmed, and nothing shows
			return at(off, e.Disarm)
		case 1: // for an event that this rig cannot bring about
			return until(on, e, "fire")
		}
		return nil
	}},
	{kind: AlwaysOn, rules: func(d dice, e Events) []sim.Rule {
		if d.chance(0.5) {
			return at(on, e.Arms...)
		}
		return nil
	}},
	{kind: ArmedBoth, rules: func(_ dice, e Events) []sim.Rule { return until(on, e, e.Arms...) }},
	{kind: ArmedOne, needs: twoWays, rules: func(d dice, e Events) []sim.Rule { return until(on, e, e.aWay(d)) }},
	{kind: InvertedBoth, rules: func(_ dice, e Events) []sim.Rule { return append(at(off, e.Arms...), at(on, e.Disarm)...) }},
	{kind: InvertedOne, needs: twoWays, rules: func(d dice, e Events) []sim.Rule { return append(at(off, e.aWay(d)), at(on, e.Disarm)...) }},
	{kind: ArmedPulse, rules: func(d dice, e Events) []sim.Rule {
		if d.chance(0.3) {
			return at(pulse(d), e.aWay(d))
		}
		return at(pulse(d), e.Arms...)
	}},
	{kind: DisarmedPulse, rules: func(d dice, e Events) []sim.Rule { return at(pulse(d), e.Disarm) }},
	{kind: ArmedTrain, rules: func(d dice, e Events) []sim.Rule { return at(train(d, 2+d.IntN(5)), e.Arms...) }},
	{kind: Chirps, rules: func(d dice, e Events) []sim.Rule {
		two := train(d, 2)
		one := sim.Rule{Do: sim.PulseHigh, For: two.For}
		return append(at(one, e.Arms...), at(two, e.Disarm)...)
	}},
	{kind: ExitDelay, rules: func(d dice, e Events) []sim.Rule { return until(later(on, delay(d)), e, e.Arms...) }},
	{kind: ArmedFlashing, rules: func(d dice, e Events) []sim.Rule { return until(train(d, 0), e, e.Arms...) }},
	{kind: LateOff, rules: func(d dice, e Events) []sim.Rule {
		return append(at(on, e.Arms...), at(later(off, delay(d)), e.Disarm)...)
	}},
	{kind: DelayedPulse, rules: func(d dice, e Events) []sim.Rule { return at(later(pulse(d), delay(d)), e.Arms...) }},
	{kind: LatchArmed, needs: hasAlarm, rules: func(d dice, e Events) []sim.Rule {
		return until(while(on, e.Arms), e, e.anAlarm(d))
	}},
	{kind: LatchAlways, needs: hasAlarm, rules: func(d dice, e Events) []sim.Rule { return until(on, e, e.anAlarm(d)) }},
	{kind: FollowsAlarm, needs: hasEnd, rules: func(_ dice, e Events) []sim.Rule { return append(at(on, e.AlarmBy), at(off, e.Ends)...) }},
	{kind: EntryDelay, needs: hasAlarm, rules: func(d dice, e Events) []sim.Rule {
		return until(while(later(on, delay(d)), e.Arms), e, e.anAlarm(d))
	}},
	{kind: Strobe, needs: hasAlarm, rules: func(d dice, e Events) []sim.Rule { return until(while(train(d, 0), e.Arms), e, e.anAlarm(d)) }},
	{kind: EntryBuzzer, needs: hasAlarm, rules: func(d dice, e Events) []sim.Rule {
		r := while(train(d, 0), e.Arms)
		r.Until = 3*(r.For+r.Off) + d.time(time.Second, LongestDelay-6*time.Second)
		return until(r, e, e.anAlarm(d))
	}},
	{kind: BellTime, needs: hasAlarm, rules: func(d dice, e Events) []sim.Rule {
		return until(while(sim.Rule{Do: sim.PulseHigh, For: d.time(2*time.Second, LongestDelay)}, e.Arms), e, e.anAlarm(d))
	}},
	{kind: AlarmPulse, needs: hasAlarm, rules: func(d dice, e Events) []sim.Rule { return at(pulse(d), e.anAlarm(d)) }},
	{kind: AlarmTrain, needs: hasAlarm, rules: func(d dice, e Events) []sim.Rule { return at(train(d, 2+d.IntN(5)), e.anAlarm(d)) }},
	{kind: ArmedAndAlarmed, needs: hasAlarm, rules: func(_ dice, e Events) []sim.Rule {
		return until(on, e, slices.Concat(e.Arms, e.Alarms)...)
	}},
}

// Kinds lists them in order.
func Kinds() []Kind {
	var all []Kind
	for _, k := range kinds {
		all = append(all, k.kind)
	}
	return all
}
