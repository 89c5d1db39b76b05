package drawnbench

import (
	"fmt"
	"slices"
	"strings"
)

// drawLayout draws what is wired to what. Kinds are the faults that it will be asked to have.
func drawLayout(d dice, kinds []string) *layout {
	l := &layout{volts: 1}
	l.endurance = slices.ContainsFunc(kinds, worsens)
	if l.relayBench = l.endurance || d.chance(0.15); l.relayBench {
		l.drawRelayBench(d)
	} else {
		l.drawPanelBench(d)
	}
	if l.supply == ownSupply && d.chance(0.08) {
		l.volts = 2
	}
	return l
}

func (l *layout) drawRelayBench(d dice) {
	n := 1 + d.upTo(6, 2, 1, 1)
	if l.endurance {
		n = 1
	}
	for i := range n {
		c := chip{name: string(rune('A' + i)), model: "ADS1115", rate: oneOf(d, 860, 860, 860, 475), ready: d.chance(0.8), follows: true, outputs: 1}
		if d.chance(0.2) {
			c.model, c.rate = "ADS1015", oneOf(d, 920, 1600)
		}
		l.chips = append(l.chips, c)
		name := "COIL"
		if n > 1 {
			name = fmt.Sprintf("COIL%d", i+1)
		}
		k := l.addRelay(d, name)
		l.outputs = append(l.outputs, output{name: name, chip: c.name, role: driven, relay: k})
	}
	if !l.endurance {
		l.supply = supplyKind(d.upTo(5, 3, 1))
	}
	l.drawRelaySteps(d)
}

func (l *layout) addRelay(d dice, output string) (name string) {
	name = fmt.Sprintf("K%d", len(l.relays)+1)
	k := relay{name: name, output: output, makes: name + "_NO", breaks: name + "_NC"}
	switch d.upTo(8, 1, 1) {
	case 1:
		k.breaks = ""
	case 2:
		k.makes = ""
	}
	l.relays = append(l.relays, k)
	return name
}

func (l *layout) drawPanelBench(d dice) {
	n := 1 + d.IntN(4)
	switch d.upTo(25, 45, 30) {
	case 1:
		n = 5 + d.IntN(4)
	case 2:
		n = 9 + d.IntN(8)
	}
	l.others = d.chance(0.8)
	l.references, l.keySwitch = d.chance(0.6), d.chance(0.15)
	l.drawPanelSteps(d)
	l.drawRoles(d, n)
	l.drawChips(d)
}

// drawChips puts the outputs on converters: in a third of the benches the first one programmed
// has one for itself that follows it, as relays' times want.
func (l *layout) drawChips(d dice) {
	n := len(l.outputs)
	alone := n <= 13 && d.chance(0.5)
	rest := n
	if alone {
		rest--
	}
	least := (rest + 3) / 4
	most := 4
	if alone {
		most = 3
	}
	count := max(1, least+d.IntN(most-min(most, least)+1))
	if count > most {
		count = most
	}
	if rest == 0 {
		count = 0
	}
	count = min(count, rest)
	add := func(follows bool) {
		c := chip{name: string(rune('A' + len(l.chips))), model: "ADS1115", rate: oneOf(d, 860, 860, 860, 475), ready: d.chance(0.85), follows: follows}
		if d.chance(0.2) {
			c.model, c.rate = "ADS1015", oneOf(d, 490, 920)
		}
		l.chips = append(l.chips, c)
	}
	if alone {
		add(true)
	}
	for range count {
		add(false)
	}
	first := slices.IndexFunc(l.outputs, func(o output) bool { return o.role.moves() })
	next := 0
	for i := range l.outputs {
		o := &l.outputs[i]
		at := 0
		if !alone || i != max(0, first) {
			shared := len(l.chips) - count
			at = shared + next%count
			next++
		}
		o.chip, o.channel = l.chips[at].name, l.chips[at].outputs
		l.chips[at].outputs++
	}
	for i := range l.chips {
		if c := &l.chips[i]; c.outputs == 1 && d.chance(0.5) {
			c.follows = true
		}
	}
}

// interval is the time in seconds from one sample of an output to the next.
func (l *layout) interval(o *output) float64 {
	for _, c := range l.chips {
		if c.name == o.chip {
			if c.follows || c.outputs == 1 {
				return 1 / float64(c.rate)
			}
			return float64(c.outputs) / float64(c.rate) * 1.4 // the changes of channel take their time
		}
	}
	return 1
}

