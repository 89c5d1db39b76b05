package drawnbench

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"makebreak/rig/unit"
)

// role is what an output is programmed to do.
type role int

const (
	unnamed    role = iota // the sequence says nothing of it
	still                  // it is named and must not move
	free                   // it is named and may do anything
	bothWays               // high while armed in either way
	awayOnly               // high while armed away
	stayOnly               // high while armed in stay
	armedLow               // low while armed, high while disarmed
	armPulse               // a pulse at arming
	exitDelay              // high after arming away and a delay
	alarmLatch             // high from an alarm to disarming
	alarmPulse             // a pulse at an alarm
	chimePulse             // a pulse at a chime
	driven                 // a coil that the rig switches
)

func (r role) moves() bool { return r >= bothWays }

// drawPanelSteps draws what is done with the panel in one cycle.
func (l *layout) drawPanelSteps(d dice) {
	story := oneOf(d, "away off stay off", "away off stay off", "away off stay off", "away off", "away alarm off", "away off stay alarm off", "away alarm off stay off", "away off chime", "away off stay off chime")
	if l.keySwitch {
		story = oneOf(d, "away off", "away alarm off", "away off chime")
	}
	names := map[string]string{"away": "arm-away", "stay": "arm-stay", "off": "disarm", "alarm": "alarm", "chime": "chime"}
	hold := oneOf(d, 1.0, 1.5, 2, 3)
	for _, w := range strings.Fields(story) {
		l.steps = append(l.steps, step{event: names[w], as: names[w], hold: seconds(hold)})
	}
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s*1e3)) * time.Millisecond }

// drawRelaySteps draws the steps of a relay bench: one relay after the other.
func (l *layout) drawRelaySteps(d dice) {
	hold := seconds(oneOf(d, 0.15, 0.2, 0.3))
	if l.endurance {
		hold = seconds(0.15)
	}
	round := func(suffix string) {
		for i := range l.relays {
			l.steps = append(l.steps, step{event: energize(i), as: energize(i) + suffix, hold: hold}, step{event: release(i), as: release(i) + suffix, hold: hold})
		}
	}
	switch {
	case l.supply == stageSupply:
		l.steps = append(l.steps, step{supply: "13.8 V", as: "supply-full", hold: seconds(0.2)})
		round("")
		l.steps = append(l.steps, step{supply: "10.5 V", as: "supply-low", hold: seconds(0.2)})
		round("-low")
		l.steps = append(l.steps, step{supply: "13.8 V", as: "supply-back", hold: seconds(0.2)})
	case l.supply == converterSupply && d.chance(0.5):
		l.steps = append(l.steps, step{supply: "13.8 V", as: "supply-full", hold: seconds(0.2)})
		round("")
		l.steps = append(l.steps, step{supply: oneOf(d, "12 V", "10.5 V", "11 V"), as: "supply-low", hold: seconds(0.2)})
		round("-low")
	default:
		round("")
	}
}

// drawRoles draws the outputs' programming and the relays behind them.
func (l *layout) drawRoles(d dice, n int) {
	named := min(n, 1+d.upTo(30, 25, 20, 10, 8, 7))
	relays := min(named, d.upTo(30, 40, 15, 10, 5))
	order := d.Perm(n)
	for i := range n {
		l.outputs = append(l.outputs, output{name: fmt.Sprintf("OUT%d", i+1)})
	}
	moving := 0
	slices.Sort(order[:named])
	for j, i := range order[:named] {
		o := &l.outputs[i]
		o.role = l.drawRole(d)
		if o.role == free && !l.others {
			o.role = unnamed
		}
		if j == named-1 && moving == 0 && !o.role.moves() {
			for !o.role.moves() {
				o.role = l.drawRole(d)
			}
		}
		l.drawTimes(d, o)
		if !o.role.moves() {
			continue
		}
		moving++
		if len(l.relays) < relays {
			o.relay = l.addRelay(d, o.name)
		}
	}
}

// drawRole draws a role that the steps exercise.
func (l *layout) drawRole(d dice) role {
	has := func(event string) bool {
		return slices.ContainsFunc(l.steps, func(s step) bool { return s.event == event })
	}
	for {
		r := []role{bothWays, awayOnly, stayOnly, armedLow, armPulse, exitDelay, alarmLatch, alarmPulse, chimePulse, still, free}[d.upTo(30, 12, 8, 12, 12, 8, 12, 6, 6, 6, 2)]
		switch r {
		case stayOnly:
			if !has("arm-stay") {
				continue
			}
		case alarmLatch, alarmPulse:
			if !has("alarm") {
				continue
			}
		case chimePulse:
			if !has("chime") {
				continue
			}
		}
		return r
	}
}

