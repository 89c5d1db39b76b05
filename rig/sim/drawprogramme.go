package sim

import (
	"slices"
	"strings"
	"time"

	"makebreak/rig/wiring"
)

// DrawProgramme programmes an invented panel at random, for a bench whose unit nobody has said
// the programming of: each output of the rig does one of the usual things at the events that the
// rig can bring about, or nothing. At least one of them does something. The same rig and seed
// give the same rules; what they mean for the start is AtRest's. A rig that switches coils itself
// has no panel: none.
//
// An event arms or disarms by its name, as Opts.Arming says where it is nil. Every other event is
// taken for an alarm, but for one that ends it by its name (alarm-off, close-zone). The behaviours
// are common practice, their shares and times invented; no delay is longer than 8 s.
func DrawProgramme(rig *wiring.Rig, seed uint64) []Rule {
	if slices.ContainsFunc(rig.Drives, func(d wiring.Drive) bool { return d.Coil }) {
		return nil
	}
	p := programmer{draws: newDraws(seed, "programme", false)}
	p.sort(rig)
	p.choices = p.choose()
	if len(p.choices) == 0 {
		return nil
	}
	var all []Rule
	for _, o := range rig.Outputs {
		if p.Float64() < idleShare {
			continue
		}
		all = append(all, p.programme(o.Name)...)
	}
	if len(all) == 0 && len(rig.Outputs) > 0 {
		all = p.programme(rig.Outputs[0].Name)
	}
	return all
}

// AtRest names the outputs that a unit programmed so has on at the start: those that disarming
// switches on.
func AtRest(rules []Rule) map[string]bool {
	on := map[string]bool{}
	for _, r := range rules {
		if r.Do == GoHigh && isDisarming(r.Event) {
			on[r.Output] = true
		}
	}
	return on
}

// idleShare is how many of the outputs a workshop leaves as they are.
const idleShare = 0.15

// programmer draws what outputs do.
type programmer struct {
	draws
	arms, disarms, alarms, ends []string // the rig's events
	choices                     []func() []Rule
}

func isDisarming(event string) bool { return IsArming(event) && strings.HasPrefix(event, disarm) }

// endsAlarm reports whether an event is the end of what another begins.
func endsAlarm(event string) bool {
	first, _, _ := strings.Cut(event, "-")
	return first == "close" || first == "restore" || first == "clear" || strings.HasSuffix(event, "-off")
}

// sort puts the rig's events by what they do.
func (p *programmer) sort(rig *wiring.Rig) {
	for _, c := range rig.Causes {
		switch e := c.Event; {
		case isDisarming(e):
			p.disarms = append(p.disarms, e)
		case IsArming(e):
			p.arms = append(p.arms, e)
		case endsAlarm(e):
			p.ends = append(p.ends, e)
		default:
			p.alarms = append(p.alarms, e)
		}
	}
}

// programme draws the rules of an output.
func (p *programmer) programme(output string) []Rule {
	rules := p.choices[p.IntN(len(p.choices))]()
	for i := range rules {
		rules[i].Output = output
	}
	return rules
}

// choose lists what an output can do with the events that there are.
func (p *programmer) choose() (all []func() []Rule) {
	all = p.withArming()
	if len(p.alarms) > 0 {
		all = append(all, p.withAlarm()...)
	}
	return all
}

// withArming lists what an output can do at arming and disarming.
func (p *programmer) withArming() []func() []Rule {
	if len(p.arms) == 0 {
		return nil
	}
	chirp := Rule{Do: Train, For: 100 * time.Millisecond, Off: 150 * time.Millisecond}
	all := []func() []Rule{
		func() []Rule { return at(p.arms, Rule{Do: PulseHigh, For: p.tenths(3, 30)}) },
		func() []Rule { return at(p.arms, chirp.of(2+p.IntN(3))) },
	}
	if len(p.disarms) == 0 {
		return all
	}
	low, high := at(p.disarms, Rule{Do: GoLow}), Rule{Do: GoHigh}
	return append(all,
		func() []Rule { return append(at(p.arms, high), low...) },
		func() []Rule { return append(at(p.arms, high), low...) },
		func() []Rule { return append(at(p.one(p.arms), high), low...) },
		func() []Rule { return append(at(p.arms, Rule{Do: GoHigh, After: p.tenths(10, 80)}), low...) },
		func() []Rule { return append(at(p.arms, Rule{Do: GoLow}), at(p.disarms, high)...) },
		func() []Rule { return append(at(p.arms, chirp.of(1)), at(p.disarms, chirp.of(2))...) },
	)
}

// withAlarm lists what an output can do at an alarm: where the panel can be armed, while it is.
func (p *programmer) withAlarm() []func() []Rule {
	while := func(r Rule) Rule {
		if len(p.disarms) > 0 {
			r.While = p.arms
		}
		return r
	}
	all := []func() []Rule{
		func() []Rule { return at(p.one(p.alarms), while(Rule{Do: PulseHigh, For: p.tenths(3, 50)})) },
		func() []Rule {
			return at(p.one(p.alarms), while(Rule{Do: Train, Pulses: 2 + p.IntN(4), For: p.tenths(2, 6), Off: p.tenths(2, 6)}))
		},
	}
	low := at(append(slices.Clone(p.disarms), p.ends...), Rule{Do: GoLow})
	if len(p.disarms) > 0 && len(p.arms) > 0 {
		low = at(p.disarms, Rule{Do: GoLow})
	}
	if len(low) == 0 {
		return all
	}
	until := func(r Rule) []Rule { return append(at(p.alarms, while(r)), low...) }
	return append(all,
		func() []Rule { return until(Rule{Do: GoHigh}) },
		func() []Rule { return until(Rule{Do: GoHigh, After: p.tenths(20, 80)}) },
		func() []Rule { return until(Rule{Do: Train, For: p.tenths(3, 8), Off: p.tenths(3, 8)}) },
		func() []Rule {
			return until(Rule{Do: Train, For: p.tenths(2, 5), Off: p.tenths(2, 5), Until: p.tenths(40, 80)})
		},
	)
}

// at is a rule at each of the events.
func at(events []string, r Rule) []Rule {
	all := make([]Rule, len(events))
	for i, e := range events {
		all[i] = r
		all[i].Event = e
	}
	return all
}

// of is a train of so many pulses.
func (r Rule) of(pulses int) Rule {
	r.Pulses = pulses
	return r
}

// one draws one of the events.
func (p *programmer) one(events []string) []string {
	return []string{events[p.IntN(len(events))]}
}

// tenths draws a time in whole tenths of a second, from the lowest to the highest number of them.
func (p *programmer) tenths(lowest, highest int) time.Duration {
	return time.Duration(lowest+p.IntN(highest-lowest+1)) * 100 * time.Millisecond
}