var dividers = []string{"{upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}", "{upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}",
	"{upper: 39 kohm, lower: 10 kohm, tolerance: 0.1 %}", "{upper: 47 kohm, lower: 12 kohm, tolerance: 1 %}", "{upper: 82 kohm, lower: 20 kohm, tolerance: 0.5 %}"}

// rigText writes the rig file.
func (b *Bench) rigText(d dice) string {
	l := b.layout
	var t strings.Builder
	fmt.Fprintf(&t, "name: drawn\nbus: simulated\nchips:\n")
	for i, c := range l.chips {
		fmt.Fprintf(&t, "  %s: {model: %s, address: 0x%X, range: 4.096 V, rate: %d /s, supply: 3.3 V", c.name, c.model, 0x48+i, c.rate)
		if c.follows {
			t.WriteString(", sample: follow")
		}
		if c.ready {
			fmt.Fprintf(&t, ", ready: {chip: gpiochip0, line: %d}", 24+i)
		}
		t.WriteString("}\n")
	}
	divider, nominal := oneOf(d, dividers...), ""
	if l.volts != 1 {
		divider, nominal = "{upper: 91 kohm, lower: 10 kohm, tolerance: 1 %}", ", highest: 30 V, nominal: 24 V"
	}
	t.WriteString("outputs:\n")
	for _, o := range l.outputs {
		fmt.Fprintf(&t, "  %s: {chip: %s, channel: %d, divider: %s%s}\n", o.name, o.chip, o.channel, divider, nominal)
	}
	line := 4
	add := func(name, more string) {
		fmt.Fprintf(&t, "  %s: {chip: gpiochip0, line: %d%s}\n", name, line, more)
		line++
	}
	if len(l.relays) > 0 {
		t.WriteString("contacts:\n")
	}
	for _, k := range l.relays {
		for _, c := range []string{k.makes, k.breaks} {
			if c != "" {
				add(c, "")
			}
		}
	}
	if l.references {
		t.WriteString("references:\n")
		add("REF", oneOf(d, "", ", active: low, pull: up"))
	}
	l.actsText(d, &t, add)
	switch l.supply {
	case converterSupply:
		fmt.Fprintf(&t, "supply: {model: MCP4725, address: 0x60, reference: 3.3 V, gain: 5 V/V, highest: 15 V, usual: %.1f V, rest: 0 V}\n", d.between(12.6, 13.8))
	case stageSupply:
		t.WriteString("supply: {drive: STAGE, off: 13.8 V, on: 10.5 V}\n")
	}
	return t.String()
}

// actsText writes drives and events.
func (l *layout) actsText(d dice, t *strings.Builder, add func(name, more string)) {
	t.WriteString("drives:\n")
	if l.relayBench {
		for i := range l.relays {
			add(fmt.Sprintf("DRIVE%d", i+1), ", coil: true, longest_on: 1 min")
		}
		if l.supply == stageSupply {
			add("STAGE", ", longest_on: 10 min")
		}
		t.WriteString("events:\n")
		for i := range l.relays {
			fmt.Fprintf(t, "  %s: {drive: DRIVE%d, set: on}\n  %s: {drive: DRIVE%d, set: off}\n", energize(i), i+1, release(i), i+1)
		}
		return
	}
	events := l.events()
	pulse := 200 + 50*d.IntN(4)
	for _, e := range events {
		switch {
		case l.keySwitch && e == "arm-away":
			add("KEY", ", longest_on: 10 min")
		case l.keySwitch && e == "disarm":
		default:
			add("D-"+e, ", longest_on: 5 s")
		}
	}
	t.WriteString("events:\n")
	for _, e := range events {
		ref := ""
		if l.references && strings.Contains(e, "arm") && e != "alarm" && !(l.keySwitch && e == "disarm") { // a key that is set reports both ways by two lines
			ref = ", reference: REF"
		}
		switch {
		case l.keySwitch && e == "arm-away":
			fmt.Fprintf(t, "  %s: {drive: KEY, set: on%s}\n", e, ref)
		case l.keySwitch && e == "disarm":
			fmt.Fprintf(t, "  %s: {drive: KEY, set: off%s}\n", e, ref)
		default:
			fmt.Fprintf(t, "  %s: {drive: D-%s, pulse: %d ms%s}\n", e, e, pulse, ref)
		}
	}
}

func energize(i int) string { return fmt.Sprintf("energize-%d", i+1) }
func release(i int) string  { return fmt.Sprintf("release-%d", i+1) }

// events are the panel's, each once.
func (l *layout) events() []string {
	var all []string
	for _, s := range l.steps {
		if s.event != "" && !slices.Contains(all, s.event) {
			all = append(all, s.event)
		}
	}
	return all
}