// drawTimes draws an output's pulse or exit delay, and lengthens the steps that need it.
func (l *layout) drawTimes(d dice, o *output) {
	o.within = 10
	var at []string
	need := 0.0
	switch o.role {
	case armPulse:
		o.pulse, at = seconds(oneOf(d, 0.5, 1, 1.5, 2, 3)), []string{"arm-away", "arm-stay"}
	case alarmPulse:
		o.pulse, at = seconds(oneOf(d, 0.5, 1, 2, 3)), []string{"alarm"}
	case chimePulse:
		o.pulse, at = seconds(oneOf(d, 0.5, 1, 2)), []string{"chime"}
	case exitDelay:
		o.pulse, at = seconds(oneOf(d, 4.0, 5, 6, 10)), []string{"arm-away"}
		if o.pulse >= seconds(6) {
			o.within = oneOf(d, 5, 10)
		}
	default:
		return
	}
	need = o.pulse.Seconds()*(1+float64(o.within)/100) + 1
	for i := range l.steps {
		if slices.Contains(at, l.steps[i].event) {
			l.steps[i].hold = max(l.steps[i].hold, seconds(need))
		}
	}
}

// expectText writes what an output must do.
func (l *layout) expectText(o *output) string {
	var parts []string
	add := func(event, demand string) {
		if slices.ContainsFunc(l.steps, func(s step) bool { return s.event == event }) {
			parts = append(parts, event+": "+demand)
		}
	}
	pulse := fmt.Sprintf("{pulse: %s, within: %d %%}", unit.Time.Format(o.pulse.Seconds()), o.within)
	switch o.role {
	case still:
		return "unmoved"
	case free:
		return "any"
	case bothWays:
		add("arm-away", "high")
		add("arm-stay", "high")
		add("disarm", "low")
	case awayOnly:
		add("arm-away", "high")
		add("arm-stay", "low")
		add("disarm", "low")
	case stayOnly:
		add("arm-away", "low")
		add("arm-stay", "high")
		add("disarm", "low")
	case armedLow:
		add("arm-away", "low")
		add("arm-stay", "low")
		add("disarm", "high")
	case armPulse:
		add("arm-away", pulse)
		add("arm-stay", pulse)
		add("disarm", "low")
	case exitDelay:
		add("arm-away", fmt.Sprintf("{high: true, after: %s, within: %d %%}", unit.Time.Format(o.pulse.Seconds()), o.within))
		add("disarm", "low")
	case alarmLatch:
		add("arm-away", "low")
		add("alarm", "high")
		add("disarm", "low")
	case alarmPulse:
		add("alarm", pulse)
		add("disarm", "low")
	case chimePulse:
		add("chime", pulse)
		add("arm-away", "low")
	case driven:
		for i := range l.relays {
			if l.relays[i].output == o.name {
				for _, s := range l.steps {
					switch s.event {
					case energize(i):
						parts = append(parts, s.as+": high")
					case release(i):
						parts = append(parts, s.as+": low")
					}
				}
			}
		}
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

// sequenceText writes the sequence file.
func (b *Bench) sequenceText(d dice) string {
	l := b.layout
	var t strings.Builder
	fmt.Fprintf(&t, "name: drawn\ncycles: %d\n", b.Cycles)
	if l.relayBench {
		t.WriteString("baseline: 200 ms\n")
	}
	t.WriteString("steps:\n")
	for _, s := range l.steps {
		switch {
		case s.supply != "":
			fmt.Fprintf(&t, "  - {supply: %s, as: %s, hold: %s}\n", s.supply, s.as, unit.Time.Format(s.hold.Seconds()))
		case s.as != s.event:
			fmt.Fprintf(&t, "  - {event: %s, as: %s, hold: %s}\n", s.event, s.as, unit.Time.Format(s.hold.Seconds()))
		default:
			fmt.Fprintf(&t, "  - {event: %s, hold: %s}\n", s.event, unit.Time.Format(s.hold.Seconds()))
		}
	}
	t.WriteString("outputs:\n")
	for i := range l.outputs {
		o := &l.outputs[i]
		if o.role == unnamed {
			continue
		}
		fmt.Fprintf(&t, "  %s:\n    expect: %s\n", o.name, l.expectText(o))
		if o.role.moves() {
			if limits := b.outputLimits(d, o); limits != "" {
				fmt.Fprintf(&t, "    limits: {%s}\n", limits)
			}
		}
		if o.relay != "" {
			fmt.Fprintf(&t, "    relay: %s\n", o.relay)
		}
	}
	if l.others {
		t.WriteString("others: unmoved\n")
	}
	if len(l.relays) > 0 {
		t.WriteString("relays:\n")
	}
	for i := range l.relays {
		t.WriteString(b.relayText(d, &l.relays[i]))
	}
	return t.String()
}

// shortest is how long the shortest step is.
func (l *layout) shortest() time.Duration {
	hold := l.steps[0].hold
	for _, s := range l.steps {
		hold = min(hold, s.hold)
	}
	return hold
}

// fedVolts is about what an output of a 12 V unit gives when it is on, in volts; moved says that the supply is moved.
func (b *Bench) fedVolts() (volts float64, moved bool) {
	moved = slices.ContainsFunc(b.layout.steps, func(s step) bool { return s.supply != "" })
	switch {
	case b.layout.supply != ownSupply:
		return 12.3, moved
	case b.unit.HighVolts > 0:
		return b.unit.HighVolts/b.layout.volts - 0.6, false
	}
	return 13, false
}

// outputLimits writes an output's limits.
func (b *Bench) outputLimits(d dice, o *output) string {
	var parts []string
	add := func(p float64, text string, args ...any) {
		if d.chance(p) {
			parts = append(parts, fmt.Sprintf(text, args...))
		}
	}
	step := b.layout.interval(o)
	if volts, moved := b.fedVolts(); !moved {
		add(0.9, "high_level: {min: %g V, max: %g V}", b.layout.volts*highest(d, volts-0.7, 12, 11.5, 11, 10.5), b.layout.volts*oneOf(d, 14.5, 15))
	}
	add(0.9, "low_level: {max: %s}", oneOf(d, "1 V", "1 V", "1.2 V"))
	if !b.layout.relayBench {
		add(0.8, "ripple: {max: %s}", oneOf(d, "0.3 V", "0.5 V", "0.5 V", "1 V"))
		if o.role != exitDelay {
			limit := oneOf(d, 400, 500, 500, 1000)
			if l := b.layout.shortest(); time.Duration(limit)*time.Millisecond > l*6/10 {
				limit = 500 // a step is watched for longer than the output may take
			}
			add(0.85, "switching_delay: {max: %d ms}", limit)
		}
	}
	if step < 0.003 {
		add(0.25, "transition_duration: {max: %s}", oneOf(d, "20 ms", "50 ms"))
	}
	add(0.9, "hold: {max: 0 s}")
	return strings.Join(parts, ", ")
}

// highest is one of the limits, in volts from the highest down, that a good unit meets: mostly
// the first.
func highest(d dice, volts float64, limits ...float64) float64 {
	for _, v := range limits {
		if v < volts && d.chance(0.7) {
			return v
		}
	}
	return limits[len(limits)-1]
}

// relayText writes a relay's entry.
func (b *Bench) relayText(d dice, k *relay) string {
	var contacts, limits []string
	if k.makes != "" {
		contacts = append(contacts, "make: "+k.makes)
	}
	if k.breaks != "" {
		contacts = append(contacts, "break: "+k.breaks)
	}
	add := func(p float64, text string, args ...any) {
		if d.chance(p) {
			limits = append(limits, fmt.Sprintf(text, args...))
		}
	}
	i := slices.IndexFunc(b.layout.outputs, func(o output) bool { return o.name == k.output })
	slack := 0.0 // ms that a coarse look at the output leaves open
	if step := b.layout.interval(&b.layout.outputs[i]); step > 0.003 {
		slack = 5 * math.Ceil(1.5*step*1e3/5)
	}
	if k.makes != "" {
		add(0.9, "operate_time: {max: %g ms}", oneOf(d, 15.0, 15, 20)+slack)
	}
	if k.breaks != "" {
		add(0.9, "release_time: {max: %g ms}", oneOf(d, 10.0, 10, 15)+slack)
	}
	add(0.9, "bounce_time: {max: %s}", oneOf(d, "5 ms", "5 ms", "6 ms", "8 ms"))
	add(0.3, "bounce_count: {max: %d}", oneOf(d, 15, 20))
	if k.makes != "" && k.breaks != "" {
		add(0.7, "transfer_time: {min: 0 s}")
	}
	must := ""
	_, moved := b.fedVolts()
	if d.chance(0.85) {
		must = fmt.Sprintf(", must_operate: %g V, must_release: %g V", b.layout.volts*oneOf(d, 9, 9, 8.4), b.layout.volts*1.2)
		if !moved {
			add(0.8, "pull_in_margin: {min: %s}", oneOf(d, "0.5 V", "1 V"))
		}
		add(0.8, "drop_out_margin: {min: %s}", oneOf(d, "0.1 V", "0.2 V"))
	}
	text := fmt.Sprintf("  %s: {%s%s", k.name, strings.Join(contacts, ", "), must)
	if len(limits) > 0 {
		text += ", limits: {" + strings.Join(limits, ", ") + "}"
	}
	return text + "}\n"
}
