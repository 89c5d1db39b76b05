package survey

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"makebreak/rig/problem"
	"makebreak/rig/wiring"
	"makebreak/rig/words"
)

// leastDelay is from what time on, in seconds, an output is said to act after a delay and not at
// once: panels take some tenths of a second for anything (common practice, no source).
const leastDelay = 0.75

// Delayed reports whether the effect comes after a delay that was programmed.
func (e *Effect) Delayed() bool { return e.Do != Stays && e.Do != Differs && e.After >= leastDelay }

// behaviour says what an output does, taken as a whole.
func (t *Table) behaviour(name string, rig *wiring.Rig) Behaviour {
	b := Behaviour{Signal: name, Acts: t.acts[name], Kind: NeverMoves}
	all := t.seen.outputs[name]
	moved, states := false, 0
	for _, o := range all {
		if o.known {
			moved = moved || len(o.times) > 0
			b.High = o.end()
			states++
		}
	}
	b.Once = slices.ContainsFunc(b.Acts, func(a Act) bool { return a.N < 2 })
	switch {
	case states == 0:
		b.Kind = CannotTell
		return b
	case slices.ContainsFunc(b.Acts, func(a Act) bool { return a.Wrong > 0 || a.Effect.Do == Differs }):
		b.Kind = CannotTell
	case !moved:
		return b
	case rig != nil && rig.SwitchesCoils():
		b.Kind = FollowsDrive
	default:
		t.name(&b)
	}
	b.sides()
	b.Delay = b.delay()
	return b
}

// doing are the events at which the output does one of these.
func (b *Behaviour) doing(these ...Do) (events []string) {
	for _, a := range b.Acts {
		if slices.Contains(these, a.Effect.Do) && !slices.Contains(events, a.Event) {
			events = append(events, a.Event)
		}
	}
	return events
}

// name finds the kind.
func (t *Table) name(b *Behaviour) {
	rises, falls := b.doing(Rises), b.doing(Falls)
	pulses, flashes := b.doing(Pulses), b.doing(Flashes)
	switch {
	case len(flashes) > 0 && len(rises) == 0 && len(pulses) == 0:
		b.Kind = FlashesAt
	case len(pulses) > 0 && len(rises) == 0 && len(flashes) == 0:
		b.Kind = TrainAt
		if !slices.ContainsFunc(b.Acts, func(a Act) bool { return a.Effect.Pulses > 1 }) {
			b.Kind = PulsesAt
		}
	case len(pulses)+len(flashes) > 0:
		b.Kind = Mixed
	default:
		t.nameLevel(b, rises, falls)
	}
}

// nameLevel finds the kind of an output that goes from one level to the other and stays there.
func (t *Table) nameLevel(b *Behaviour, rises, falls []string) {
	arming, disarming := t.Roles.Arming, t.Roles.Disarming
	in := func(some, all []string) bool {
		return len(some) > 0 && !slices.ContainsFunc(some, func(e string) bool { return !slices.Contains(all, e) })
	}
	from, until := rises, falls
	if in(rises, disarming) && !in(falls, disarming) && len(falls) > 0 {
		from, until, b.Inverted = falls, rises, true
	}
	switch {
	case in(from, arming) && in(until, append(slices.Clone(disarming), arming...)):
		b.Kind = FollowsOne
		if len(from) == len(arming) {
			b.Kind = FollowsArming
		}
	case len(arming) > 0 && len(from) > 0 && !slices.ContainsFunc(from, func(e string) bool { return slices.Contains(arming, e) || slices.Contains(disarming, e) }):
		b.Kind = Latches
	default:
		b.Kind = FollowsEvents
	}
}

// sides fills in by which events the output goes on and off.
func (b *Behaviour) sides() {
	b.From, b.Until = b.doing(Rises, Pulses, Flashes), b.doing(Falls)
	if b.Inverted {
		b.From, b.Until = b.doing(Falls), b.doing(Rises)
	}
}

// delay is the exit or entry delay, in seconds: the longest before it goes on.
func (b *Behaviour) delay() (longest float64) {
	for _, a := range b.Acts {
		if slices.Contains(b.From, a.Event) && a.Effect.Delayed() {
			longest = math.Max(longest, a.Effect.After)
		}
	}
	return longest
}

// CheckRoles refuses events that are said to arm or disarm, and that are none of these or said to do
// both, as an error of the kind Usage.
func CheckRoles(events, arming, disarming []string) error {
	for _, e := range slices.Concat(arming, disarming) {
		if !slices.Contains(events, e) {
			return problem.Of(problem.Usage, fmt.Errorf("there is no event %q in the survey: %s", words.Short(e, words.MostName), words.UseOneOf(e, events)))
		}
		if slices.Contains(arming, e) && slices.Contains(disarming, e) {
			return problem.Of(problem.Usage, fmt.Errorf("event %s must either arm or disarm", e))
		}
	}
	return nil
}

// roles finds which events arm and disarm.
func (t *Table) roles(o Settings) Roles {
	came := func(these []string) (all []string) {
		for _, e := range t.Events {
			if slices.Contains(these, e) {
				all = append(all, e)
			}
		}
		return all
	}
	if len(o.Arming)+len(o.Disarming) > 0 {
		return Roles{came(o.Arming), came(o.Disarming), ByUser}
	}
	r := Roles{By: ByName}
	for _, e := range t.Events {
		switch roleByName(e) {
		case "arm":
			r.Arming = append(r.Arming, e)
		case "disarm":
			r.Disarming = append(r.Disarming, e)
		}
	}
	if len(r.Arming) > 0 && len(r.Disarming) > 0 {
		return r
	}
	if r := t.rolesByDelay(); r.By == ByBehaviour {
		return r
	}
	return Roles{By: NotKnown}
}

// roleByName is what a name says that the event does: "arm", "disarm" or nothing. The words are
// common practice, no source.
func roleByName(event string) string {
	parts := strings.FieldsFunc(strings.ToLower(event), func(r rune) bool { return r == '-' || r == '_' || r == ' ' || r == '.' })
	for _, p := range parts {
		switch p {
		case "disarm", "unset", "disarming", "unarm":
			return "disarm"
		case "arm", "set", "arming":
			return "arm"
		}
	}
	return ""
}

// rolesByDelay tells arming from disarming where outputs go on after a delay and off at once:
// exit delays run at arming.
func (t *Table) rolesByDelay() Roles {
	r := Roles{By: NotKnown}
	late, prompt := map[string]int{}, map[string]int{}
	for _, acts := range t.acts {
		levels := 0
		for _, a := range acts {
			if a.Effect.Do == Rises || a.Effect.Do == Falls {
				levels++
			} else if a.Effect.Do != Stays {
				levels = -len(acts)
			}
			if len(a.While) > 0 {
				levels = -len(acts) // an entry delay
			}
		}
		if levels < 2 {
			continue
		}
		delayed := slices.ContainsFunc(acts, func(a Act) bool { return a.Effect.Delayed() })
		for _, a := range acts {
			switch {
			case a.Effect.Delayed():
				late[a.Event]++
			case delayed && a.Effect.Do != Stays:
				prompt[a.Event]++
			}
		}
	}
	for _, e := range t.Events {
		switch {
		case late[e] > 0 && prompt[e] > 0:
			return Roles{By: NotKnown}
		case late[e] > 0:
			r.Arming = append(r.Arming, e)
		case prompt[e] > 0:
			r.Disarming = append(r.Disarming, e)
		}
	}
	if len(r.Arming) > 0 && len(r.Disarming) > 0 {
		r.By = ByBehaviour
	}
	return r
}
