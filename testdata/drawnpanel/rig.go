package drawnpanel

import (
	"fmt"
	"strings"
)

// chip is a converter of the rig.
type chip struct {
	model   string
	rate    int
	ready   bool
	follows bool
	outputs int
}

var dividers = []string{"{upper: 39 kohm, lower: 10 kohm, tolerance: 1 %}", "{upper: 39 kohm, lower: 10 kohm, tolerance: 0.1 %}",
	"{upper: 47 kohm, lower: 12 kohm, tolerance: 1 %}", "{upper: 82 kohm, lower: 20 kohm, tolerance: 0.5 %}"}

// drawChips puts the outputs on two to four converters and says which has which. One that has an
// output for itself may follow it.
func drawChips(d dice) (chips []chip, of [outputs]int) {
	n := 2 + d.IntN(3)
	for range n {
		c := chip{model: "ADS1115", rate: oneOf(d, 860, 860, 860, 475), ready: d.chance(0.85)}
		if d.chance(0.2) {
			c.model, c.rate = "ADS1015", oneOf(d, 490, 920)
		}
		chips = append(chips, c)
	}
	alone := n > 2 && d.chance(0.5) // the first one has one output only
	for i, o := range d.Perm(outputs) {
		at := i % n
		if alone {
			at = 1 + i%(n-1)
			if i == outputs-1 {
				at = 0
			}
		}
		of[o] = at
		chips[at].outputs++
	}
	for i := range chips {
		chips[i].follows = chips[i].outputs == 1 && d.chance(0.8)
	}
	return chips, of
}

// rigText writes the rig file.
func (p *Panel) rigText(d dice) string {
	var t strings.Builder
	chips, of := drawChips(d)
	t.WriteString("name: drawn\nbus: simulated\nchips:\n")
	for i, c := range chips {
		fmt.Fprintf(&t, "  %c: {model: %s, address: 0x%X, range: 4.096 V, rate: %d /s, supply: 3.3 V", 'A'+i, c.model, 0x48+i, c.rate)
		if c.follows {
			t.WriteString(", sample: follow")
		}
		if c.ready {
			fmt.Fprintf(&t, ", ready: {chip: gpiochip0, line: %d}", 24+i)
		}
		t.WriteString("}\n")
	}
	divider, nominal := oneOf(d, dividers...), ""
	if p.volts != 1 {
		divider, nominal = "{upper: 91 kohm, lower: 10 kohm, tolerance: 1 %}", ", highest: 30 V, nominal: 24 V"
	}
	t.WriteString("outputs:\n")
	var channel [outputs]int
	for i := range p.Outputs {
		fmt.Fprintf(&t, "  %s: {chip: %c, channel: %d, divider: %s%s}\n", p.Outputs[i].Name, 'A'+of[i], channel[of[i]], divider, nominal)
		channel[of[i]]++
	}
	p.linesText(d, &t)
	return t.String()
}

// linesText writes contacts, references, drives and events.
func (p *Panel) linesText(d dice, t *strings.Builder) {
	line := 4
	add := func(name, more string) {
		fmt.Fprintf(t, "  %s: {chip: gpiochip0, line: %d%s}\n", name, line, more)
		line++
	}
	if len(p.Relays) > 0 {
		t.WriteString("contacts:\n")
	}
	for _, k := range p.Relays {
		for _, c := range []string{k.Make, k.Break} {
			if c != "" {
				add(c, "")
			}
		}
	}
	reference := d.chance(0.6)
	if reference {
		t.WriteString("references:\n")
		add("REF", oneOf(d, "", ", active: low, pull: up"))
	}
	t.WriteString("drives:\n")
	for _, e := range p.Events.All() {
		add("D-"+e, ", longest_on: 5 s")
	}
	t.WriteString("events:\n")
	pulse := 200 + 50*d.IntN(4)
	for i, e := range p.Events.All() {
		ref := ""
		if reference && i <= len(p.Events.Arms) {
			ref = ", reference: REF"
		}
		fmt.Fprintf(t, "  %s: {drive: D-%s, pulse: %d ms%s}\n", e, e, pulse, ref)
	}
}
