package drawnpanel

import (
	"fmt"
	"slices"
	"time"

	"makebreak/rig/sim"
	"makebreak/rig/wiring"
	"makebreak/rig/wiring/rigfile"
)

// Panel is a panel on its bench, as they were drawn.
type Panel struct {
	Seed    uint64
	Rig     *wiring.Rig
	RigFile string // the text that Rig was read from
	// Outputs are the panel's, in the rig's order.
	Outputs []Output
	// Relays hang behind some of them.
	Relays []sim.Relay
	Events Events

	unit    sim.UnitParams
	weights sim.Weights
	volts   float64 // how many times 12 V the unit works on
}

// Output is one output and what it does.
type Output struct {
	Name string
	Behaviour
	rules []sim.Rule
}

// Events are what the rig can bring about, by what they mean to the panel.
type Events struct {
	Arms    []string // one or two ways of arming
	Disarm  string
	Alarms  []string // none to two
	AlarmBy string   // the first of Alarms; empty: none
	Ends    string   // the end of AlarmBy; empty: none
}

// All lists them in the rig's order.
func (e Events) All() []string {
	all := append(slices.Clone(e.Arms), e.Disarm)
	all = append(all, e.Alarms...)
	if e.Ends != "" {
		all = append(all, e.Ends)
	}
	return all
}

// outputs is how many a panel has.
const outputs = 8

// Draw draws the panel of a seed.
func Draw(seed uint64) (*Panel, error) {
	d := newDice(seed, 77)
	p := &Panel{Seed: seed, volts: 1}
	p.Events = drawEvents(d)
	for i := range outputs {
		p.Outputs = append(p.Outputs, drawOutput(d, p.Events, fmt.Sprintf("OUT%d", i+1)))
	}
	p.drawRelays(d)
	p.drawUnit(d)
	p.RigFile = p.rigText(d)
	var err error
	if p.Rig, err = rigfile.Parse("drawn-rig.yaml", []byte(p.RigFile)); err != nil {
		return nil, fmt.Errorf("seed %d: %w\n%s", seed, err, p.RigFile)
	}
	return p, nil
}

// drawEvents draws 2 to 6 events. One workshop in five calls them otherwise than the rest.
func drawEvents(d dice) Events {
	n := 2 + d.IntN(5)
	names := Events{Arms: []string{"arm-away", "arm-stay"}, Disarm: "disarm", Alarms: []string{"alarm", "panic"}, Ends: "alarm-off"}
	if d.chance(0.2) {
		names = Events{Arms: []string{"set-full", "set-part"}, Disarm: "unset", Alarms: []string{"zone-open", "hold-up"}, Ends: "zone-closed"}
	}
	e := Events{Arms: names.Arms[:1], Disarm: names.Disarm}
	arms, alarms := 1, 0
	for range n - 2 {
		switch {
		case alarms == 0 && (arms == 2 || d.chance(0.6)):
			alarms = 1
		case arms == 1:
			arms = 2
		case e.Ends == "" && (alarms == 2 || d.chance(0.5)):
			e.Ends = names.Ends
		default:
			alarms = 2
		}
	}
	e.Arms, e.Alarms = names.Arms[:arms], names.Alarms[:alarms]
	if alarms > 0 {
		e.AlarmBy = names.Alarms[0]
	}
	return e
}

// drawRelays hangs up to three relays behind outputs. Some have one contact wired only.
func (p *Panel) drawRelays(d dice) {
	order := d.Perm(outputs)
	for i := range d.IntN(4) {
		name := fmt.Sprintf("K%d", i+1)
		k := sim.Relay{Name: name, Output: p.Outputs[order[i]].Name, Make: name + "_NO", Break: name + "_NC"}
		switch x := d.Float64(); {
		case x < 0.15:
			k.Break = ""
		case x < 0.25:
			k.Make = ""
		}
		p.Relays = append(p.Relays, k)
	}
}

// drawUnit draws what kind of unit it is: its parts are then drawn about that by the simulator.
func (p *Panel) drawUnit(d dice) {
	u := &p.unit
	if d.chance(0.6) {
		u.HighVolts = d.between(12.6, 14.1)
	}
	u.Delay = time.Duration(d.between(40, 260) * 1e6)
	if d.chance(0.3) {
		u.DelayJitter = time.Duration(d.between(0.1, 3) * 1e6)
	}
	if d.chance(0.4) {
		u.CoilOhms = d.between(250, 700)
	}
	if d.chance(0.4) {
		u.LowVolts = d.between(0.1, 0.8)
	}
	p.weights = oneOf(d, nil, sim.Last(0.9), sim.Sinc(2), sim.Sinc(3))
	if d.chance(0.08) {
		p.scaleUnit(d, 2)
	}
}

// scaleUnit makes a unit of 24 V of one of 12 V, with the coils of 24 V relays.
func (p *Panel) scaleUnit(d dice, by float64) {
	u := &p.unit
	p.volts = by
	if u.HighVolts == 0 {
		u.HighVolts = 13.55
	}
	if u.CoilOhms == 0 {
		u.CoilOhms = 400
	}
	u.HighVolts *= by
	u.CoilOhms *= by * by
	u.PullInVolts, u.DropOutVolts = by*d.between(6.3, 7.3), by*d.between(1.95, 2.45)
}

// Programme is how the panel is programmed.
func (p *Panel) Programme() []sim.Rule {
	var all []sim.Rule
	for _, o := range p.Outputs {
		all = append(all, o.rules...)
	}
	return all
}

// Opts are what the simulated bench is made with. A seed of another bench's parts and noise may
// be given in place of the panel's own.
func (p *Panel) Opts(seed uint64) sim.Opts {
	initial := map[string]bool{}
	for _, o := range p.Outputs {
		initial[o.Name] = o.Rest
	}
	relays := p.Relays
	if relays == nil {
		relays = []sim.Relay{}
	}
	return sim.Opts{
		Seed: seed, Programme: p.Programme(), Initial: initial, Relays: relays, Unit: p.unit, Weights: p.weights,
		Arming: append(slices.Clone(p.Events.Arms), p.Events.Disarm), LastArming: p.Events.Disarm,
	}
}
